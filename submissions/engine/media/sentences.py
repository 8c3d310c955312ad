"""Every sentence that is said about a file that cannot be read, in one place.

The reading child may only pick one of these: what a process says after it has read a stranger's file reaches nobody.
"""

NOT_MEDIA = "This file is not a video that can be read here, whatever its name says."
TOO_LARGE = "The picture of this file is larger than any camera's; it is not read."
TOO_MANY = "This file holds more pieces than any take; it is not read."
TOO_LONG = "This take is longer than a take may be."
NO_SOUND = "This file has no sound."
NO_PICTURE = "This file has no picture."
NOTHING = "This file holds neither sound nor picture that can be played."
TOO_SLOW = "Reading this file took longer than any take needs, so it was given up."
TOO_HUNGRY = "Reading this file took more memory than any take needs, so it was given up."
BROKEN = "The reader of this file stopped in the middle, so nothing about it is known."
NOT_A_FILE = "This is not an ordinary file."
EMPTY = "This file is empty."
STOPPED = "The work on this file was stopped."

SAID_BY_CHILD = frozenset({NOT_MEDIA, TOO_LARGE, TOO_MANY, TOO_LONG, NO_SOUND, NO_PICTURE, NOTHING, TOO_HUNGRY})

"""The only place that opens or writes media: containers, sound, frames in; WAV, M4A and films out.

Conventions: `_s` are seconds. File time: sample 0 of the decoded sound is 0 s, exactly as `ffmpeg -i F -vn` gives it;
priming, padding and edit lists are honoured. Container time is what the packets say; `sound_start_s` joins the two.
Sound has shape (n, channels), float32, native rate. Frames are (height, width) gray or (height, width, 3) RGB, uint8.

Every reading function treats the file as a stranger's: it is opened by number, not by name, in a child process with
limits, no network and no way to open another file (guard.py, locked.py). Writing is for material of our own making.
"""

from .boxes import brand_of
from .take import Frame, RawTake, file_time, preview_parts, read_container, read_frames, read_sound, read_take
from .writing import write_aac, write_film, write_wav

__all__ = [
    "Frame",
    "RawTake",
    "brand_of",
    "file_time",
    "preview_parts",
    "read_container",
    "read_frames",
    "read_sound",
    "read_take",
    "write_aac",
    "write_film",
    "write_wav",
]

"""The only place that opens or writes media: containers, sound, frames in; WAV, M4A and films out.

Conventions: `_s` are seconds. File time: sample 0 of the decoded sound is 0 s, exactly as `ffmpeg -i F -vn` gives it;
priming, padding and edit lists are honoured. Container time is what the packets say; `sound_start_s` joins the two.
Sound has shape (n, channels), float32, native rate. Frames are (height, width) gray or (height, width, 3) RGB, uint8.
"""

from .reading import Frame, read_container, read_frames, read_sound
from .writing import write_aac, write_film, write_wav

__all__ = ["Frame", "read_container", "read_frames", "read_sound", "write_aac", "write_film", "write_wav"]

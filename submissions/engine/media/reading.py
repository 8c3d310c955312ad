"""Opening a container and decoding from it, through PyAV. Used inside the reading child, and on files of our own."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from ..errors import MediaError
from . import sentences

av.logging.set_level(None)  # a stranger's file would fill the log with its own words

# The demuxers a take may use. A playlist or a concat script that calls itself .mp4 finds no reader.
DEMUXERS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm"
COVER_ART = 0x400  # AV_DISPOSITION_ATTACHED_PIC: a still in the file's tags is not a picture of the player


@contextmanager
def opened(descriptor: int) -> Iterator[Any]:
    """An open container from an open file: listed demuxers only, and no way to open any other file."""
    options = {"fd": str(descriptor), "format_whitelist": DEMUXERS, "protocol_whitelist": "fd"}
    os.lseek(descriptor, 0, os.SEEK_SET)  # the demuxer starts where the descriptor stands
    try:
        container = av.open("fd:", options=options, metadata_errors="replace")
    except (av.FFmpegError, OSError, ValueError) as error:
        raise MediaError(sentences.NOT_MEDIA) from error
    try:
        yield container
    finally:
        container.close()


def sound_stream(container: Any) -> Any | None:
    """The sound stream that ffmpeg would take: the default one first, then the one with most channels."""
    streams = [s for s in container.streams.audio if s.codec_context is not None]
    return max(streams, key=lambda s: (s.disposition & 1, s.codec_context.channels, -s.index)) if streams else None


def picture_stream(container: Any) -> Any | None:
    """The main picture stream: the default one first, then the widest; cover art does not count."""
    streams = [s for s in container.streams.video if s.codec_context is not None and not s.disposition & COVER_ART]
    return max(streams, key=lambda s: (s.disposition & 1, s.codec_context.width, -s.index)) if streams else None


def clockwise(frame: Any) -> int:
    """Degrees to turn the coded picture clockwise to show it: 0, 90, 180 or 270."""
    turns: int = round(-frame.rotation / 90.0) % 4
    return turns * 90


def small_gray(frame: Any, longest: int) -> NDArray[np.uint8]:
    """The frame as shown (turned), gray, full range, its longer side at most `longest` pixels."""
    scale = min(1.0, longest / max(frame.width, frame.height))
    width, height = max(2, round(frame.width * scale)), max(2, round(frame.height * scale))
    small = frame.reformat(width=width, height=height, format="gray", interpolation="AREA")
    gray: NDArray[np.uint8] = small.to_ndarray()
    return np.ascontiguousarray(np.rot90(gray, k=-(clockwise(frame) // 90)))

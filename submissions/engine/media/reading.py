"""What a file holds, read through PyAV: facts from packets, all of the sound, some of the frames."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from ..errors import MediaError
from ..facts import ContainerFacts, Sound

# The demuxers a take may use. A playlist or a concat script that calls itself .mp4 finds no reader.
DEMUXERS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm"
TRUSTED_DEMUXERS = DEMUXERS + ",wav,ogg,flac,mp3,avi,mpegts"


@dataclass(frozen=True)
class Frame:
    """A gray picture of shape (height, width), uint8, full range, at at_s of container time."""

    at_s: float
    gray: NDArray[np.uint8]
    key: bool


@contextmanager
def opened(path: Path | str, demuxers: str = TRUSTED_DEMUXERS) -> Iterator[Any]:
    """An open container with local files only and listed demuxers only."""
    try:
        container = av.open(
            str(path), options={"format_whitelist": demuxers, "protocol_whitelist": "file"}, metadata_errors="replace"
        )
    except (av.FFmpegError, OSError, ValueError) as error:
        raise MediaError(f"This file cannot be opened as a video or sound file ({error.__class__.__name__}).") from error
    try:
        yield container
    except (av.FFmpegError, ValueError) as error:
        raise MediaError(f"This file cannot be read to its end ({error.__class__.__name__}).") from error
    finally:
        container.close()


def sound_stream(container: Any) -> Any | None:
    """The sound stream that ffmpeg would take: the default one first, then the one with most channels."""
    streams = [s for s in container.streams.audio if s.codec_context is not None]
    if not streams:
        return None
    return max(streams, key=lambda s: (bool(s.disposition & 1), s.codec_context.channels, -s.index))


def picture_stream(container: Any) -> Any | None:
    """The first real picture stream (cover art is not a picture of the player)."""
    streams = [s for s in container.streams.video if s.codec_context is not None and not s.disposition & 0x400]
    return max(streams, key=lambda s: (bool(s.disposition & 1), s.codec_context.width, -s.index)) if streams else None


def read_sound(path: Path | str) -> Sound:
    """All of the sound, every channel, native rate, sample 0 as ffmpeg gives it. MediaError when there is none."""
    with opened(path) as container:
        stream = sound_stream(container)
        if stream is None:
            raise MediaError("This file has no sound.")
        chunks, rate = [], 0
        resampler: Any = None
        for frame in decoded(container, stream):
            if resampler is None:
                rate = frame.sample_rate
                resampler = av.AudioResampler(format="flt", layout=frame.layout, rate=rate)
            chunks.extend(out.to_ndarray().reshape(-1, out.layout.nb_channels) for out in resampler.resample(frame))
        if resampler is None:
            raise MediaError("The sound of this file cannot be decoded.")
        return Sound(np.concatenate(chunks).astype(np.float32, copy=False), rate)


def decoded(container: Any, stream: Any) -> Iterator[Any]:
    """The decoded frames of one stream; damaged packets are passed over, as a player would."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except av.FFmpegError:
            return
        try:
            yield from packet.decode()
        except av.FFmpegError:
            continue


def read_frames(path: Path | str, width: int = 160, every_s: float = 0.0, only_key: bool = False) -> Iterator[Frame]:
    """Small gray frames, at most one every every_s; turned as shown; only key frames when asked (far cheaper)."""
    with opened(path) as container:
        stream = picture_stream(container)
        if stream is None:
            raise MediaError("This file has no picture.")
        stream.thread_type = "AUTO"
        if only_key:
            stream.codec_context.skip_frame = "NONKEY"
        last = -1e9
        for frame in decoded(container, stream):
            if frame.pts is None or frame.time < last + every_s - 1e-9:
                continue
            last = frame.time
            yield Frame(float(frame.time), small_gray(frame, width), bool(frame.key_frame))


def small_gray(frame: Any, width: int) -> NDArray[np.uint8]:
    """The frame as shown (turned), gray, full range, width pixels along its longer coded side's width."""
    height = max(2, round(frame.height * width / frame.width))
    gray: NDArray[np.uint8] = frame.reformat(width=width, height=height, format="gray", interpolation="AREA").to_ndarray()
    return np.ascontiguousarray(np.rot90(gray, k=-(clockwise(frame) // 90)))


def clockwise(frame: Any) -> int:
    """Degrees to turn the coded picture clockwise to show it: 0, 90, 180 or 270."""
    return int(round(-frame.rotation / 90.0)) % 4 * 90


def read_container(path: Path | str) -> ContainerFacts:
    """Facts from packets and from the first decoded frame of each stream."""
    from .packets import container_facts

    with opened(path) as container:
        return container_facts(container, Path(path))

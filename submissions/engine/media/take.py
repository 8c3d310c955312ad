"""Public reading of a file that may mean harm: each call is one locked child (guard.py)."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import MediaError
from ..facts import ContainerFacts, Sound
from . import sentences, wire
from .guard import Cancelled, blocks_from_child
from .locked import Limits

MAX_TAKE_S = 1_200.0  # chosen: a cadence lasts a minute or two; twenty minutes are a mistake or an attack

# Measured: 90 s of 4K60 HEVC decode in 236 s of CPU, the small film encodes in 20. Three times that.
PREVIEW_CPU_S, PREVIEW_MEMORY = 800, 2048 << 20
PREVIEW_BYTES = 512 << 20  # 20 minutes of the small film at 3 Mb/s
MAX_PEAKS = 2 * 100 * 3_600


@dataclass(frozen=True)
class Frame:
    """A gray picture of shape (height, width), uint8, full range, turned as shown, at at_s of container time."""

    at_s: float
    gray: NDArray[np.uint8]


@dataclass(frozen=True)
class RawTake:
    """All that was read of one take. Frame times are container times: `file_s` turns them into file time."""

    container: ContainerFacts
    sound: Sound | None
    sparse: tuple[Frame, ...] = ()  # key frames spread over the take
    windows: tuple[tuple[Frame, ...], ...] = ()  # stretches at full rate
    packets: NDArray[Any] = field(default_factory=lambda: np.zeros(0, wire.PACKET))  # at_s, bytes, key; by time

    def file_s(self, container_s: float) -> float:
        """Container time as file time (sample 0 of the sound = 0 s), across gaps in the sound."""
        return file_time(self.container, container_s)


def file_time(container: ContainerFacts, container_s: float) -> float:
    """Container time as file time: less the start of the sound, less every leap of its clock before that moment."""
    at = container_s - (container.sound_start_s or 0.0)
    for jump_at, jump in container.sound_jumps:
        if at > jump_at:
            at = max(jump_at, at - jump)
    return at


def read_take(path: Path | str, max_s: float = MAX_TAKE_S, cancelled: Cancelled | None = None) -> RawTake:
    """Facts, sound, sparse frames and motion windows of a take, in one child. MediaError says why it cannot be read."""
    reading = _Reading()
    for tag, payload in blocks_from_child(path, {"job": "take", "max_s": max_s}, cancelled=cancelled):
        reading.block(tag, payload)
    return reading.take()


def read_container(path: Path | str, max_s: float = MAX_TAKE_S) -> ContainerFacts:
    """What the file is, from its packets. MediaError when it is nothing that can be read."""
    return _without_frames(path, max_s).container


def read_sound(path: Path | str, max_s: float = MAX_TAKE_S) -> Sound:
    """All of the sound, every channel, native rate, sample 0 as ffmpeg gives it. MediaError when there is none."""
    sound = _without_frames(path, max_s).sound
    if sound is None:
        raise MediaError(sentences.NO_SOUND)
    return sound


def read_frames(path: Path | str, max_s: float = MAX_TAKE_S) -> Iterator[Frame]:
    """Every key frame, small and gray, in order of the file. MediaError when there is no picture."""
    reading = _Reading()
    for tag, payload in blocks_from_child(path, {"job": "take", "max_s": max_s, "every_key": True}):
        if tag != b"SNDD":
            reading.block(tag, payload)
    if not reading.frames:
        raise MediaError(sentences.NO_PICTURE)
    yield from reading.frames.get(0, ())


def _without_frames(path: Path | str, max_s: float) -> RawTake:
    reading = _Reading()
    for tag, payload in blocks_from_child(path, {"job": "take", "max_s": max_s, "frames": False}):
        reading.block(tag, payload)
    return reading.take()


def preview_parts(
    path: Path | str,
    start_s: float,
    end_s: float,
    outputs: dict[str, int],
    peaks: bool,
    max_s: float = MAX_TAKE_S,
    cancelled: Cancelled | None = None,
) -> Iterator[tuple[str, bytes]]:
    """Make previews into open descriptors by kind; ("part", one byte 0 to 100) and ("peaks", bytes) as they come."""
    order = {"job": "preview", "start_s": start_s, "end_s": end_s, "max_s": max_s, "peaks": peaks, **outputs}
    limits = Limits(PREVIEW_CPU_S, PREVIEW_MEMORY, write_bytes=PREVIEW_BYTES, open_files=24)
    blocks = blocks_from_child(
        path, order, limits=limits, wall_s=2.0 * PREVIEW_CPU_S, extra=tuple(outputs.values()), cancelled=cancelled
    )
    for tag, payload in blocks:
        if tag == b"PEAK" and len(payload) <= MAX_PEAKS:
            yield "peaks", payload
        elif tag == b"PART":
            yield "part", payload
        else:
            raise MediaError(sentences.BROKEN)


class _Reading:
    """Collects blocks; one copy of the sound in memory."""

    def __init__(self) -> None:
        self.facts: ContainerFacts | None = None
        self.rate = self.channels = 0
        self.samples = bytearray()
        self.packets = np.zeros(0, wire.PACKET)
        self.frames: dict[int, list[Frame]] = {}

    def block(self, tag: bytes, payload: bytes) -> None:
        if tag == b"FACT" and self.facts is None:
            self.facts = wire.facts_of(payload)
        elif tag == b"SNDH" and not self.rate and len(payload) == 8:
            self.rate, self.channels = (int(v) for v in np.frombuffer(payload, "<u4"))
            if not (1_000 <= self.rate <= 768_000 and 1 <= self.channels <= 64):
                raise MediaError(sentences.BROKEN)
        elif tag == b"SNDD" and self.rate and len(payload) % (4 * self.channels) == 0:
            self.samples += payload
        elif tag == b"PACK":
            self.packets = wire.read_packets(payload)
        elif tag == b"FRAM":
            at_s, kind, gray = wire.read_frame(payload)
            self.frames.setdefault(kind, []).append(Frame(at_s, gray))
        else:
            raise MediaError(sentences.BROKEN)

    def take(self) -> RawTake:
        if self.facts is None:
            raise MediaError(sentences.BROKEN)
        if not self.facts.has_sound and not self.facts.has_picture:
            raise MediaError(sentences.NOTHING)
        sound = None
        if self.samples:
            samples = np.frombuffer(self.samples, "<f4").reshape(-1, self.channels)
            np.nan_to_num(samples, copy=False, nan=0.0, posinf=1.0, neginf=-1.0)
            sound = Sound(samples, self.rate)
        windows = tuple(tuple(sorted(self.frames[k], key=lambda f: f.at_s)) for k in sorted(self.frames) if k > 0)
        return RawTake(self.facts, sound, tuple(self.frames.get(0, ())), windows, self.packets)

"""What the reading child does with one take: facts and sound in one pass, then a few frames in a second.

The second pass hands only chosen packets to the decoder, so that a take costs a small part of a full decode:
- sparse: at most SPARSE key frames spread over the take, each decoded alone;
- windows: a few short stretches at full rate where the sound has strokes, for motion against sound.
No seeking: files without an index (browser recordings) work like all others.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from ..errors import MediaError
from ..facts import Samples
from . import sentences, wire
from .boxes import structure_of
from .packets import PictureTable, packets_of, plain, scan
from .reading import opened, picture_stream, small_gray, sound_stream
from .windows import Envelope, Window, choose_windows

SPARSE = 36  # key frames looked at: one each 2.5 s of a 90 s take
SPARSE_PIXELS = 320  # longer side of a sparse frame: sharpness and letterbox bars are visible in it
WINDOW_PIXELS = 160  # longer side of a window frame: a stick is some pixels long
REORDER_S = 0.3  # frames shown earlier may be stored this much later (B pictures of phones and browsers: under 0.2 s)
SPARSE_KIND = 0  # kinds on the wire: 0 = sparse, 1, 2 ... = the number of the window


@dataclass
class Job:
    """What the worker wants of this file."""

    max_s: float
    frames: bool = True  # sparse frames and windows, not sound and facts alone
    every_key: bool = False  # all key frames instead of sparse ones


def take(descriptor: int, job: Job, write: wire.Write) -> None:
    """Read one take and write what it holds to the pipe: FACT, SNDH, SNDD ..., FRAM ..., DONE."""
    with open(descriptor, "rb", buffering=0, closefd=False) as file:
        size = file.seek(0, 2)
        structure = structure_of(file, size)
    if not structure.brand:
        raise MediaError(sentences.NOT_MEDIA)
    envelope = Envelope()
    sender = _SoundSender(write, envelope)
    with opened(descriptor) as container:
        picture, sound = picture_stream(container), sound_stream(container)
        facts, table = scan(container, picture, sound, structure, size, sender.give, job.max_s)
    sender.end()
    wire.send_facts(write, plain(facts))
    wire.send(write, b"PACK", _records(table))
    if job.frames and facts.has_picture and len(table.times_s):
        windows = [] if job.every_key else choose_windows(envelope, facts, table)
        for at_s, kind, gray in _frames(descriptor, table, windows, len(table.key) if job.every_key else SPARSE):
            wire.send_frame(write, at_s, kind, gray)
    wire.send(write, b"DONE", b"")


def _records(table: PictureTable) -> bytes:
    """The picture packets that are shown, in order of time, as wire.PACKET."""
    order = np.argsort(table.times_s, kind="stable")
    order = order[table.shown[order]]
    records = np.zeros(len(order), wire.PACKET)
    records["at_s"], records["bytes"], records["key"] = table.times_s[order], table.sizes[order], table.key[order]
    return records.tobytes()


class _SoundSender:
    """Sends sound in pieces of about a second and keeps its envelope."""

    def __init__(self, write: wire.Write, envelope: Envelope) -> None:
        self.write, self.envelope = write, envelope
        self.blocks: list[Samples] = []
        self.held = 0
        self.rate = 0

    def give(self, block: Samples, rate: int) -> None:
        if not self.rate:
            self.rate = rate
            wire.send(self.write, b"SNDH", np.array([rate, block.shape[1]], "<u4").tobytes())
        self.blocks.append(block)
        self.held += len(block)
        if self.held >= rate:
            self.end()

    def end(self) -> None:
        if self.blocks:
            whole = np.concatenate(self.blocks).astype("<f4", copy=False)
            self.envelope.add(whole, self.rate)
            wire.send(self.write, b"SNDD", whole.tobytes())
        self.blocks, self.held = [], 0


@dataclass
class _Group:
    """Packets from one key frame to the next, and what is wanted of them."""

    sparse: bool
    windows: list[tuple[int, Window]]

    @property
    def end_s(self) -> float:
        return max((window.end_s for _, window in self.windows), default=-np.inf)


Picked = tuple[float, int, NDArray[np.uint8]]  # container time, kind, gray


class _Picker:
    """Feeds chosen packets to the decoder and picks the wanted frames from what comes back."""

    def __init__(self, stream: Any, quick: bool) -> None:
        self.context, self.base = stream.codec_context, float(stream.time_base)
        self.context.thread_count = 1  # one child, one processor: memory stays small and the cost is honest
        self.context.options = {"skip_loop_filter": "all"} if quick else {}
        self.group, self.fed = _Group(False, []), False

    def begin(self, group: _Group, packet: Any) -> Iterator[Picked]:
        """A key frame: whatever came before is finished; a new group starts if anything is wanted of it."""
        yield from self.finish()
        self.group = group
        if group.sparse or group.windows:
            self.fed = True
            yield from self._decode(packet)
        if not group.windows:
            yield from self.finish()

    def follow(self, packet: Any, at_s: float) -> Iterator[Picked]:
        """A packet after the key frame; past the end of the windows the group is finished."""
        if self.fed:
            yield from self._decode(packet)
            if at_s > self.group.end_s + REORDER_S:
                yield from self.finish()

    def finish(self) -> Iterator[Picked]:
        """What the decoder still holds; afterwards it is ready for another key frame."""
        if self.fed:
            yield from self._decode(None)
            self.context.flush_buffers()
        self.fed = False

    def _decode(self, packet: Any) -> Iterator[Picked]:
        try:
            frames = self.context.decode(packet)
        except av.FFmpegError:
            return
        for frame in frames:
            if frame.pts is None:
                continue
            at_s = frame.pts * self.base
            if self.group.sparse and frame.key_frame:
                yield at_s, SPARSE_KIND, small_gray(frame, SPARSE_PIXELS)
            for kind, window in self.group.windows:
                if window.start_s <= at_s <= window.end_s:
                    yield at_s, kind, small_gray(frame, WINDOW_PIXELS)


def _frames(descriptor: int, table: PictureTable, windows: list[Window], sparse: int) -> Iterator[Picked]:
    """Every wanted frame, in file order."""
    plan = _plan(table, windows, sparse)
    with opened(descriptor) as container:
        stream = picture_stream(container)
        picker, index = _Picker(stream, quick=bool(windows)), -1
        for packet in packets_of(container, [stream]):
            ticks = packet.pts if packet.pts is not None else packet.dts
            if not packet.size or ticks is None:
                continue
            if packet.is_keyframe:
                index += 1
                yield from picker.begin(plan.get(index, _Group(False, [])), packet)
            else:
                yield from picker.follow(packet, float(ticks * packet.time_base))
        yield from picker.finish()


def _plan(table: PictureTable, windows: list[Window], sparse: int) -> dict[int, _Group]:
    """For each wanted key frame, by its number in file order, what its group is wanted for."""
    keys = np.flatnonzero(table.key)
    plan: dict[int, _Group] = {}
    for number in np.unique(np.linspace(0, len(keys) - 1, min(sparse, len(keys))).round().astype(int)):
        plan[int(number)] = _Group(True, [])
    starts = table.times_s[keys]
    ends = np.append(starts[1:], np.inf)
    for kind, window in enumerate(windows, 1):
        for number in np.flatnonzero((starts < window.end_s) & (ends > window.start_s)):
            plan.setdefault(int(number), _Group(False, [])).windows.append((kind, window))
    return plan

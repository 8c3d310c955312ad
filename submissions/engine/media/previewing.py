"""What the reading child does to make previews: decode a take once and write small files to descriptors it was given.

All outputs start at the same moment of file time (`start_s`, may be negative: silence and the first picture stand in).
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import av
import numpy as np
import soxr
from numpy.typing import NDArray

from ..errors import MediaError
from ..facts import Sound
from . import sentences, wire
from .boxes import structure_of
from .packets import packets_of, scan
from .reading import clockwise, opened, picture_stream, sound_stream
from .writing import sound_frames, sound_out

SOUND_RATE = 48_000
KEY_EVERY = 15  # frames: half a second, so that a player on a page lands near any bar at once
PEAKS_A_SECOND = 100


@dataclass
class Order:
    """What to make: descriptors to write to (-1: not wanted) and the stretch of file time."""

    start_s: float
    end_s: float
    max_s: float
    fps: int = 30
    lines: int = 540  # shorter side of the small film
    poster: int = -1
    sound: int = -1
    film: int = -1
    peaks: bool = False


def preview(descriptor: int, order: Order, write: wire.Write) -> None:
    """Make what the order asks for; PART blocks tell how far it is (0 to 100), DONE that all is written."""
    with open(descriptor, "rb", buffering=0, closefd=False) as file:
        size = file.seek(0, 2)
        structure = structure_of(file, size)
    if not structure.brand:
        raise MediaError(sentences.NOT_MEDIA)
    sound, offset_s = _sound(descriptor, structure, size, order)
    if order.peaks:
        wire.send(write, b"PEAK", peaks(sound).tobytes())
    if order.sound >= 0:
        with os.fdopen(order.sound, "w+b", closefd=False) as out:
            _write_sound(out, sound)
    wire.send(write, b"PART", b"\x0a")
    if order.poster >= 0:
        _poster(descriptor, order, offset_s)
    if order.film >= 0:
        with os.fdopen(order.film, "w+b", closefd=False) as out:
            _film(descriptor, order, offset_s, sound, out, write)
    wire.send(write, b"DONE", b"")


def _sound(descriptor: int, structure: Any, size: int, order: Order) -> tuple[Sound, float]:
    """The stretch as mono or stereo sound at SOUND_RATE, and the container time of file time 0."""
    blocks: list[Any] = []
    rates: list[int] = []

    def give(block: Any, rate: int) -> None:
        blocks.append(block[:, :2].copy())
        rates.append(rate)

    with opened(descriptor) as container:
        facts, _ = scan(
            container, picture_stream(container), sound_stream(container), structure, size, give, order.max_s
        )
    if not blocks:
        raise MediaError(sentences.NO_SOUND)
    cut = _stretch(np.concatenate(blocks), rates[0], order)
    blocks.clear()
    return _resampled(cut, rates[0]), facts.sound_start_s or 0.0


def _stretch(samples: NDArray[np.float32], rate: int, order: Order) -> NDArray[np.float32]:
    start, end = round(order.start_s * rate), round(order.end_s * rate)
    inside = samples[max(0, start) : max(0, end)]
    before = max(0, min(end, 0) - start) if start < 0 else 0
    after = max(0, (end - start) - before - len(inside))
    return np.pad(inside, ((before, after), (0, 0)))


def _resampled(samples: NDArray[np.float32], rate: int) -> Sound:
    if rate == SOUND_RATE:
        return Sound(samples, rate)
    return Sound(np.asarray(soxr.resample(samples, rate, SOUND_RATE), np.float32), SOUND_RATE)


def peaks(sound: Sound) -> NDArray[np.int8]:
    """Lowest and highest sample of each hundredth of a second, shape (n, 2), full scale 127."""
    hop = sound.rate // PEAKS_A_SECOND
    mono = sound.mono
    padded = np.pad(mono, (0, -len(mono) % hop)).reshape(-1, hop)
    both = np.stack([padded.min(axis=1), padded.max(axis=1)], axis=1)
    return np.asarray(np.round(np.clip(both, -1, 1) * 127), np.int8)


def _write_sound(out: Any, sound: Sound) -> None:
    with av.open(out, "w", format="ipod") as container:
        stream = sound_out(container, "aac", sound, 128_000)
        for frame in sound_frames(stream, sound, 0.0):
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def _poster(descriptor: int, order: Order, offset_s: float) -> None:
    """The picture a third into the stretch, as JPEG: by then everybody plays."""
    moment = order.start_s + (order.end_s - order.start_s) / 3 + offset_s
    for _, frame in _shown(descriptor, moment - 0.5, moment + 5.0):
        with os.fdopen(order.poster, "wb", closefd=False) as out:
            out.write(_jpeg(_turned(frame, order.lines)))
        return


def _jpeg(picture: NDArray[np.uint8]) -> bytes:
    context: Any = av.CodecContext.create("mjpeg", "w")
    context.height, context.width = picture.shape[:2]
    context.pix_fmt, context.time_base = "yuvj420p", Fraction(1, 1)
    context.options = {"q": "4", "qmin": "4", "qmax": "4"}  # of 2 (best) to 31
    frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(format="yuvj420p")
    return b"".join(bytes(packet) for packet in [*context.encode(frame), *context.encode(None)])


def _shown(descriptor: int, start_s: float, end_s: float) -> Iterator[tuple[float, Any]]:
    """(container time, frame) from the last frame before start_s to end_s; decoding begins at the key frame before."""
    with opened(descriptor) as container:
        first = picture_stream(container)
        if first is None:
            raise MediaError(sentences.NO_PICTURE)
        base = float(first.time_base)
        starts = [p.pts * base for p in packets_of(container, [first]) if p.is_keyframe and p.pts is not None]
    from_s = max((s for s in starts if s <= start_s), default=-np.inf)
    with opened(descriptor) as container:
        stream: Any = picture_stream(container)
        stream.codec_context.thread_count = 1
        held: tuple[float, Any] | None = None
        for at_s, frame in _decoded(container, stream, from_s, base):
            if at_s <= start_s:
                held = (at_s, frame)
                continue
            if held is not None:
                yield held
                held = None
            if at_s > end_s:
                return
            yield at_s, frame
        if held is not None:
            yield held


def _decoded(container: Any, stream: Any, from_s: float, base: float) -> Iterator[tuple[float, Any]]:
    begun = from_s == -np.inf
    for packet in packets_of(container, [stream]):
        if not begun and not (packet.is_keyframe and packet.pts is not None and packet.pts * base >= from_s - 1e-6):
            continue
        begun = True
        try:
            frames = stream.codec_context.decode(packet if packet.size else None)
        except av.FFmpegError:
            continue
        yield from ((frame.pts * base, frame) for frame in frames if frame.pts is not None)


def _turned(frame: Any, lines: int) -> NDArray[np.uint8]:
    """The frame as shown, RGB, its shorter side at most `lines`, both sides even."""
    aspect = float(frame.sample_aspect_ratio or 1) if hasattr(frame, "sample_aspect_ratio") else 1.0
    width, height = frame.width * (aspect if 0.1 < aspect < 10 else 1.0), frame.height
    scale = min(1.0, lines / min(width, height))
    size = [max(2, round(side * scale / 2) * 2) for side in (width, height)]
    small = frame.reformat(width=size[0], height=size[1], format="rgb24", interpolation="AREA").to_ndarray()
    return np.ascontiguousarray(np.rot90(small, k=-(clockwise(frame) // 90)))


def _film(descriptor: int, order: Order, offset_s: float, sound: Sound, out: Any, write: wire.Write) -> None:
    count = max(1, round((order.end_s - order.start_s) * order.fps))
    # Room for the table of contents in front: a frame takes 24 bytes of it at most, a sound packet 12.
    room = str(65_536 + 24 * count + 12 * (len(sound.samples) // 1024 + 1))
    with av.open(out, "w", format="mp4", container_options={"moov_size": room}) as container:
        film: Any = container.add_stream("libx264", rate=order.fps)
        audio = sound_out(container, "aac", sound, 128_000)
        chunks = sound_frames(audio, sound, 0.0)
        waiting = next(chunks, None)
        for number, picture in enumerate(_ticks(descriptor, order, offset_s, count)):
            if number == 0:
                film.height, film.width = picture.shape[:2]
                film.pix_fmt = "yuv420p"
                film.codec_context.gop_size = KEY_EVERY
                film.options = {"crf": "27", "preset": "veryfast", "threads": "1"}
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = number, Fraction(1, order.fps)
            while waiting is not None and waiting.time <= number / order.fps:
                container.mux(audio.encode(waiting))
                waiting = next(chunks, None)
            container.mux(film.encode(frame))
            if number % order.fps == 0:
                wire.send(write, b"PART", bytes([10 + 90 * number // count]))
        while waiting is not None:
            container.mux(audio.encode(waiting))
            waiting = next(chunks, None)
        container.mux(film.encode(None))
        container.mux(audio.encode(None))


def _ticks(descriptor: int, order: Order, offset_s: float, count: int) -> Iterator[NDArray[np.uint8]]:
    """One picture a tick: the one that a viewer sees at that moment; before the first one, the first one."""
    start = order.start_s + offset_s
    shown = _shown(descriptor, start, order.end_s + offset_s)
    current = next(shown, None)
    if current is None:
        raise MediaError(sentences.NO_PICTURE)
    picture, shape = _turned(current[1], order.lines), None
    upcoming = next(shown, None)
    for number in range(count):
        moment = start + number / order.fps + 1e-4  # container times are rounded; a hair later finds the right one
        changed = None
        while upcoming is not None and upcoming[0] <= moment:
            changed, upcoming = upcoming, next(shown, None)
        if changed is not None:
            turned = _turned(changed[1], order.lines)
            shape = shape or picture.shape
            picture = turned if turned.shape == shape else picture
        yield picture

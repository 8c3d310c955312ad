"""Container facts from one pass over all packets: picture packets are only looked at, sound packets are decoded.

Conventions: container times in seconds; file time = container time minus the time of the first decoded sample.
"""

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from ..errors import MediaError
from ..facts import ContainerFacts, Samples, Span
from . import sentences
from .boxes import Structure

MAX_PACKETS = 2_000_000  # 20 minutes at 240 frames and 94 sound packets a second are 400,000
MAX_PIXELS = 8192 * 4608  # 8K; larger pictures are refused before anything is decoded
ROUNDING_S = 0.0015  # containers that count whole milliseconds move each frame time by up to half of one
UNEVEN = 0.10  # chosen: gaps this far from the usual one are a variable rate, not rounding
DROPPED_S = 0.25  # chosen: a stretch without packets longer than this is seen as a stop
JUMP_S = 0.015  # sound packet times that move apart from the sample count by more: a real gap, not rounding


class TooLong(Exception):
    """The take is longer than allowed; raised while reading, before memory runs out."""


@dataclass
class PictureTable:
    """Every picture packet in file order: container time, size and whether it is a key frame."""

    times_s: NDArray[np.float64]
    sizes: NDArray[np.int64]
    key: NDArray[np.bool_]
    shown: NDArray[np.bool_]  # False: before the edit list's start, decoded but never seen


@dataclass
class _Picture:
    pts: list[int] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    key: list[bool] = field(default_factory=list)
    shown: list[bool] = field(default_factory=list)
    last_duration: int = 0
    first: Any = None
    tried: int = 0


@dataclass
class _Sound:
    start_s: float | None = None
    samples: int = 0
    rate: int = 0
    channels: int = 0
    priming: int = 0
    jumps: list[tuple[float, float]] = field(default_factory=list)
    shift_s: float = 0.0


Give = Callable[[Samples, int], None]


def scan(
    container: Any, picture: Any, sound: Any, structure: Structure, size: int, give: Give, max_s: float
) -> tuple[ContainerFacts, PictureTable]:
    """Facts and the table of picture packets; every block of decoded sound (n, channels) goes to give(block, rate)."""
    if picture is not None and picture.codec_context.width * picture.codec_context.height > MAX_PIXELS:
        raise MediaError(sentences.TOO_LARGE)
    seen, heard = _Picture(), _Sound()
    decoder = _SoundDecoder(heard, give, max_s)
    streams = [s for s in (picture, sound) if s is not None]
    for packet in packets_of(container, streams):
        if sound is not None and packet.stream_index == sound.index:
            decoder.packet(packet)
        elif packet.size:
            _look(packet, seen, max_s)
    decoder.end()
    facts: dict[str, Any] = {"kind": structure.brand, "bytes": size, "edit_list": structure.edits}
    facts["header_duration_s"] = (
        container.duration / av.time_base if container.duration and container.duration > 0 else None
    )
    if heard.samples:
        facts |= _sound_facts(sound, heard)
    table = _table(picture, seen)
    if table.shown.any():
        facts |= _picture_facts(picture, seen, table, heard.start_s or 0.0)
    facts |= _whole(facts, structure, heard)
    return ContainerFacts(**facts), table


def packets_of(container: Any, streams: list[Any]) -> Iterator[Any]:
    """All packets of these streams until the file ends or breaks; MediaError when they never end."""
    packets = container.demux(*streams) if streams else iter(())
    for _ in range(MAX_PACKETS):
        try:
            yield next(packets)
        except (StopIteration, av.FFmpegError):
            return
    raise MediaError(sentences.TOO_MANY)


class _SoundDecoder:
    """Decodes sound packet by packet, keeps count of samples against packet times, hands blocks on."""

    def __init__(self, heard: _Sound, give: Give, max_s: float) -> None:
        self.heard, self.give, self.max_s = heard, give, max_s
        self.resampler: Any = None

    def packet(self, packet: Any) -> None:
        if not self.heard.samples and packet.has_sidedata("skip_samples"):
            raw = next((bytes(d) for d in packet.iter_sidedata() if d.data_type == "skip_samples"), b"")
            self.heard.priming = max(self.heard.priming, int.from_bytes(raw[:4], "little"))
        try:
            frames = packet.decode()
        except av.FFmpegError:
            return
        for frame in frames:
            if isinstance(frame, av.AudioFrame):  # a damaged file may change its streams' kinds on the way
                self._frame(frame)

    def _frame(self, frame: Any) -> None:
        heard = self.heard
        if self.resampler is None:
            heard.rate, heard.channels = frame.sample_rate, frame.layout.nb_channels
            self.resampler = av.AudioResampler(format="flt", layout=frame.layout, rate=frame.sample_rate)
        if frame.pts is not None:
            if heard.start_s is None:
                heard.start_s = float(frame.time) - heard.samples / heard.rate
            expected = heard.start_s + heard.shift_s + heard.samples / heard.rate
            if abs(frame.time - expected) > JUMP_S:
                heard.jumps.append((heard.samples / heard.rate, float(frame.time - expected)))
                heard.shift_s += float(frame.time - expected)
        self._out(frame)

    def _out(self, frame: Any) -> None:
        try:
            resampled = self.resampler.resample(frame)
        except ValueError:  # the sound changed its rate or layout on the way: what no longer fits is left out
            return
        for out in resampled:
            block = out.to_ndarray().reshape(-1, self.heard.channels)
            self.heard.samples += len(block)
            if self.heard.samples > self.max_s * self.heard.rate:
                raise TooLong
            self.give(block, self.heard.rate)

    def end(self) -> None:
        if self.resampler is not None:
            self._out(None)


def _look(packet: Any, seen: _Picture, max_s: float) -> None:
    if seen.first is None and seen.tried < 8:  # a first picture may need a few packets; a broken one is given up
        seen.tried += 1
        try:
            frames = packet.decode()
        except av.FFmpegError:
            frames = []
        seen.first = frames[0] if frames else None
    ticks = packet.pts if packet.pts is not None else packet.dts
    if ticks is None:
        return
    if float(ticks * packet.time_base) > 4 * max_s + 86_400:
        raise TooLong
    seen.pts.append(ticks)
    seen.sizes.append(packet.size)
    seen.key.append(bool(packet.is_keyframe))
    seen.shown.append(not packet.is_discard)
    seen.last_duration = packet.duration or seen.last_duration


def _table(picture: Any, seen: _Picture) -> PictureTable:
    base = float(picture.time_base) if picture is not None else 1.0
    return PictureTable(
        np.array(seen.pts, float) * base,
        np.array(seen.sizes, np.int64),
        np.array(seen.key, bool),
        np.array(seen.shown, bool),
    )


def _sound_facts(stream: Any, heard: _Sound) -> dict[str, Any]:
    return {
        "has_sound": True,
        "audio_codec": stream.codec_context.codec.canonical_name,
        "sample_rate": heard.rate,
        "channels": heard.channels,
        "sound_start_s": heard.start_s if heard.start_s is not None else 0.0,
        "sound_duration_s": heard.samples / heard.rate,
        "priming_samples": heard.priming,
        "sound_jumps": tuple(heard.jumps[:64]),
    }


def _picture_facts(stream: Any, seen: _Picture, table: PictureTable, zero_s: float) -> dict[str, Any]:
    from .reading import clockwise

    context = stream.codec_context
    times = np.sort(table.times_s[table.shown])
    gaps = np.diff(times)
    usual = float(np.median(gaps)) if len(gaps) else 0.0
    last = seen.last_duration * float(stream.time_base)
    end_s = float(times[-1]) + (last if 0 < last < 10 * max(usual, 0.1) else usual)
    turned = clockwise(seen.first) if seen.first is not None else 0
    width, height = (context.height, context.width) if turned in (90, 270) else (context.width, context.height)
    aspect = stream.sample_aspect_ratio
    return {
        "has_picture": seen.first is not None,
        "width": width,
        "height": height,
        "rotation": turned,
        "frames": len(times),
        "fps": _rate(stream, times, _uneven(gaps, usual)),
        "variable_fps": _uneven(gaps, usual),
        "largest_gap_s": float(gaps.max()) if len(gaps) else None,
        "largest_gap_at_s": float(times[int(gaps.argmax())]) - zero_s if len(gaps) else None,
        "video_codec": context.codec.canonical_name,
        "picture_start_s": float(times[0]),
        "picture_duration_s": end_s - float(times[0]),
        "pixel_aspect": float(aspect) if aspect else 1.0,
        "interlaced": bool(seen.first is not None and seen.first.interlaced_frame),
        "hdr": context.color_trc in (16, 18),  # ITU-T H.273: 16 = SMPTE ST 2084, 18 = hybrid log-gamma
        "dropped": _dropped(times, gaps, usual, zero_s),
    }


def _uneven(gaps: NDArray[np.float64], usual: float) -> bool:
    """Whether the frame times prove a variable rate."""
    return bool(len(gaps) > 1 and np.abs(gaps - usual).max() > max(ROUNDING_S, UNEVEN * usual))


def _rate(stream: Any, times: NDArray[np.float64], uneven: bool) -> float | None:
    """Frames divided by time; the header's exact rate where rounded packet times cannot tell it from ours."""
    if len(times) < 2 or times[-1] <= times[0]:
        return None
    rate = (len(times) - 1) / float(times[-1] - times[0])
    said = float(stream.average_rate or 0)
    unsure = rate * (2 * float(Fraction(stream.time_base))) / float(times[-1] - times[0])
    return said if said and not uneven and abs(said - rate) <= unsure else rate


def _dropped(times: NDArray[np.float64], gaps: NDArray[np.float64], usual: float, zero_s: float) -> tuple[Span, ...]:
    long = np.flatnonzero(gaps > max(DROPPED_S, 4 * usual))[:64]
    return tuple(Span(float(times[i]) - zero_s, float(times[i + 1]) - zero_s) for i in long)


def _whole(facts: dict[str, Any], structure: Structure, heard: _Sound) -> dict[str, Any]:
    """Duration over both streams, bit rate, sound gaps, and whether the file ends in the middle."""
    starts = [facts[f"{name}_start_s"] for name in ("sound", "picture") if facts.get(f"{name}_start_s") is not None]
    ends = [
        facts[f"{n}_start_s"] + facts[f"{n}_duration_s"] for n in ("sound", "picture") if f"{n}_duration_s" in facts
    ]
    duration = max(ends) - min(starts) if ends else 0.0
    gaps = tuple(Span(at, at + jump) for at, jump in heard.jumps if jump > DROPPED_S)[:64]
    header = facts.get("header_duration_s") or 0.0
    return {
        "duration_s": duration,
        "bit_rate": round(facts["bytes"] * 8 / duration) if duration > 0 else None,
        "dropped": (*facts.get("dropped", ()), *gaps),
        # Damage may also sit at a box boundary: then the header promises more than the packets keep.
        "cut_off": structure.cut_off or header > duration * 1.02 + 1.0,
    }


def plain(facts: ContainerFacts) -> dict[str, Any]:
    """The facts as values that JSON can carry."""
    return asdict(facts) | {"dropped": [[s.start_s, s.end_s] for s in facts.dropped]}

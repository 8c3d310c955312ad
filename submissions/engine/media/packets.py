"""Container facts from packet times; one pass over the packets, two decoded frames."""

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from ..facts import ContainerFacts


@dataclass
class _Track:
    stream: Any
    pts: list[int] = field(default_factory=list)
    durations: list[int] = field(default_factory=list)
    bytes: int = 0
    first: Any = None  # first decoded frame

    def seconds(self, ticks: float) -> float:
        return float(ticks * Fraction(self.stream.time_base))


def container_facts(container: Any, path: Path) -> ContainerFacts:
    """The facts of an open container; the file's size is read from path."""
    from .reading import clockwise, picture_stream, sound_stream

    picture, sound = picture_stream(container), sound_stream(container)
    tracks = {s.index: _Track(s) for s in (picture, sound) if s is not None}
    _scan(container, [t.stream for t in tracks.values()], tracks)
    facts: dict[str, Any] = {
        "kind": kind_of(container.format.name, path),
        "bytes": path.stat().st_size,
        "header_duration_s": container.duration / av.time_base if container.duration else None,
    }
    ends, starts = [], []
    if picture is not None and tracks[picture.index].pts:
        track = tracks[picture.index]
        times = np.sort(np.array(track.pts)) * float(picture.time_base)
        gaps = np.diff(times)
        usual = float(np.median(gaps)) if len(gaps) else 0.0
        end = float(times[-1]) + (track.seconds(track.durations[-1]) or usual)
        starts.append(float(times[0]))
        ends.append(end)
        frame = track.first
        turned = clockwise(frame) if frame is not None else 0
        width, height = picture.codec_context.width, picture.codec_context.height
        if turned in (90, 270):
            width, height = height, width
        facts |= {
            "has_picture": True,
            "width": width,
            "height": height,
            "rotation": turned,
            "frames": len(times),
            "fps": (len(times) - 1) / float(times[-1] - times[0]) if len(times) > 1 else None,
            "variable_fps": bool(len(gaps) > 1 and (gaps.max() - gaps.min()) > 0.5 * usual),
            "largest_gap_s": float(gaps.max()) if len(gaps) else None,
            "largest_gap_at_s": float(times[int(gaps.argmax())]) if len(gaps) else None,
            "video_codec": picture.codec_context.name,
            "picture_start_s": float(times[0]),
            "picture_duration_s": end - float(times[0]),
        }
    if sound is not None and tracks[sound.index].pts:
        track = tracks[sound.index]
        frame = track.first
        start = float(frame.time) if frame is not None and frame.pts is not None else track.seconds(track.pts[0])
        end = track.seconds(track.pts[-1] + (track.durations[-1] or 0))
        starts.append(start)
        ends.append(end)
        facts |= {
            "has_sound": True,
            "audio_codec": sound.codec_context.name,
            "sample_rate": frame.sample_rate if frame is not None else sound.codec_context.sample_rate,
            "channels": frame.layout.nb_channels if frame is not None else sound.codec_context.channels,
            "sound_start_s": start,
            "sound_duration_s": end - start,
        }
    if ends:
        facts["duration_s"] = max(ends) - min(starts)
    return ContainerFacts(**facts)


def _scan(container: Any, streams: list[Any], tracks: dict[int, _Track]) -> None:
    for packet in _packets(container, streams):
        track = tracks[packet.stream_index]
        if packet.size == 0:
            continue
        if track.first is None:
            try:
                frames = packet.decode()
            except av.FFmpegError:
                frames = []
            track.first = frames[0] if frames else None
        track.bytes += packet.size
        if packet.pts is not None and not packet.is_discard:
            track.pts.append(packet.pts)
            track.durations.append(packet.duration or 0)


def _packets(container: Any, streams: list[Any]) -> Any:
    packets = container.demux(*streams) if streams else iter(())
    while True:
        try:
            yield next(packets)
        except (StopIteration, av.FFmpegError):
            return


def kind_of(demuxer: str, path: Path) -> str:
    """ "mp4", "mov", "mkv" or "webm", by what is inside."""
    head = path.open("rb").read(4096)
    if "matroska" in demuxer:
        return "webm" if b"webm" in head[:64] else "mkv"
    if "mov" in demuxer:
        brand = head[8:12] if head[4:8] == b"ftyp" else b"qt  "
        return "mov" if brand == b"qt  " else "3gp" if brand.startswith((b"3gp", b"3g2")) else "mp4"
    return demuxer.split(",")[0]

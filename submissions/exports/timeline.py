"""An OpenTimelineIO timeline on which every pick of a segment starts at the same musical instant.

Each chair has a picture track in whole frames and a sound track in samples. The sound is exact to a sample of
48 kHz; the picture is as near as a frame allows, and what is left over stands in the clip's metadata.
"""

from fractions import Fraction
from pathlib import Path

import opentimelineio as otio

from .cut import CutPick, CutSegment, CutSheet

NAME = "timeline"
TITLE = "Timeline (OpenTimelineIO)"
SUFFIX = ".otio"
SOUND_RATE = Fraction(48_000)


def write(sheet: CutSheet, folder: Path) -> Path:
    """timeline.otio in folder."""
    timeline = otio.schema.Timeline(name=sheet.title)
    timeline.global_start_time = otio.opentime.RationalTime(0, float(sheet.rate))
    for chair in sheet.chairs:
        timeline.tracks.append(_track(sheet, chair, otio.schema.TrackKind.Video, sheet.rate))
    for chair in sheet.chairs:
        timeline.tracks.append(_track(sheet, chair, otio.schema.TrackKind.Audio, SOUND_RATE))
    timeline.tracks.markers.extend(_markers(sheet))
    path = folder / "timeline.otio"
    otio.adapters.write_to_file(timeline, str(path))
    return path


def _track(sheet: CutSheet, chair: str, kind: str, rate: Fraction) -> otio.schema.Track:
    track = otio.schema.Track(name=chair, kind=kind)
    at, gap = 0.0, 0
    for segment in sheet.segments:
        first, last = round(at * rate), round((at + segment.length_s) * rate)
        at += segment.length_s
        pick = next((p for p in segment.picks if p.chair == chair), None)
        if pick is None:
            gap += last - first
            continue
        if gap:
            track.append(_gap(gap, rate))
            gap = 0
        track.append(_clip(segment, pick, first, last, kind, rate))
    if gap:
        track.append(_gap(gap, rate))
    return track


def _gap(frames: int, rate: Fraction) -> otio.schema.Gap:
    return otio.schema.Gap(source_range=_range(0, frames, rate))


def _clip(segment: CutSegment, pick: CutPick, first: int, last: int, kind: str, rate: Fraction) -> otio.schema.Clip:
    picture = kind == otio.schema.TrackKind.Video
    start_s = pick.source_start_s() + (pick.picture_offset_s if picture else 0.0)
    start = round(start_s * rate)
    available = _range(0, round((pick.file_duration_s) * rate), rate)
    clip = otio.schema.Clip(
        name=f"{segment.name} / {pick.credit} ({pick.part})",
        media_reference=otio.schema.ExternalReference(target_url=pick.file, available_range=available),
        source_range=_range(start, last - first, rate),
    )
    clip.metadata["tapoff"] = {
        "zero_in_file_s": pick.zero_s,
        "clock_ratio": pick.clock_ratio,
        "nudge_ms": pick.nudge_ms,
        "left_over_ms": round(float(start_s - start / rate) * 1000, 4),
    }
    return clip


def _range(start: int, length: int, rate: Fraction) -> otio.opentime.TimeRange:
    return otio.opentime.TimeRange(
        otio.opentime.RationalTime(start, float(rate)), otio.opentime.RationalTime(length, float(rate))
    )


def _markers(sheet: CutSheet) -> list[otio.schema.Marker]:
    return [
        otio.schema.Marker(name=segment.name, marked_range=_range(round(start * sheet.rate), 0, sheet.rate))
        for segment, start in zip(sheet.segments, sheet.starts_s(), strict=True)
    ]

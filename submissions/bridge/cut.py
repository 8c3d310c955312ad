"""The cut: picks, nudges and running order as the plain values every export is made from."""

import hashlib
import re
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from .. import files
from ..exports import EXPORTS, CutPick, CutSegment, CutSheet
from ..models import Call, Chair, Export, Pick, Segment, Take

LINE = ("snare", "tenors", "bass", "cymbals")  # how the line stands, left to right


def cut_sheet(call: Call) -> CutSheet:
    """The whole running order with what is picked now; takes that may not be used any more are left out."""
    usable = Take.objects.for_editor(call)
    picks = {
        pick.chair_id: pick
        for pick in Pick.objects.filter(
            chair__part__segment__call=call, take__in=usable, take__report__zero_s__isnull=False
        )
        .select_related("take__report", "take__entry", "chair__part")
        .prefetch_related("nudges")
    }
    chairs = sorted(
        Chair.objects.filter(part__segment__call=call, part__offered=True).select_related("part"), key=_standing
    )
    names = tuple(dict.fromkeys(chair_name(chair) for chair in chairs))
    order = [segment for segment in call.segments.all() for _ in range(segment.times)]
    segments = tuple(_segment(segment, chairs, picks) for segment in order)
    return CutSheet(title=call.title, chairs=names, segments=segments)


def chair_name(chair: Chair) -> str:
    """A chair's name through all segments: the part's name and a number."""
    return (
        f"{chair.part.name} {chair.number}"
        if not chair.part.name.endswith(tuple("0123456789"))
        else (chair.part.name if chair.number == 1 else f"{chair.part.name} / {chair.number}")
    )


def _standing(chair: Chair) -> tuple:
    part = chair.part
    section = LINE.index(part.instrument) if part.instrument in LINE else len(LINE)
    return section, part.place, part.name, chair.number


def _segment(segment: Segment, chairs: list[Chair], picks: dict[int, Pick]) -> CutSegment:
    here = [chair for chair in chairs if chair.part.segment_id == segment.pk and chair.pk in picks]
    return CutSegment(
        name=segment.title,
        bpm=segment.summary["bpm"],
        length_s=segment.summary["seconds"],
        picks=tuple(_pick(segment, chair, picks[chair.pk]) for chair in here),
    )


def _pick(segment: Segment, chair: Chair, pick: Pick) -> CutPick:
    report = pick.take.report
    container = report.body["container"]
    return CutPick(
        chair=chair_name(chair),
        part=chair.part.name,
        credit=pick.take.entry.credit_name,
        file=file_name(segment, chair, pick.take),
        zero_s=report.zero_s,
        zero_from=report.zero_from,
        zero_sd_s=report.zero_sd_s,
        clock_ratio=report.clock_ratio,
        nudge_ms=pick.nudge_ms,
        file_duration_s=container["duration_s"],
        picture_offset_s=(container["sound_start_s"] or 0.0) - (container["picture_start_s"] or 0.0),
        fps=container["fps"],
        bias_ms=report.bias_ms,
        spread_ms=report.spread_ms,
    )


def file_name(segment: Segment, chair: Chair, take: Take) -> str:
    """The name of a take's file as it lies beside an export: place, chair, number; no player's name."""
    words = f"{segment.place:02d} {chair_name(chair)} take {take.pk}"
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-") + take.ending


def make_export(export: Export, say: Callable[[int], None]) -> list[dict[str, Any]]:
    """Write one kind of export and store it; returns [{"name", "key", "bytes", "sha256"}]."""
    kind = next(kind for kind in EXPORTS if kind.name == export.kind)
    with TemporaryDirectory() as folder:
        path = kind.write(cut_sheet(export.call), Path(folder))
        say(80)
        size, digest = path.stat().st_size, hashlib.sha256(path.read_bytes()).hexdigest()
        return [{"name": path.name, "key": files.store(path, "exports", path.suffix), "bytes": size, "sha256": digest}]

"""Rows and engine values: the only file that speaks both languages."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db import IntegrityError, transaction
from django.forms.models import model_to_dict
from django.utils import timezone

from . import files
from .engine.errors import EngineError
from .engine.music import score
from .engine.music.written import Part, Score
from .models import Entry, PartRow, ProbeReport, Take
from .models.base import Work

__all__ = ["EngineError", "PartReading", "ScoreReading"]


@dataclass(frozen=True)
class PartReading:
    """What the tables keep of one part of a score."""

    part_id: str
    drum: str
    instrument: str
    name: str
    wanted: int = 1  # chairs to begin with
    demand: dict[str, Any] = field(default_factory=dict)
    unread: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class ScoreReading:
    """What the tables keep of a score; the music itself stays in the file."""

    title: str
    sha256: str
    summary: dict[str, Any]
    parts: tuple[PartReading, ...]


# -- music ---------------------------------------------------------------------------------------------------------
def read_score(content: bytes, corrections: dict[str, Any] | None = None) -> ScoreReading:
    """Read a MusicXML file; raises EngineError with a sentence when it cannot be used."""
    read = score.read_score(content, **_corrected(corrections or {}))
    parts = [reading for part in read.parts if part.strokes for reading in _readings(part)]
    if not parts:
        raise EngineError("The score holds no part with strokes.")
    return ScoreReading(read.title, hashlib.sha256(content).hexdigest(), _summary(read), tuple(parts))


def _corrected(corrections: dict[str, Any]) -> dict[str, Any]:
    """The organizer's corrections as the music desk takes them: {"rolls": [[12, "2e", 2]], "bass": {"P4-I36": "1"}}."""
    rolls = {(int(bar), count): strokes for bar, count, strokes in corrections.get("rolls", [])}
    return {"rolls": rolls, "bass": dict(corrections.get("bass", {}))}


def _summary(read: Score) -> dict[str, Any]:
    first = read.parts[0]
    return {
        "composer": read.composer,
        "rights": read.rights,
        "bars": len(first.bars_from_zero()),
        "bpm": round(first.bpm, 3),
        "meter": f"{first.bars[0].beats}/{first.bars[0].beat_type}",
        "seconds": round(first.end_s, 3),
        "warnings": list(read.warnings),
    }


def _readings(part: Part) -> Iterator[PartReading]:
    """A part as the call offers it: as it is; a bass line as each of its drums, and as a whole on one drum."""
    if part.instrument != "bass":
        yield _reading(part, part.name)
        return
    drums = sorted({stroke.drum[-1] for stroke in part.strokes if stroke.drum.startswith("bass-")})
    for drum in drums:
        yield _reading(score.for_drum(part, drum), f"{part.name} {drum}")
    yield _reading(score.for_drum(part, "all"), f"{part.name} on one drum" if drums else part.name)


def _reading(part: Part, name: str) -> PartReading:
    return PartReading(
        part_id=part.part_id,
        drum=part.drum,
        instrument=part.instrument,
        name=name or part.part_id,
        wanted=0 if part.instrument == "bass" and part.drum == "all" and name.endswith("on one drum") else 1,
        unread=[{"bar": u.bar, "element": u.element, "says": u.says} for u in part.unread],
    )


def part_of(row: PartRow) -> Part:
    """The engine's part of a row."""
    content = files.read_bytes(row.segment.score)
    return score.read_part(content, row.part_id, row.drum, **_corrected(row.segment.corrections))


def material_keys(materials: dict[str, Any]) -> list[str]:
    """Every storage key in a part's materials."""
    return [entry["key"] for entry in materials.get("files", [])]


# -- takes ---------------------------------------------------------------------------------------------------------
@transaction.atomic
def store_report(take_pk: int, who: str, report: dict[str, Any]) -> bool:
    """Keep the engine's report and end the work, if the lease is still this worker's; False otherwise.

    The row is locked first, and the table takes one report a take: however often a take is probed, one verdict stays.
    """
    take = Take.objects.select_for_update().filter(pk=take_pk, work=Work.RUNNING, leased_by=who).first()
    if take is None or take.withdrawn_at is not None:
        return False
    try:
        with transaction.atomic():
            ProbeReport.objects.create(take=take, **_columns(report))
    except IntegrityError:
        return False
    Take.objects.filter(pk=take_pk).update(
        work=Work.DONE,
        leased_by="",
        lease_until=None,
        progress=100,
        probed_at=timezone.now(),
        failure="",
        failure_ref="",
    )
    return True


def _columns(report: dict[str, Any]) -> dict[str, Any]:
    """The columns of a report row: what pages sort and filter by, and the whole report beside it."""
    plain = (
        "verdict",
        "zero_s",
        "zero_from",
        "zero_sd_s",
        "clock_ratio",
        "bias_ms",
        "spread_ms",
        "written",
        "matched",
        "missed",
        "extra",
    )
    order = {"redo": 0, "look": 1, "note": 2}
    findings = sorted(report["findings"], key=lambda f: order[f["level"]])
    return {name: report[name] for name in plain} | {"codes": [f["code"] for f in findings], "body": report}


def forget_report(take: Take) -> None:
    """Delete what was measured of a take."""
    ProbeReport.objects.filter(take=take).delete()


# -- people --------------------------------------------------------------------------------------------------------
def everything_about(entry: Entry) -> dict[str, Any]:
    """Everything stored about a player, JSON-able, without what belongs to others."""

    def row(obj, *leave_out: str) -> dict[str, Any]:
        values = model_to_dict(obj)
        for f in obj._meta.concrete_fields:  # model_to_dict leaves out what nobody may edit, dates of creation say
            values.setdefault(f.attname, getattr(obj, f.attname))
        return {name: _plain(value) for name, value in values.items() if name not in leave_out and name != "id"}

    takes = entry.takes.select_related("part__segment").all()
    return {
        "entry": row(entry, "parts", "call", "call_id"),
        "call": entry.call.title,
        "parts": [str(part) for part in entry.parts.select_related("segment")],
        "consents": [
            row(c, "entry", "entry_id") | {"text": c.text.text} for c in entry.consents.select_related("text")
        ],
        "links": [row(link, "entry", "entry_id", "digest") for link in entry.links.all()],
        "mails": [row(mail, "entry", "entry_id") for mail in entry.mails.all()],
        "uploads": [row(upload, "entry", "entry_id") for upload in entry.uploads.all()],
        "takes": [
            row(take, "entry", "entry_id", "storage_key", "leased_by", "lease_until")
            | {
                "part": str(take.part),
                "report": take.report.body if hasattr(take, "report") else None,
                "decisions": [row(d, "take", "take_id", "person", "person_id") for d in take.decisions.all()],
            }
            for take in takes
        ],
    }


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value

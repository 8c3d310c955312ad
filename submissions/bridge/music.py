"""Scores and materials: MusicXML to rows, rows to the engine's parts, parts to what players download."""

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings
from django.utils import translation

from .. import files
from ..engine.errors import EngineError
from ..engine.music import score
from ..engine.music.demand import demand
from ..engine.music.engraving.own_notes import own_notes
from ..engine.music.ladder import ladder, performance_bpm
from ..engine.music.materials import Choices, words_of, write_materials
from ..engine.music.score.intake import open_tree
from ..engine.music.sheet import Tongue
from ..engine.music.written import Part, Score
from ..models import Call, PartRow
from ..sentences import in_words

# Reading a score takes a tenth of a second; a board, an answer and a shortlist each ask for the same few again.
KEPT_SCORES, KEPT_BYTES = 16, 2**20


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


def read_score(content: bytes, corrections: dict[str, Any] | None = None) -> ScoreReading:
    """Read a MusicXML file; raises EngineError with a sentence when it cannot be used."""
    read = _score(content, corrections or {})
    parts = [reading for part in read.parts if part.strokes for reading in _readings(part)]
    if not parts:
        raise EngineError("The score holds no part with strokes.")
    return ScoreReading(read.title, hashlib.sha256(content).hexdigest(), _summary(read), tuple(parts))


def _score(content: bytes, corrections: dict[str, Any]) -> Score:
    """The score as the organizer corrected it; the newest few are kept, because one page after the other asks."""
    words = json.dumps(corrections, sort_keys=True)
    read = _read_and_keep if len(content) <= KEPT_BYTES else _read_and_keep.__wrapped__
    return read(content, words)


@lru_cache(maxsize=KEPT_SCORES)
def _read_and_keep(content: bytes, corrections: str) -> Score:
    return score.read_score(content, corrected=_corrected(json.loads(corrections)))


def _corrected(corrections: dict[str, Any]) -> dict[str, score.Corrections]:
    """A segment's corrections as the music desk takes them.

    The row holds {part id: {"rolls": [[bar, count, strokes], ...], "drums": {place or instrument: [drum, ...]}}}.
    """
    return {
        part_id: score.Corrections(
            rolls={(bar, count): strokes for bar, count, strokes in own.get("rolls", [])},
            drums={key: tuple(drums) for key, drums in own.get("drums", {}).items()},
        )
        for part_id, own in corrections.items()
    }


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
        demand=_demand(part),
        unread=[{"bar": u.bar, "element": u.element, "says": u.says} for u in part.unread],
    )


def _demand(part: Part) -> dict[str, Any]:
    """How demanding the desk takes the part for: a suggestion."""
    suggested = demand(part)
    return {"level": suggested.level, "rank": suggested.rank, "why": suggested.says}


def part_of(row: PartRow, whole: bool = False) -> Part:
    """The engine's part of a row, as corrected by the organizer; whole: with all drums, each on its own."""
    read = _score(files.read_bytes(row.segment.score), row.segment.corrections)
    part = next((part for part in read.parts if part.part_id == row.part_id), None)
    if part is None:
        raise EngineError(f"The score has no part {row.part_id}.")
    return part if whole else score.for_drum(part, row.drum)


def material_keys(materials: dict[str, Any]) -> list[str]:
    """Every storage key in a part's materials."""
    return [entry["key"] for entry in materials.get("files", [])]


def make_materials(row: PartRow, say: Callable[[int], None]) -> dict[str, Any]:
    """Make sheet, clicks, guide, MIDI and strokes of a part and store them.

    Returns what materials.json says, with "files": [{"name", "key", "bytes"}]. say gets per cent done.
    """
    content = files.read_bytes(row.segment.score)
    part, tree = part_of(row), open_tree(content)
    call = row.segment.call
    with TemporaryDirectory() as place:
        folder = Path(place)
        choices = Choices(
            count_off_bars=call.count_off_bars,
            tempi=_tempi(part, call),
            words=_words(part, row),
            own_notes=own_notes(tree, part),
            tongues=[Tongue(code, partial(_say_in, code)) for code, _name in settings.LANGUAGES if code != "en"],
        )
        summary = write_materials(part, tree, folder, choices)
        say(60)
        return dict(summary) | {"files": list(_stored(folder, say))}


def _say_in(code: str, sentence: str) -> str:
    """A sentence of the music desk in this language."""
    with translation.override(code):
        return in_words(sentence)


def _tempi(part: Part, call: Call) -> tuple[Fraction, ...]:
    """The call's own ladder: so many tempi from its slowest to the performance tempo."""
    performance = performance_bpm(part)
    if call.ladder_steps < 2 or call.ladder_from_bpm >= performance:
        return ladder(performance)
    room = performance - call.ladder_from_bpm
    return ladder(performance, call.ladder_from_bpm, max(1, -(-room // (call.ladder_steps - 1))))


def _words(part: Part, row: PartRow) -> Any:
    """The words of the sheet: the part's own, the organizer's names and tips, and the rights statement."""
    own = words_of(part, row.segment.call.count_off_bars)
    tips = tuple(_tip(line) for line in row.tips.splitlines() if line.strip())
    return replace(
        own,
        title=row.segment.title,
        part=row.name,
        tips=own.tips + tips,
        rights=row.segment.call.rights_statement,
        demand=row.demand.get("why", ""),
    )


def _tip(line: str) -> tuple[int, str]:
    """ "12: relax the left hand" is a tip for bar 12; a line without a number stands at bar 1."""
    bar, colon, words = line.partition(":")
    return (int(bar), words.strip()) if colon and bar.strip().isdecimal() else (1, line.strip())


def _stored(folder: Path, say: Callable[[int], None]) -> Iterator[dict[str, Any]]:
    made = sorted(path for path in folder.iterdir() if path.is_file())
    for number, path in enumerate(made, start=1):
        size = path.stat().st_size
        yield {"name": path.name, "key": files.store(path, "materials", path.suffix), "bytes": size}
        say(60 + 40 * number // len(made))

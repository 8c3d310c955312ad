"""The two readers others call: a whole score, and one part of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.etree.ElementTree import Element

from ...errors import ScoreError
from ..written import DrumPlace, Part, Score, Unread
from .drums import Drums, doubtful_heads, drum_map, guess_instrument, number_in_name
from .intake import open_tree
from .raw import RawBar, RawInstrument, RawPart
from .repeats import fill_in
from .strike import RollKey, Striker
from .timeline import Timeline, make_timeline
from .tree import text
from .unison import joined
from .walk import Walker

Source = Path | str | bytes
DRUMS = ("all", "1", "2", "3", "4", "5")
MOST_PARTS = 200
MOST_BARS = 4_000


@dataclass(frozen=True, slots=True)
class Corrections:
    """What an organizer set right in how one part was read.

    rolls: {(bar, count): strokes on that note, 0 for a buzz or no release}. drums: {staff position or instrument id:
    drum, 0 for none, (1, 2, 3, 4, 5) for a unison}.
    """

    rolls: Mapping[RollKey, int] = field(default_factory=dict)
    drums: Mapping[str, Drums] = field(default_factory=dict)


NOTHING_CORRECTED = Corrections()


def read_score(
    source: Source,
    rolls: Mapping[RollKey, int] | None = None,
    bass: Mapping[str, Drums] | None = None,
    corrected: Mapping[str, Corrections] | None = None,
) -> Score:
    """All parts of a MusicXML file (bytes, or the path of a .musicxml, .xml or .mxl file), each with all its drums.

    rolls and bass correct every part and every bass line of the score (see Corrections); corrected has corrections of
    single parts by part id, which go before them. Raises ScoreError where the file cannot be used at all.
    """
    root = open_tree(source)
    raw = _raw_parts(root)
    time = make_timeline(raw)
    title = text(root, "work/work-title") or text(root, "movement-title") or _credit(root, "title")
    by_part, parts = corrected or {}, []
    for part in raw:
        instrument, own = guess_instrument(part), by_part.get(part.id, NOTHING_CORRECTED)
        places = {**(bass or {}), **own.drums} if instrument == "bass" else own.drums
        parts.append(_part(part, instrument, time, title, Corrections({**(rolls or {}), **own.rolls}, places)))
    warnings = tuple(dict.fromkeys(time.warnings))
    rights = text(root, "identification/rights") or _credit(root, "rights")
    return Score(title, _creator(root), rights, tuple(parts), warnings)


def read_part(
    source: Source,
    part_id: str | None = None,
    drum: str = "all",
    rolls: Mapping[RollKey, int] | None = None,
    bass: Mapping[str, Drums] | None = None,
) -> Part:
    """One part of a MusicXML file. part_id is an id or a name (None: the first part with strokes that suits drum).

    drum "1" to "5" keeps only that bass player's strokes; "all" is the whole line on one drum, unison hits once.
    A part whose names do not say what it is is taken for a bass line where a drum of one is asked for. rolls and bass
    correct the reading, see Corrections; bass also serves the drums of tenors.
    """
    if drum not in DRUMS:
        raise ScoreError(f"“{drum}” is no drum of a bass line; it is all, 1, 2, 3, 4 or 5.")
    root = open_tree(source)
    raw = _raw_parts(root)
    chosen = _chosen(raw, part_id, drum)
    instrument = guess_instrument(chosen)
    if instrument == "other" and drum != "all":
        instrument = "bass"
    title = text(root, "work/work-title") or text(root, "movement-title") or _credit(root, "title")
    part = _part(chosen, instrument, make_timeline(raw), title, Corrections(rolls or {}, bass or {}))
    warnings = part.warnings
    if part_id is None and len(raw) > 1:
        warnings += (f"the score holds {len(raw)} parts; “{part.name or part.part_id}” was taken",)
    return replace(for_drum(part, drum), warnings=warnings)


def for_drum(part: Part, drum: str) -> Part:
    """The part as one player plays it: one drum of a bass line, or the whole line on one drum."""
    if part.instrument != "bass":
        if drum != "all":
            raise ScoreError(f"“{part.name or part.part_id}” is no bass line; it is not split into drums.")
        return part
    if drum == "all":
        merged = joined([replace(stroke, drum="bass") for stroke in part.strokes])
        return replace(part, drum="all", strokes=tuple(merged))
    own = tuple(stroke for stroke in part.strokes if stroke.drum == f"bass-{drum}")
    if not own:
        raise ScoreError(f"“{part.name or part.part_id}” has no stroke for bass {drum}.")
    return replace(part, drum=drum, strokes=own)


def bass_map(score: Score) -> dict[str, tuple[DrumPlace, ...]]:
    """For every bass line of a score, by part id: which staff position or instrument is which drum, and why."""
    return {part.part_id: part.drum_map for part in score.parts if part.instrument == "bass"}


def _chosen(parts: list[RawPart], part_id: str | None, drum: str) -> RawPart:
    if part_id is not None:
        wanted = part_id.strip().lower()
        named = [part for part in parts if part.id == part_id] or [
            part for part in parts if part.name.strip().lower() == wanted
        ]
        if named:
            return named[0]
        known = ", ".join(f"{part.id} ({part.name})" for part in parts)
        raise ScoreError(f"The score has no part “{part_id[:60]}”; it has {known[:400]}.")
    if drum != "all":
        basses = [part for part in parts if guess_instrument(part) == "bass"]
        own = [part for part in basses if number_in_name(part.name) == int(drum)]
        if own or basses:
            return (own or basses)[0]
    struck = (part for part in parts if any(not note.rest for bar in part.bars for note in bar.notes))
    return next(struck, parts[0])


def _raw_parts(root: Element) -> list[RawPart]:
    """Every part's bars as printed; all parts have the same number of bars, repeated bars are filled in."""
    listed = {element.get("id", ""): element for element in root.iterfind("part-list/score-part")}
    elements = root.findall("part")
    most = max((len(element.findall("measure")) for element in elements), default=0)
    if most == 0:
        raise ScoreError("The score holds no bars.")
    if len(elements) > MOST_PARTS or most > MOST_BARS:
        raise ScoreError(f"The score has more than {MOST_PARTS} parts or {MOST_BARS} bars.")
    parts: list[RawPart] = []
    for element in elements:
        part = _named(element.get("id", ""), listed.get(element.get("id", "")))
        walker = Walker()
        part.bars = [walker.bar(measure) for measure in element.iterfind("measure")]
        while len(part.bars) < most:  # a part with fewer bars than the others ends in silence
            part.bars.append(RawBar(label="", implicit=False, meter=walker.meter))
        fill_in(part.bars)
        parts.append(part)
    return parts


def _named(part_id: str, listed: Element | None) -> RawPart:
    instruments = {}
    for element in [] if listed is None else listed.iterfind("score-instrument"):
        own = element.get("id", "")
        instruments[own] = RawInstrument(own, text(element, "instrument-name"))
    name = text(listed, "part-name") or text(listed, "part-name-display/display-text")
    return RawPart(part_id, name, text(listed, "part-abbreviation"), instruments)


def _creator(root: Element) -> str:
    creators = root.findall("identification/creator")
    wanted = [creator for creator in creators if creator.get("type") in ("composer", None)] or creators
    return (wanted[0].text or "").strip() if wanted else _credit(root, "composer")


def _credit(root: Element, kind: str) -> str:
    """Words printed on the first page that the file marks as title, composer or rights."""
    for credit in root.iterfind("credit"):
        if text(credit, "credit-type") == kind:
            return text(credit, "credit-words")
    return ""


def _part(raw: RawPart, instrument: str, time: Timeline, title: str, corrected: Corrections) -> Part:
    places = drum_map(raw, instrument, corrected.drums)
    striker = Striker(raw, instrument, time, places, corrected.rolls)
    striker.strike()
    unread = [
        Unread(bar.number, element, f"bar {bar.number}: {says}") for bar in raw.bars for element, says in bar.unread
    ]
    printed = [f"bar {bar.number}: {says}" for bar in raw.bars for says in bar.warnings]
    return Part(
        part_id=raw.id,
        name=raw.name,
        instrument=instrument,
        drum="all",
        title=title,
        strokes=tuple(striker.strokes),
        bars=time.bars,
        beats=time.beats,
        tempi=time.tempi,
        end_q=time.end_q,
        end_s=float(time.clock.seconds(time.end_q)),
        unread=tuple(sorted(dict.fromkeys(unread + striker.unread), key=lambda entry: entry.bar)),
        rolls=tuple(striker.rolls.values()),
        warnings=tuple(dict.fromkeys(time.warnings + printed + striker.warnings + doubtful_heads(raw, instrument))),
        drum_map=places,
    )

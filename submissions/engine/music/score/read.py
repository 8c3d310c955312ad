"""The two readers others call: a whole score, and one part of it."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import Element

from ...errors import ScoreError
from ..written import Part, Score, Unread, WrittenStroke
from .drums import drum_map, guess_instrument, number_in_name
from .intake import open_tree
from .raw import RawBar, RawInstrument, RawPart
from .repeats import fill_repeated_bars
from .strike import RollKey, Striker, joined
from .timeline import Timeline, make_timeline
from .tree import text
from .walk import Walker

Source = Path | str | bytes
DRUMS = ("all", "1", "2", "3", "4", "5")


def read_score(source: Source, rolls: Mapping[RollKey, int] | None = None, bass: Mapping[str, int] | None = None) -> Score:
    """All parts of a MusicXML file (bytes, or the path of a .musicxml, .xml or .mxl file), each with all its drums.

    rolls corrects readings: {(bar, count): strokes on that note, 0 for a buzz}. bass corrects the mapping of a bass line:
    {staff position or instrument id: drum}. Raises ScoreError where the file cannot be used at all.
    """
    root = open_tree(source)
    raw = _raw_parts(root)
    time = make_timeline(raw)
    title = text(root, "work/work-title") or text(root, "movement-title")
    parts = tuple(_part(part, time, title, rolls or {}, bass or {}) for part in raw)
    return Score(title, _creator(root), text(root, "identification/rights"), parts, tuple(dict.fromkeys(time.warnings)))


def read_part(
    source: Source,
    part_id: str | None = None,
    drum: str = "all",
    rolls: Mapping[RollKey, int] | None = None,
    bass: Mapping[str, int] | None = None,
) -> Part:
    """One part of a MusicXML file. part_id is an id or a name (None: the first part with strokes that suits drum).

    drum "1" to "5" keeps only that bass player's strokes; "all" is the whole line on one drum, unison hits once.
    """
    if drum not in DRUMS:
        raise ScoreError(f"“{drum}” is no drum of a bass line; it is all, 1, 2, 3, 4 or 5.")
    score = read_score(source, rolls, bass)
    part = _chosen(score, part_id, drum)
    warnings = part.warnings
    if part_id is None and len(score.parts) > 1:
        warnings += (f"the score holds {len(score.parts)} parts; “{part.name or part.part_id}” was taken",)
    return replace(for_drum(part, drum), warnings=warnings)


def for_drum(part: Part, drum: str) -> Part:
    """The part as one player plays it: one drum of a bass line, or the whole line on one drum."""
    if part.instrument != "bass":
        if drum != "all":
            raise ScoreError(f"“{part.name or part.part_id}” is no bass line; it is not split into drums.")
        return part
    if drum == "all":
        merged: list[WrittenStroke] = joined([replace(stroke, drum="bass") for stroke in part.strokes])
        return replace(part, drum="all", strokes=tuple(merged))
    own = tuple(stroke for stroke in part.strokes if stroke.drum == f"bass-{drum}")
    if not own:
        raise ScoreError(f"“{part.name or part.part_id}” has no stroke for bass {drum}.")
    return replace(part, drum=drum, strokes=own)


def _chosen(score: Score, part_id: str | None, drum: str) -> Part:
    if part_id is not None:
        wanted = part_id.strip().lower()
        for part in score.parts:
            if part.part_id == part_id:
                return part
        for part in score.parts:
            if part.name.strip().lower() == wanted:
                return part
        known = ", ".join(part.part_id for part in score.parts)
        raise ScoreError(f"The score has no part “{part_id}”; it has {known}.")
    if drum != "all":
        basses = [part for part in score.parts if part.instrument == "bass"]
        own = [part for part in basses if number_in_name(part.name) == int(drum)]
        if own or basses:
            return (own or basses)[0]
    return next((part for part in score.parts if part.strokes), score.parts[0])


def _raw_parts(root: Element) -> list[RawPart]:
    listed = {element.get("id", ""): element for element in root.iterfind("part-list/score-part")}
    parts: list[RawPart] = []
    for element in root.iterfind("part"):
        part = _named(element.get("id", ""), listed.get(element.get("id", "")))
        walker = Walker()
        part.bars = [walker.bar(measure) for measure in element.iterfind("measure")]
        parts.append(part)
    most = max((len(part.bars) for part in parts), default=0)
    if most == 0:
        raise ScoreError("The score holds no bars.")
    for part in parts:
        _fill_up(part, most)
        fill_repeated_bars(part.bars)
    return parts


def _fill_up(part: RawPart, most: int) -> None:
    """A part with fewer bars than the others ends in silence."""
    while len(part.bars) < most:
        meter = part.bars[-1].meter if part.bars else Walker().meter
        part.bars.append(RawBar(label="", implicit=False, meter=meter))


def _named(part_id: str, listed: Element | None) -> RawPart:
    instruments = {}
    for element in [] if listed is None else listed.iterfind("score-instrument"):
        own = element.get("id", "")
        instruments[own] = RawInstrument(own, text(element, "instrument-name"))
    return RawPart(part_id, text(listed, "part-name"), text(listed, "part-abbreviation"), instruments)


def _creator(root: Element) -> str:
    creators = root.findall("identification/creator")
    wanted = [creator for creator in creators if creator.get("type") in ("composer", None)] or creators
    return (wanted[0].text or "").strip() if wanted else ""


def _part(raw: RawPart, time: Timeline, title: str, rolls: Mapping[RollKey, int], bass: Mapping[str, int]) -> Part:
    instrument = guess_instrument(raw)
    places = drum_map(raw, instrument, dict(bass))
    striker = Striker(raw, instrument, time, places, rolls)
    striker.strike()
    unread = _page_unread(raw) + striker.unread
    warnings = time.warnings + [f"bar {bar.number}: {says}" for bar in raw.bars for says in bar.warnings]
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
        unread=tuple(sorted(dict.fromkeys(unread), key=lambda entry: entry.bar)),
        rolls=tuple(striker.rolls),
        warnings=tuple(dict.fromkeys(warnings)),
        drum_map=places,
    )


def _page_unread(raw: RawPart) -> list[Unread]:
    return [Unread(bar.number, element, f"bar {bar.number}: {says}") for bar in raw.bars for element, says in bar.unread]

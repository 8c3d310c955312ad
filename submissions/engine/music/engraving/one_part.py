"""One part of a partwise tree, made ready for the engraver: alone, tempo marks its own, others' notes gray.

Conventions: functions change the tree they are given, except `only_part`, which makes the copy they work on.
"""

import copy
from collections.abc import Iterator
from xml.etree.ElementTree import Element, SubElement

from ...errors import ScoreError

OCTAVES = frozenset("0123456789")
OTHERS_GRAY = "#8c8c8c"  # still readable (contrast 3.4:1 on white), clearly not the player's own
# Heads that the engraver draws as ordinary ones or as slashes, and a head it has that the trade reads the same way.
DRAWN_HEADS = {
    "slashed": "diamond",
    "back slashed": "diamond",
    "triangle": "diamond",
    "inverted triangle": "diamond",
    "left triangle": "diamond",
    "arrow up": "diamond",
    "arrow down": "diamond",
    "circled": "circle-x",
    "circle dot": "circle-x",
    "none": "normal",  # it is struck and told; a player must see it
    "plus": "cross",
}
HEAD_COMES_AFTER = ("duration", "voice", "type", "dot", "accidental", "time-modification", "stem")  # MusicXML's order


def only_part(tree: Element, part_id: str) -> Element:
    """A copy of the tree with this part alone and without the page layout of the program that wrote it."""
    root = Element("score-partwise", {"version": "4.0"})
    names = [p for p in tree.iter("score-part") if p.get("id") == part_id]
    parts = [p for p in tree.findall("part") if p.get("id") == part_id]
    if not names or not parts:
        raise ScoreError(f"The score has no part {part_id}.")
    score_part = SubElement(SubElement(root, "part-list"), "score-part", {"id": part_id})
    SubElement(score_part, "part-name", {"print-object": "no"}).text = ""
    root.append(copy.deepcopy(parts[0]))
    for other in tree.findall("part"):
        if parts[0].find("measure/direction/direction-type/metronome") is None and other is not parts[0]:
            _take_tempo(root, other)
    return root


def _take_tempo(root: Element, other: Element) -> None:
    """Tempo marks are written once, in the score's first part; every player's sheet needs them."""
    for own, measure in zip(root.iter("measure"), other.findall("measure"), strict=False):
        for direction in measure.findall("direction"):
            if direction.find("direction-type/metronome") is not None:
                _insert_at(own, copy.deepcopy(direction), _time_before(measure, direction))


def _time_before(measure: Element, wanted: Element) -> float:
    """Share of the measure's notes, by duration, that stands before an element of it."""
    before = total = 0.0
    for child in measure:
        if child is wanted:
            before = total
        if child.tag == "note" and child.find("chord") is None and child.find("grace") is None:
            total += float(child.findtext("duration") or 0)
    return before / total if total else 0.0


def _insert_at(measure: Element, direction: Element, share: float) -> None:
    """Put a direction before the first note at or after this share of the measure, and after its attributes."""
    notes = [n for n in measure.findall("note") if n.find("chord") is None and n.find("grace") is None]
    total = sum(float(n.findtext("duration") or 0) for n in notes)
    done = 0.0
    for note in notes:
        if total == 0 or done / total >= share - 1e-9:
            at = list(measure).index(note)
            while at and measure[at - 1].tag == "note" and measure[at - 1].find("grace") is not None:
                at -= 1
            measure.insert(at, direction)
            return
        done += float(note.findtext("duration") or 0)
    measure.append(direction)


def tidy(root: Element) -> None:
    """Leave to the engraver what is its own, and put percussion signs where drummers look for them."""
    for measure in root.iter("measure"):
        for child in list(measure):
            if child.tag == "print":
                measure.remove(child)
        for style in measure.iterfind("attributes/measure-style"):
            for rest in style.findall("multiple-rest"):
                style.remove(rest)  # every bar is drawn, so that every bar can be lit and counted
        for octave in (*measure.iterfind("note/*/display-octave"), *measure.iterfind("note/*/octave")):
            if (octave.text or "").strip() not in OCTAVES:
                octave.text = "4"  # no place on a staff; the engraver would draw ledger lines up to it
        for head in measure.iterfind("note/notehead"):
            head.text = DRAWN_HEADS.get(head.text or "", head.text)
        for note in measure.iter("note"):
            for sign in note.iterfind("notations/articulations/*"):
                if "placement" not in sign.attrib:
                    sign.set("placement", "above")
        for graces in _grace_groups(measure):
            _beam(graces)
    _close(root)


def _close(root: Element) -> None:
    """The end of a part is a thin and a thick line; files often leave it open."""
    last = [measure for measure in root.iter("measure")][-1:]
    if last and all(line.get("location", "right") != "right" for line in last[0].iterfind("barline")):
        line = SubElement(last[0], "barline", {"location": "right"})
        SubElement(line, "bar-style").text = "light-heavy"


def _grace_groups(measure: Element) -> Iterator[list[Element]]:
    group: list[Element] = []
    for note in measure.findall("note"):
        if note.find("grace") is not None and note.find("chord") is None:
            group.append(note)
            continue
        if len(group) > 1 and all(g.find("beam") is None for g in group):
            yield group
        group = []


def _beam(graces: list[Element]) -> None:
    """Drags and ruffs are written as beamed sixteenths; files often leave them as loose flags."""
    for index, note in enumerate(graces):
        grace, kind = note.find("grace"), note.find("type")
        if grace is not None:
            grace.attrib.pop("slash", None)
        if kind is not None:
            kind.text = "16th"
        word = "begin" if index == 0 else "end" if index == len(graces) - 1 else "continue"
        anchor = [n for n, child in enumerate(note) if child.tag in ("type", "dot", "accidental", "stem", "notehead")]
        for level in ("2", "1"):
            beam = Element("beam", {"number": level})
            beam.text = word
            note.insert(max(anchor) + 1, beam)


def gray_others(root: Element, own: frozenset[int]) -> None:
    """Gray whole notes that are others'; in a chord with an own note only the other heads, its stem and signs stay."""
    notes = list(root.iter("note"))
    for chord in _chords(notes):
        shared = any(index in own for index in chord)
        for index in chord:
            note = notes[index]
            if index in own or note.find("rest") is not None:
                continue
            if shared:
                _gray_head(note)
                continue
            note.set("color", OTHERS_GRAY)
            for sign in note.iterfind("notations//*"):
                sign.set("color", OTHERS_GRAY)


def _chords(notes: list[Element]) -> Iterator[list[int]]:
    chord: list[int] = []
    for index, note in enumerate(notes):
        if note.find("chord") is None and chord:
            yield chord
            chord = []
        chord.append(index)
    if chord:
        yield chord


def _gray_head(note: Element) -> None:
    head = note.find("notehead")
    if head is None:
        head = Element("notehead")
        head.text = "normal"
        before = [n for n, child in enumerate(note) if child.tag in HEAD_COMES_AFTER]
        note.insert(max(before) + 1, head)
    head.set("color", OTHERS_GRAY)

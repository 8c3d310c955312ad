"""The page as the organizer corrected it: slashes that say the strokes that are scored, so that sheet and ear agree.

Where slashes and beams can say the number they do; where they cannot (five strokes on a quarter) "5×" stands under the
note, in no language; the words of the sheet say it once more. A release that is not struck has "0×".
"""

from collections.abc import Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from ..score.notes import BEAMS, nominal_length
from ..score.tree import text
from ..written import RollReading

MOST_SLASHES = 5  # more are not drawn on a stem
TIMES = "{}×"


def write_corrections(root: Element, rolls: Sequence[RollReading]) -> None:
    """Change the tremolos of corrected notes of a one-part tree, and put words under those that need them."""
    notes = list(root.iter("note"))
    words: dict[int, str] = {}
    for roll in rolls:
        if not roll.corrected:
            continue
        for index in (n for n in roll.elements if n < len(notes)):
            said = _write(notes[index], roll)
            if said and roll.elements.index(index) == 0:
                words[id(notes[index])] = said
    if words:
        _put_words(root, words)


def _write(note: Element, roll: RollReading) -> str:
    """Put the reading on the note; what has to stand beside it in words, or ""."""
    strokes = roll.strokes_a_note
    if roll.kind == "release":
        return "" if strokes else TIMES.format(0)
    if roll.kind == "pair":
        return TIMES.format(strokes)
    _take_rolls_off(note)
    if strokes == 0:
        _ornament(note, "unmeasured", 0)
        return ""
    slashes = slashes_for(strokes, nominal_length(note), BEAMS.get(text(note, "type"), 0))
    if slashes:
        _ornament(note, "single", slashes)
    elif slashes is None:
        _ornament(note, "single", max(1, min(roll.slashes, MOST_SLASHES)))
    return TIMES.format(strokes) if slashes is None else ""


def slashes_for(strokes: int, nominal: Fraction, beams: int) -> int | None:
    """Slashes that give a note of this length and these beams so many strokes; 0 for one, None where none do."""
    if strokes == 1:
        return 0
    fitting = (n for n in range(1, MOST_SLASHES + 1) if nominal * 2 ** (beams + n) == strokes)
    return next(fitting, None)


def _take_rolls_off(note: Element) -> None:
    """Take away every sign of a roll that the reader knows."""
    for notations in note.findall("notations"):
        for parent in (notations, *notations):
            for child in list(parent):
                if child.tag in ("tremolo", "trill-mark", "wavy-line") or child.tag.startswith("other-"):
                    parent.remove(child)
    for lyric in note.findall("lyric"):
        if text(lyric, "text") in ("z", "Z"):
            note.remove(lyric)


def _ornament(note: Element, kind: str, slashes: int) -> None:
    notations = note.find("notations")
    if notations is None:
        notations = Element("notations")
        before = [n for n, child in enumerate(note) if child.tag not in ("lyric", "play", "listen")]
        note.insert(max(before) + 1, notations)
    ornaments = notations.find("ornaments")
    if ornaments is None:
        ornaments = SubElement(notations, "ornaments")
    SubElement(ornaments, "tremolo", {"type": kind}).text = str(slashes)


def _put_words(root: Element, words: dict[int, str]) -> None:
    """A direction before each note that needs words, under the staff."""
    for measure in root.iter("measure"):
        for note in [child for child in measure if id(child) in words]:
            direction = Element("direction", {"placement": "below"})
            SubElement(SubElement(direction, "direction-type"), "words").text = words[id(note)]
            measure.insert(_before(measure, note), direction)


def _before(measure: Element, note: Element) -> int:
    """Where a direction for this note stands: ahead of its chord and of its grace notes."""
    children = list(measure)
    at = children.index(note)
    while at and (children[at].find("chord") is not None or children[at - 1].find("grace") is not None):
        at -= 1
    return at

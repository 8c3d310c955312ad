"""Beams and stems for files that carry none: notes of one beat under one beam, stems up, as drum parts are printed.

Conventions: positions are exact quarters from the start of the meter; a file that has beams or stems keeps its own.
"""

from fractions import Fraction
from xml.etree.ElementTree import Element

from ..grid import Meter, make_meter

FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}
BEAM_COMES_AFTER = (
    "grace", "chord", "unpitched", "pitch", "duration", "tie", "instrument", "voice", "type", "dot", "accidental",
    "time-modification", "stem", "notehead", "notehead-text", "staff",
)  # fmt: skip
COMMON = Meter(4, 4, (1, 1, 1, 1))

_Note = tuple[Fraction, Element]


def beam_and_stem(part: Element) -> None:
    """Add what a part without any beam, or without any stem, lacks."""
    if part.find("measure/note/stem") is None and len({n.findtext("voice") or "1" for n in part.iter("note")}) == 1:
        for note in part.iter("note"):
            if note.find("rest") is None:
                _insert(note, "stem", "up", BEAM_COMES_AFTER[:12])
    if part.find("measure/note/beam") is not None:
        return
    divisions, meter = Fraction(1), COMMON
    for index, measure in enumerate(part.findall("measure")):
        divisions, meter = _attributes(measure, divisions, meter)
        voices, length = _voices(measure, divisions)
        offset = max(Fraction(0), (meter.length or length) - length) if index == 0 else Fraction(0)
        for notes in voices.values():
            _beam_voice(notes, meter, offset)


def _attributes(measure: Element, divisions: Fraction, meter: Meter) -> tuple[Fraction, Meter]:
    for attributes in measure.iterfind("attributes"):
        written = attributes.findtext("divisions")
        if written and written.strip().isdecimal() and int(written) > 0:
            divisions = Fraction(int(written))
        time = attributes.find("time")
        if time is not None:
            meter = make_meter(time.findtext("beats") or "", time.findtext("beat-type") or "") or meter
    return divisions, meter


def _voices(measure: Element, divisions: Fraction) -> tuple[dict[str, list[_Note]], Fraction]:
    """Notes and rests of each voice with their place in the bar, and how far the bar reaches."""
    voices: dict[str, list[_Note]] = {}
    at = reach = Fraction(0)
    for child in measure:
        lasts = Fraction(child.findtext("duration") or 0) / divisions
        if child.tag == "note" and child.find("grace") is None and child.find("chord") is None:
            voices.setdefault(child.findtext("voice") or "1", []).append((at, child))
            at += lasts
        elif child.tag == "forward":
            at += lasts
        elif child.tag == "backup":
            at -= lasts
        reach = max(reach, at)
    return voices, reach


def _beam_voice(notes: list[_Note], meter: Meter, offset: Fraction) -> None:
    group: list[Element] = []
    beat_before: int | None = None
    for at, note in notes:
        beat = _beat(meter, at + offset)
        flags = FLAGS.get(note.findtext("type") or "", 0)
        plain = note.find("rest") is None and flags > 0
        if not plain or beat != beat_before:
            _beam(group)
            group = []
        if plain:
            group.append(note)
        beat_before = beat
    _beam(group)


def _beat(meter: Meter, at: Fraction) -> int:
    """Number of the beat that holds this place; beats shorter than a quarter are taken by quarters."""
    lengths = meter.beat_lengths
    if not lengths or max(lengths) < 1:
        return int(at)
    number = 0
    while number < len(lengths) and at >= sum(lengths[: number + 1], Fraction(0)):
        number += 1
    return number


def _beam(group: list[Element]) -> None:
    if len(group) < 2:
        return
    flags = [FLAGS[note.findtext("type") or ""] for note in group]
    for level in range(1, max(flags) + 1):
        for index, note in enumerate(group):
            if flags[index] >= level:
                _insert(note, "beam", _word(flags, index, level), (*BEAM_COMES_AFTER, "beam"), str(level))


def _word(flags: list[int], index: int, level: int) -> str:
    before = index > 0 and flags[index - 1] >= level
    after = index + 1 < len(flags) and flags[index + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "forward hook" if index == 0 else "backward hook"


def _insert(note: Element, tag: str, text: str, after: tuple[str, ...], number: str = "") -> None:
    element = Element(tag, {"number": number} if number else {})
    element.text = text
    places = [n for n, child in enumerate(note) if child.tag in after]
    note.insert(max(places, default=-1) + 1, element)

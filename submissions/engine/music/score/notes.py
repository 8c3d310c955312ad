"""One <note> element as a RawNote: what is printed at it, not yet what it means."""

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from .raw import RawNote, Tremolo
from .tree import is_no, is_yes, number, numbers_in, text, whole

# Note types of MusicXML: quarters by name, and flags or beams drawn on them.
TYPES = ("maxima", "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th")
QUARTERS = {name: Fraction(2) ** (5 - index) for index, name in enumerate(TYPES)}
BEAMS = {name: max(0, index - 5) for index, name in enumerate(TYPES)}
STICKING = re.compile(r"[RLrl](?:[\s/|.,-]?[RLrl]){0,15}")
BUZZ = re.compile(r"buzz|multiple.?bounce|^z$", re.IGNORECASE)
ARTICULATIONS = ("staccato", "staccatissimo", "spiccato", "tenuto", "detached-legato", "stress", "unstress", "soft-accent")
MUTED = ("stopped", "damp", "damp-all", "muted", "snap-pizzicato")


def nominal_length(note: Element) -> Fraction:
    """Quarters by type and dots, before tuplets; 0 where the note has no type."""
    base = QUARTERS.get(text(note, "type"), Fraction(0))
    dots = len(note.findall("dot"))
    return base * (2 - Fraction(1, 2 ** min(dots, 8)))


def sounding_length(note: Element, duration: Fraction, divisions: Fraction) -> Fraction:
    """Quarters the note lasts. Programs round tuplets to whole divisions; within one division the type is believed."""
    by_divisions = duration / divisions
    nominal = nominal_length(note)
    if not nominal or note.find("grace") is not None:
        return by_divisions
    actual, normal = number(text(note, "time-modification/actual-notes")), number(text(note, "time-modification/normal-notes"))
    ratio = normal / actual if actual and normal else Fraction(1)
    by_type = nominal * ratio
    return by_type if abs(by_type - by_divisions) * divisions < 1 else by_divisions


def place_of(note: Element) -> str:
    """Staff position as step and octave; the middle line of a percussion staff where none is given."""
    for kind, prefix in (("unpitched", "display-"), ("pitch", ""), ("rest", "display-")):
        found = note.find(kind)
        if found is not None:
            step, octave = text(found, f"{prefix}step"), text(found, f"{prefix}octave")
            return f"{step}{octave}" if step and octave else "B4"
    return "B4"


def tremolo_of(note: Element) -> Tremolo | None:
    found = note.find("notations/ornaments/tremolo")
    if found is None:
        return None
    kind = found.get("type", "single")
    slashes = whole(found.text) or 0
    if kind == "single" and slashes == 0:
        kind = "unmeasured"
    return Tremolo(kind, min(slashes, 8))


def says_buzz(note: Element) -> bool:
    """A z on the stem: as an unmeasured tremolo, or by one of the ways programs write a sign MusicXML has no name for."""
    for path in ("notations//other-ornament", "notations//other-technical", "notations//other-notation", "notations//other-articulation"):
        for found in note.iterfind(path):
            if BUZZ.search(found.get("smufl", "")) or BUZZ.search((found.text or "").strip()):
                return True
    return any((lyric.text or "").strip() in ("z", "Z") for lyric in note.iterfind("lyric/text"))


def sticking_of(note: Element) -> str:
    """R and L letters at the note, capital, in order; from fingering, pluck or lyric."""
    for path in ("notations/technical/fingering", "notations/technical/pluck", "lyric/text"):
        for found in note.iterfind(path):
            letters = as_sticking((found.text or "").strip())
            if letters:
                return letters
    return ""


def as_sticking(written: str) -> str:
    """The letters of a sticking such as "R", "l", "R L" or "RR"; "" where the text is something else."""
    return re.sub(r"[^RL]", "", written.upper()) if STICKING.fullmatch(written) else ""


def marks_of(note: Element) -> frozenset[str]:
    found = {mark for mark in ARTICULATIONS if note.find(f"notations/articulations/{mark}") is not None}
    if any(note.find(f"notations//{mark}") is not None for mark in MUTED):
        found.add("muted")
    return frozenset(found)


def accent_of(note: Element) -> int:
    if note.find("notations/articulations/strong-accent") is not None:
        return 2
    return int(note.find("notations/articulations/accent") is not None)


def ties_of(note: Element) -> tuple[bool, bool]:
    """Whether a tie starts and stops here; <tied> is believed where a program leaves out <tie>."""
    kinds = {tie.get("type") for tie in note.iterfind("tie")} or {tied.get("type") for tied in note.iterfind("notations/tied")}
    return "start" in kinds or "continue" in kinds, "stop" in kinds or "continue" in kinds


def read_note(note: Element, at: Fraction, length: Fraction) -> RawNote:
    """The note at `at` quarters of its bar, lasting `length`."""
    head = note.find("notehead")
    starts, stops = ties_of(note)
    instrument = note.find("instrument")
    percent = number(note.get("dynamics"))
    tremolo = tremolo_of(note)
    return RawNote(
        at=at,
        length=length,
        place=place_of(note),
        instrument="" if instrument is None else instrument.get("id", ""),
        voice=text(note, "voice") or "1",
        staff=whole(text(note, "staff")) or 1,
        rest=note.find("rest") is not None,
        grace=note.find("grace") is not None,
        tie_start=starts,
        tie_stop=stops,
        beams=BEAMS.get(text(note, "type"), 0),
        nominal=nominal_length(note),
        tremolo=tremolo,
        buzz=says_buzz(note) or (tremolo is not None and tremolo.kind == "unmeasured"),
        head="" if head is None or text(head) == "normal" else text(head),
        ghost=head is not None and is_yes(head, "parentheses"),
        accent=accent_of(note),
        marks=marks_of(note),
        sticking=sticking_of(note),
        level=None if percent is None else percent / 100,
        only=numbers_in(note.get("time-only", "")),
    )


def is_hidden(note: Element) -> bool:
    return is_no(note, "print-object")

"""One <note> element as a RawNote: what is printed at it, not yet what it means."""

import re
from collections.abc import Mapping
from fractions import Fraction
from xml.etree.ElementTree import Element

from .raw import RawNote, Tremolo
from .tree import is_no, is_yes, number, numbers_in, text, whole

# Note types of MusicXML: quarters by name, and flags or beams drawn on them.
TYPES = (
    "maxima",
    "long",
    "breve",
    "whole",
    "half",
    "quarter",
    "eighth",
    "16th",
    "32nd",
    "64th",
    "128th",
    "256th",
    "512th",
    "1024th",
)
STEPS = "CDEFGAB"
QUARTERS = {name: Fraction(2) ** (5 - index) for index, name in enumerate(TYPES)}
BEAMS = {name: max(0, index - 5) for index, name in enumerate(TYPES)}
STICKING = re.compile(r"[RLrl](?:[\s/|.,-]?[RLrl]){0,15}")
BUZZ = re.compile(r"buzz|multiple.?bounce|^z$", re.IGNORECASE)
ARTICULATIONS = (
    "staccato",
    "staccatissimo",
    "spiccato",
    "tenuto",
    "detached-legato",
    "stress",
    "unstress",
    "soft-accent",
)
FINE_DIVISIONS = 16  # coarser ones are chosen to fit the notes, and are exact
HIDDEN = "a note that is not printed is left out"
NO_PAUSE = "the times after it are those without a pause"
UNREAD_AT_NOTES = (
    ("notations/articulations/caesura", "caesura", f"a caesura is not read; {NO_PAUSE}"),
    ("notations/glissando", "glissando", "a glissando is not read; only its notes are"),
    ("notations/arpeggiate", "arpeggiate", "an arpeggio is not read; its notes are taken together"),
)
READ_ORNAMENTS = ("tremolo", "trill-mark", "wavy-line", "accidental-mark")
MUTED = ("stopped", "damp", "damp-all", "muted", "snap-pizzicato")


def nominal_length(note: Element) -> Fraction:
    """Quarters by type and dots, before tuplets; 0 where the note has no type."""
    base = QUARTERS.get(text(note, "type"), Fraction(0))
    dots = len(note.findall("dot"))
    return base * (2 - Fraction(1, 2 ** min(dots, 8)))


def sounding_length(note: Element, duration: Fraction, divisions: Fraction) -> Fraction:
    """Quarters the note lasts, by its duration. Programs round what their divisions cannot hold (a triplet in 256): where
    a tuplet, or any type in fine divisions, needs a fraction of a division and the two differ by less than one, the type
    is believed.
    """
    by_divisions = duration / divisions
    nominal = nominal_length(note)
    if not nominal or duration == 0:
        return by_divisions
    actual, normal = (
        number(text(note, "time-modification/actual-notes")),
        number(text(note, "time-modification/normal-notes")),
    )
    tuplet = bool(actual and normal)
    by_type = nominal * normal / actual if actual and normal else nominal
    rounded = (tuplet or divisions >= FINE_DIVISIONS) and (by_type * divisions).denominator > 1
    return by_type if rounded and abs(by_type - by_divisions) * divisions < 1 else by_divisions


def place_of(note: Element, shift: int = 0) -> str:
    """Staff position as step and octave, as in a treble staff; the middle line where none is given."""
    for kind, prefix in (("unpitched", "display-"), ("pitch", "")):
        found = note.find(kind)
        if found is not None:
            step, octave = text(found, f"{prefix}step").upper(), whole(text(found, f"{prefix}octave"))
            if step in STEPS and step and octave is not None:
                return place_at(STEPS.index(step) + 7 * octave + shift)
    return "B4"


def place_at(height: int) -> str:
    return f"{STEPS[height % 7]}{height // 7}"


def staff_shift(clef: Element) -> int:
    """Diatonic steps from what a clef shows to the same line of a treble staff; a percussion staff is read as treble."""
    sign, line = text(clef, "sign"), whole(text(clef, "line"))
    at = {"G": ("G4", 2), "F": ("F3", 4), "C": ("C4", 3)}.get(sign)
    if at is None:
        return 0
    place, usual = at
    own = STEPS.index(place[0]) + 7 * int(place[1]) - 2 * ((line if line is not None else usual) - 1)
    bottom_line = STEPS.index("E") + 28  # E4
    return bottom_line - (own + 7 * (whole(text(clef, "clef-octave-change")) or 0))


def rest_length(length: Fraction, full: Fraction) -> Fraction:
    """A whole-bar rest: some programs write it as four quarters in every meter; it never outlasts its bar."""
    return min(length, full) if length > 0 else full


def tremolo_of(note: Element) -> Tremolo | None:
    found = note.find("notations/ornaments/tremolo")
    if found is None:
        return None
    kind = found.get("type", "single")
    slashes = whole(found.text) or 0
    if kind == "single" and slashes <= 0:
        kind = "unmeasured"
    return Tremolo(kind, max(0, min(slashes, 8)))


def says_buzz(note: Element) -> bool:
    """A z on the stem: as an unmeasured tremolo, or by one of the ways programs write a sign MusicXML has no name for."""
    for path in (
        "notations//other-ornament",
        "notations//other-technical",
        "notations//other-notation",
        "notations//other-articulation",
    ):
        for found in note.iterfind(path):
            if BUZZ.search(found.get("smufl", "")) or BUZZ.search((found.text or "").strip()):
                return True
    if note.find("notations/ornaments/trill-mark") is not None and note.find("notations/ornaments/tremolo") is None:
        return True  # the orchestra's way to write a roll
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
    if note.find("notations/fermata") is not None:
        found.add("fermata")
    return frozenset(found)


def accent_of(note: Element) -> int:
    if note.find("notations/articulations/strong-accent") is not None:
        return 2
    return int(note.find("notations/articulations/accent") is not None)


def ties_of(note: Element) -> tuple[bool, bool]:
    """Whether a tie starts and stops here; <tied> is believed where a program leaves out <tie>."""
    kinds = {tie.get("type") for tie in note.iterfind("tie")} or {
        tied.get("type") for tied in note.iterfind("notations/tied")
    }
    return "start" in kinds or "continue" in kinds, "stop" in kinds or "continue" in kinds


def unread_of(note: Element) -> list[tuple[str, str]]:
    """What stands at a note and is not read, as element and sentence."""
    out: list[tuple[str, str]] = []
    for ornament in note.iterfind("notations/ornaments/*"):
        if ornament.tag not in READ_ORNAMENTS and not says_buzz(note):
            out.append(
                (
                    str(ornament.tag)[:40],
                    f"the ornament <{str(ornament.tag)[:40]}> is not read; only the note itself is",
                )
            )
    for path, element, says in UNREAD_AT_NOTES:
        if note.find(path) is not None:
            out.append((element, says))
    return out


def beams_of(note: Element, length: Fraction) -> int:
    """Beams or flags of the note's type; where a program leaves the type out, those its length needs."""
    name = text(note, "type")
    if name or length <= 0:
        return BEAMS.get(name, 0)
    return next((beams for beams in range(len(TYPES)) if length >= Fraction(1, 2**beams)), 0)


def read_note(note: Element, at: Fraction, length: Fraction, shifts: Mapping[int, int], element: int) -> RawNote:
    """The note at `at` quarters of its bar, lasting `length`; shifts are the clefs' by staff, element its number."""
    head = note.find("notehead")
    starts, stops = ties_of(note)
    instrument = note.find("instrument")
    percent = number(note.get("dynamics"))
    tremolo = tremolo_of(note)
    return RawNote(
        at=at,
        length=length,
        place=place_of(note, shifts.get(whole(text(note, "staff")) or 1, 0)),
        instrument="" if instrument is None else instrument.get("id", ""),
        voice=text(note, "voice") or "1",
        staff=whole(text(note, "staff")) or 1,
        rest=note.find("rest") is not None,
        grace=note.find("grace") is not None,
        chord=note.find("chord") is not None,
        tie_start=starts,
        tie_stop=stops,
        beams=beams_of(note, length),
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
        stemless=text(note, "stem") == "none",
        element=element,
    )


def is_hidden(note: Element) -> bool:
    return is_no(note, "print-object")

"""How a roll is read: strokes by slashes plus beams, the open-roll habit, and the organizer's correction."""

from dataclasses import dataclass
from fractions import Fraction

from .raw import RawNote

# Faster than this no open roll is played: the fastest double-stroke rolls are near 20 strokes a second (common
# knowledge of the trade, no source); three slashes that ask for more are the habit of writing a roll, read as 32nds.
FASTEST_PER_S = 24
HABIT_SLASHES = 3
HABIT_UNIT = Fraction(1, 8)  # a 32nd note, in quarters
MAX_STROKES = 512  # a note; more is a mistake in the file


@dataclass(frozen=True, slots=True)
class Roll:
    """strokes on one note (0: a buzz), step quarters apart, and the sentence an organizer reads."""

    strokes: int
    step: Fraction
    says: str


def read_roll(note: RawNote, seconds: float, given: int | None = None) -> Roll:
    """The reading of one note with a tremolo or a z, lasting `seconds` at tempo; given = the organizer's strokes."""
    slashes = note.tremolo.slashes if note.tremolo is not None else 0
    if given is not None:
        given = max(0, min(given, MAX_STROKES))
        says = f"{strokes_words(given)}, set by the organizer" if given else "a buzz, set by the organizer"
        return Roll(given, note.length / max(given, 1), says)
    if note.buzz:
        return Roll(0, note.length, "a buzz: as many strokes as sound good, never counted")
    written = note.nominal or note.length
    unit = Fraction(1, 2 ** (note.beams + slashes))
    strokes = _strokes(written, unit)
    if slashes == HABIT_SLASHES and seconds > 0 and strokes / seconds > FASTEST_PER_S:
        habit = _strokes(written, HABIT_UNIT)
        if habit < strokes:
            says = (
                f"three slashes read as an open roll of 32nds, {habit} strokes; by the letter they would be {strokes}"
            )
            return Roll(habit, HABIT_UNIT * note.length / written, says)
    return Roll(
        strokes,
        unit * note.length / written,
        f"{slash_words(slashes)} and {beam_words(note.beams)}: {strokes_words(strokes)}",
    )


def slash_words(slashes: int) -> str:
    return "1 slash" if slashes == 1 else f"{slashes} slashes"


def beam_words(beams: int) -> str:
    return "no beam" if beams == 0 else "1 beam" if beams == 1 else f"{beams} beams"


def strokes_words(strokes: int) -> str:
    return "1 stroke" if strokes == 1 else f"{strokes} strokes"


def _strokes(written: Fraction, unit: Fraction) -> int:
    """How many begin within the note: a doubly dotted one may end in the middle of a unit."""
    return max(1, min(-int(-written // unit), MAX_STROKES))


def two_note_strokes(note: RawNote, span: Fraction) -> int:
    """Strokes of a two-note tremolo over both its notes: by slashes and beams of the time the two really take."""
    slashes = note.tremolo.slashes if note.tremolo is not None else 0
    strokes = round(span * Fraction(2) ** (note.beams + slashes))
    return max(2, min(strokes, MAX_STROKES))


def grace_strokes(note: RawNote) -> int:
    """Strokes of one grace: a slash of a tremolo on it makes it a drag, two make it four strokes."""
    return 2 ** min(note.tremolo.slashes, 2) if note.tremolo is not None and note.tremolo.kind == "single" else 1

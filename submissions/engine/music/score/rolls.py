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
    """strokes on one note (0: a buzz) and the sentence an organizer reads."""

    strokes: int
    says: str


def read_roll(note: RawNote, seconds: float, given: int | None = None) -> Roll:
    """The reading of one note with a tremolo or a z, lasting `seconds` at tempo; given = the organizer's strokes."""
    slashes = note.tremolo.slashes if note.tremolo is not None else 0
    if given is not None:
        given = max(0, min(given, MAX_STROKES))
        return Roll(given, f"{given} strokes, set by the organizer" if given else "a buzz, set by the organizer")
    if note.buzz:
        return Roll(0, "a buzz: as many strokes as sound good, never counted")
    written = note.nominal or note.length
    strokes = max(1, min(round(written * 2 ** (note.beams + slashes)), MAX_STROKES))
    if slashes == HABIT_SLASHES and seconds > 0 and strokes / seconds > FASTEST_PER_S:
        habit = max(1, round(written / HABIT_UNIT))
        if habit < strokes:
            says = (
                f"three slashes read as an open roll of 32nds, {habit} strokes; by the letter they would be {strokes}"
            )
            return Roll(habit, says)
    return Roll(strokes, f"{slashes} slashes and {note.beams} beams: {strokes} strokes")


def two_note_strokes(note: RawNote, span: Fraction) -> int:
    """Strokes of a two-note tremolo over both its notes: by slashes and beams of the time the two really take."""
    slashes = note.tremolo.slashes if note.tremolo is not None else 0
    strokes = round(span * Fraction(2) ** (note.beams + slashes))
    return max(2, min(strokes, MAX_STROKES))

"""The practice ladder: the tempi a player climbs from about 80 up to the performance tempo.

Conventions: clicked beats a minute as exact fractions (dotted quarters in 6/8), rising, performance tempo last.
"""

from collections.abc import Sequence
from fractions import Fraction

from ..errors import EngineError
from .click import tempo_at_zero
from .written import Part

LOWEST_BPM = 80  # project choice (design): slow enough to read, near enough to keep the feel
SLOW_SHARE = Fraction(4, 5)  # where 80 leaves no room to climb, begin at four fifths of the performance tempo
STEP_BPM = 8  # chosen: two notches of a metronome's old scale (80 84 88 ...); six rungs from 80 to 116
MOST_RUNGS = 8  # chosen: more is a list nobody reads
FEASIBLE_BPM = (20, 400)  # outside this nothing can be counted; a typing error, not a tempo


def performance_bpm(part: Part) -> Fraction:
    """The part's own tempo in clicked beats a minute."""
    return tempo_at_zero(part) / part.beats[0].length_q


def ladder(performance: Fraction, start: int | None = None, step: int | None = None) -> tuple[Fraction, ...]:
    """Tempi from about start (default 80, lower for slow music) in steps up to performance, which is always last.

    The last step may be shorter than the others. Without a given step, steps widen so that no more than eight rungs stand.
    """
    first = Fraction(start) if start is not None else _first_rung(performance)
    if first >= performance or first <= 0:
        return (performance,)
    room = performance - first
    if step is None:
        step = STEP_BPM
        while -(-room // step) + 1 > MOST_RUNGS:
            step += 2
    if step <= 0:
        raise EngineError("A ladder needs steps of at least one beat a minute.")
    rungs = [first + n * step for n in range(int(-(-room // step)))]
    return (*rungs, performance)


def _first_rung(performance: Fraction) -> Fraction:
    """Eighty, or the even number below four fifths of the performance tempo where that is slower."""
    lower = performance * SLOW_SHARE
    return min(Fraction(LOWEST_BPM), Fraction(int(lower) // 2 * 2))


def chosen(performance: Fraction, tempi: Sequence[Fraction | int]) -> tuple[Fraction, ...]:
    """The organizer's own ladder: sorted, without doubles, the performance tempo always among them.

    EngineError when a tempo cannot be counted.
    """
    low, high = FEASIBLE_BPM
    for bpm in tempi:
        if not low <= bpm <= high:
            raise EngineError(f"A click at {float(bpm):g} beats a minute cannot be played to; use {low} to {high}.")
    return tuple(sorted({Fraction(bpm) for bpm in tempi} | {performance}))


def bpm_name(bpm: Fraction) -> str:
    """A tempo for file names and pages: "116", "132.5"; at most two decimals."""
    return f"{float(bpm):.2f}".rstrip("0").rstrip(".")

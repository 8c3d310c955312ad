"""How demanding a part is, as figures with a word and a sentence: a suggestion that the organizer confirms.

The thresholds are chosen for this project (common practice, no source): single strokes a second that a first-year player,
a settled player and an experienced player can keep up for two seconds.
"""

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from .figures import Figure, figures_of
from .written import Part

LEVELS = ("first-year", "second-year", "experienced", "advanced")
WINDOW_S = 2.0  # strokes a second are counted over this time: long enough that one quick group does not decide
SINGLES_A_SECOND = (4.0, 6.5, 9.0)  # above each, one level up
GAP_MS = (160.0, 100.0, 70.0)  # smallest gap between two strokes of single hands; below each, one level up
# From this many a bar on, a part is one step harder: rolls, flams and drags together; moves round the drums.
FIGURES_A_BAR, MOVES_A_BAR = 1.5, 3.0
# Left to right as tenors usually stand, drum 1 the smallest; the small ones in the middle (common practice).
PLACE = {"tenor-4": 0.0, "tenor-2": 1.0, "tenor-5": 1.4, "tenor-6": 1.6, "tenor-1": 2.0, "tenor-3": 3.0}


@dataclass(frozen=True, slots=True)
class Demand:
    """What a part asks for. gaps and rates at performance tempo; level is one of LEVELS, rank its index."""

    level: str
    rank: int
    strokes_a_second: float  # most in any two seconds, rolls counted by their notes
    strokes_in_all: int
    smallest_gap_ms: float  # between two notes; 0.0 where there are fewer than two
    rolls: int
    flams: int
    drags: int
    moves: int  # from one drum to another
    crossings: int
    entries: int  # notes that come in off the beat after a silence: the hard part of a split
    says: str


def demand(part: Part) -> Demand:
    """The figures of a part and the level they suggest."""
    figures = figures_of(part)
    times = _seconds(part, figures)
    rate = _busiest(times)
    gap_ms = min((after - before for before, after in pairwise(times)), default=0.0) * 1000
    rolls = sum(figure.strokes > 1 or figure.buzz for figure in figures)
    flams = sum(figure.graces == 1 for figure in figures)
    drags = sum(figure.graces > 1 for figure in figures)
    moves = sum(a.drum != b.drum for a, b in pairwise(figures)) if part.instrument == "tenors" else 0
    crossed = len(crossings(part))
    entries = _entries(part, figures)
    bars = max(1, len(part.bars_from_zero()))
    by_hands = max(sum(rate > limit for limit in SINGLES_A_SECOND), sum(0 < gap_ms < limit for limit in GAP_MS) - 1)
    extra = (
        int(rolls + flams + drags >= FIGURES_A_BAR * bars)
        + int(moves >= MOVES_A_BAR * bars or crossed > 0)
        + int(entries >= bars)
    )
    level = LEVELS[min(len(LEVELS) - 1, by_hands + extra)]
    counts = (
        (rolls, "roll", "rolls"),
        (flams, "flam", "flams"),
        (drags, "drag", "drags"),
        (moves, "move from drum to drum", "moves from drum to drum"),
        (crossed, "crossing", "crossings"),
        (entries, "entry off the beat", "entries off the beat"),
    )
    says = _sentence(level, rate, gap_ms, counts)
    figured = (round(rate, 2), len(part.scored()), round(gap_ms, 1), rolls, flams, drags, moves, crossed, entries)
    return Demand(level, LEVELS.index(level), *figured, says)


def crossings(part: Part) -> tuple[int, ...]:
    """Indices into part.strokes where one hand plays on the far side of the other, by the sticking on the page.

    A stroke crosses when its hand plays a drum beyond the one the other hand played just before.
    """
    out: list[int] = []
    before: tuple[str, float] | None = None
    for index, stroke in enumerate(part.strokes):
        if not stroke.scored:
            continue
        place = PLACE.get(stroke.drum)
        if place is None or stroke.hand is None:
            before = None
            continue
        if before is not None and before[0] != stroke.hand:
            beyond = place < before[1] if stroke.hand == "R" else place > before[1]
            if beyond:
                out.append(index)
        before = (stroke.hand, place)
    return tuple(out)


def _seconds(part: Part, figures: list[Figure]) -> list[float]:
    at_s = {stroke.at_q: stroke.at_s for stroke in part.strokes if stroke.kind != "grace"}
    return [at_s[figure.at_q] for figure in figures]


def _busiest(times: list[float]) -> float:
    """Most notes that begin within any WINDOW_S, a second."""
    most = start = 0
    for end, at in enumerate(times):
        while times[start] < at - WINDOW_S + 1e-9:
            start += 1
        most = max(most, end - start + 1)
    return most / WINDOW_S


def _entries(part: Part, figures: list[Figure]) -> int:
    """Notes off the beat and off its half, with at least an eighth of silence since the note before began."""
    beats = {beat.at_q for beat in part.beats}
    halves = {beat.at_q + beat.length_q / 2 for beat in part.beats}
    return sum(b.at_q not in beats | halves and b.at_q - a.at_q >= Fraction(1, 2) for a, b in pairwise(figures))


def _sentence(level: str, rate: float, gap_ms: float, counts: tuple[tuple[int, str, str], ...]) -> str:
    """What the word rests on."""
    parts = [f"up to {rate:.1f} notes a second over two seconds"]
    if gap_ms:
        parts.append(f"the closest two {gap_ms:.0f} ms apart")
    parts += [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]
    return f"{level.capitalize()}: {', '.join(parts)}. A suggestion from the written notes at performance tempo."

"""The part as events in file time, and the player's own time followed through it.

Conventions: seconds of file time unless a name says otherwise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...facts import ZeroFacts
from ...music.written import Part
from ..votes.paths import behind_s
from .matching import pair

Array = NDArray[np.float64]

TOGETHER_S = 1e-4  # written strokes nearer than this are one event (a unison)
FIRST_SPREAD_S = 0.030  # before anything is known of the player: a beginner's
LEAST_SPREAD_S, MOST_SPREAD_S = 0.006, 0.045
OFFSET_REACH_S, OFFSET_STEP_S = 0.080, 0.002  # what players push or drag, and then some
OFFSET_WIDTH_S, OFFSET_PRIOR_S = 0.012, 0.045
CURVE_S = 2.5  # about a bar: how fast the player's tempo is followed
CURVE_PULL = 3.0  # strokes' worth of pull towards the whole take's middle
ROUNDS = 2
LEAST_PAIRS = 4  # fewer teach nothing
MAD_TO_SD = 1.4826  # of a normal distribution


@dataclass(frozen=True)
class Event:
    """Strokes written for one moment: one stroke, or a unison of several drums."""

    at_s: float  # from zero
    strokes: tuple[int, ...]  # indices into Part.strokes
    kind: str


def events_of(part: Part) -> tuple[Event, ...]:
    """Everything to be paired: strokes, diddles and the first stroke of each buzz, in order; graces come later."""
    out: list[Event] = []
    for at_s, n in sorted((s.at_s, n) for n, s in enumerate(part.strokes) if s.kind != "grace"):
        if out and at_s - out[-1].at_s < TOGETHER_S:
            out[-1] = Event(out[-1].at_s, (*out[-1].strokes, n), out[-1].kind)
        else:
            out.append(Event(at_s, (n,), part.strokes[n].kind))
    return tuple(out)


def due_s(at_s: float, part: Part, zero: ZeroFacts) -> float:
    """File time at which a stroke written at at_s is to be expected of this player: whole bars late, their tempo or path."""
    own_s = late_start_s(part, zero) + at_s / zero.tempo_ratio + behind_s(at_s, zero.path)
    return (zero.zero_s or 0.0) + zero.clock_ratio * own_s


def late_start_s(part: Part, zero: ZeroFacts) -> float:
    """Click time by which the playing begins whole bars late (or, negative, early)."""
    if not zero.late_bars:
        return 0.0  # asked for every stroke
    bars = part.bars_from_zero()
    late_s = sum(bar.length_s for bar in bars[: max(zero.late_bars, 0)])
    return late_s + min(zero.late_bars, 0) * bars[0].length_s


@dataclass(frozen=True)
class Followed:
    """The written events paired, and the player's own time and spread that were learned on the way."""

    of_event: NDArray[np.int64]  # candidate of each event, -1: missed
    curve_s: Array  # (events,) by how much the player is late at each
    spread_s: float


def follow(due: Array, heard_s: Array, evidence: Array) -> Followed:
    """Pair, learn the player's own time and spread from the pairs, and pair again."""
    start = Followed(np.zeros(0, np.int64), np.full(len(due), first_offset(due, heard_s, evidence)), FIRST_SPREAD_S)
    followed, paired = follow_on(due, heard_s, evidence, start), np.zeros(0, np.int64)
    for _ in range(ROUNDS):
        if np.array_equal(followed.of_event, paired):
            break  # the same pairs teach the same
        paired, followed = followed.of_event, follow_on(due, heard_s, evidence, followed)
    return followed


def follow_on(due: Array, heard_s: Array, evidence: Array, known: Followed) -> Followed:
    """Pair by what is known of the player, and learn it again from the pairs."""
    of_event = pair(due + known.curve_s, heard_s, evidence, known.spread_s).of_event
    hit = of_event >= 0
    if np.count_nonzero(hit) < LEAST_PAIRS:
        return Followed(of_event, known.curve_s, known.spread_s)
    late = heard_s[of_event[hit]] - due[hit]
    curve = smooth_late(due[hit], late, due)
    spread = 1.1 * MAD_TO_SD * float(np.median(np.abs(late - curve[hit])))
    return Followed(of_event, curve, float(np.clip(spread, LEAST_SPREAD_S, MOST_SPREAD_S)))


def first_offset(due: Array, heard_s: Array, evidence: Array) -> float:
    """The common offset, within what players push or drag, that the clearest candidates agree on, seconds."""
    strong = heard_s[evidence > 1.0]
    if not len(strong) or not len(due):
        return 0.0
    near = np.searchsorted(strong, due)
    gaps = np.concatenate([strong[np.clip(near + k, 0, len(strong) - 1)] - due for k in (-2, -1, 0, 1)])
    gaps = gaps[np.abs(gaps) < 1.25 * OFFSET_REACH_S]
    if len(gaps) < 4:
        return 0.0
    grid = np.arange(-OFFSET_REACH_S, OFFSET_REACH_S + OFFSET_STEP_S, OFFSET_STEP_S)
    votes = np.exp(-0.5 * ((gaps[:, None] - grid[None, :]) / OFFSET_WIDTH_S) ** 2).sum(axis=0)
    votes *= np.exp(-0.5 * (grid / OFFSET_PRIOR_S) ** 2)
    return float(grid[int(np.argmax(votes))])


def smooth_late(at_s: Array, late: Array, wanted_s: Array) -> Array:
    """A robust running mean of late over CURVE_S, drawn towards the whole take's median; shape of wanted_s."""
    middle = float(np.median(late))
    scale = MAD_TO_SD * float(np.median(np.abs(late - middle))) + 1e-3
    kept = np.clip(late, middle - 3 * scale, middle + 3 * scale)
    near = np.exp(-0.5 * ((wanted_s[:, None] - at_s[None, :]) / (CURVE_S / 2)) ** 2)
    curve: Array = (near @ kept + CURVE_PULL * middle) / (near.sum(axis=1) + CURVE_PULL)
    return curve

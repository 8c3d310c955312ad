"""Could chance have made this fit? The same frames against rhythms that were not played at them.

Three families of rhythms: the take's own strokes moved on by up to MOVED_S (round the end of the playing to its beginning),
the strokes with their distances in another order, and steady beats at the tempo of the strokes. What merely moves slowly,
or at the beat, as a conductor, a pendulum or a lamp does, fits many of them as well as the strokes themselves.

Conventions: seconds of one clock; courses as in strikes.py. "Rise" is a log likelihood over the usual one of its family.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .shapes import SHAPES, Shape
from .strikes import REACH_S, STEP_S, likelihoods

Floats = NDArray[np.float64]
Shapes = tuple[Shape, ...]

MOVED_S = 3.2  # a bar and more at every tempo that is played
COARSE_S = 2 * STEP_S
FEW_SHAPES = SHAPES[::4]  # every fourth spans the same movements at a quarter of the work
ORDERS = 8  # other orders of the distances
PULSE_S = (0.075, 0.30)  # the smallest unit of a rhythm: sixteenths at 200 beats a minute to triplets at 66
BEATS = (1, 2, 3, 4, 6, 8)  # units between two movements of somebody who beats time
NEAR_S, BESIDE_S = 0.05, 0.08  # the answer's own place, and where other places begin
NOWHERE: Floats = np.zeros(0)
AGAIN_S, AGAIN_SHARE = 0.03, 0.7  # strokes this close, in such a share: the music repeats, and a fit there is no rival


@dataclass(frozen=True, slots=True)
class Chance:
    """How well other rhythms fit, as shares of the rise of the true one: 1 = as well."""

    moved: float
    reordered: float
    steady: float
    elsewhere: float  # of those moved, the ones that lie further off than distances are looked for


def chance(
    courses: Floats,
    at_s: Floats,
    all_s: Floats,
    near_s: Floats,
    late_s: float,
    own: tuple[Shape, ...] = (),
    impossible_s: Floats = NOWHERE,
) -> Chance:
    """For the answer late_s: all_s are all strokes of the take, near_s those that the frames can show.

    own: shapes of this take's hands, which any rhythm may try; impossible_s: distances that are no rivals (blows.py).
    """
    shapes = (*FEW_SHAPES, *own)
    moved, elsewhere = _moved(courses, at_s, all_s, near_s, late_s, shapes, impossible_s)
    # The answer itself is one of the places, or coarse steps would cost it what its rivals keep.
    places = _places(REACH_S) + late_s % COARSE_S
    reordered = _reordered(courses, at_s, near_s, places, shapes)
    return Chance(moved, reordered, _steady(courses, at_s, near_s, places, shapes), elsewhere)


def _moved(
    courses: Floats,
    at_s: Floats,
    all_s: Floats,
    near_s: Floats,
    late_s: float,
    shapes: Shapes,
    impossible_s: Floats,
) -> tuple[float, float]:
    """The best rise of the take's own strokes at other times, as a share of the true rise; and of those beyond REACH_S."""
    span = float(all_s[-1] - all_s[0] + np.median(np.diff(all_s)))
    round_s = np.concatenate([all_s - span, all_s, all_s + span])
    places = late_s + _places(MOVED_S)
    best = likelihoods(courses, at_s, round_s, places, shapes).max(axis=0)
    usual = float(np.median(best))
    best = best - usual
    apart = np.abs(places - late_s)
    rival = (apart > BESIDE_S) & (_again(near_s, round_s, places - late_s) < AGAIN_SHARE)
    rival &= ~(np.abs(places[:, None] - impossible_s[None, :]) < STEP_S / 2).any(axis=1)
    # What was played ends where it ends: strokes that come round into the rest after it would speak against the answer.
    played = likelihoods(courses, at_s, all_s, places[apart < NEAR_S], shapes)
    own = max(float(best[apart < NEAR_S].max()), float(played.max()) - usual)
    if own <= 0.0:
        return np.inf, np.inf
    further = rival & (np.abs(places) > REACH_S)
    moved, elsewhere = (float(best[which].max()) / own if which.any() else np.inf for which in (rival, further))
    return moved, elsewhere


def _places(reach_s: float) -> Floats:
    count = round(reach_s / COARSE_S)
    return np.asarray(np.arange(-count, count + 1) * COARSE_S, dtype=np.float64)


def _again(near_s: Floats, round_s: Floats, moves: Floats) -> Floats:
    """The share of strokes that meet a stroke again when the music is moved, for each move."""
    wanted = near_s[None, :] + moves[:, None]
    place = np.searchsorted(round_s, wanted)
    below = np.abs(round_s[np.clip(place - 1, 0, None)] - wanted)
    above = np.abs(round_s[np.clip(place, None, len(round_s) - 1)] - wanted)
    return np.asarray((np.minimum(below, above) < AGAIN_S).mean(axis=1))


def _reordered(courses: Floats, at_s: Floats, near_s: Floats, places: Floats, shapes: Shapes) -> float:
    """The best rise of strokes whose distances come in another order, as a share of the true rise."""
    rng = np.random.default_rng(len(near_s))  # the same take always gets the same orders
    own = _rise(courses, at_s, near_s, places, shapes)
    others = [_rise(courses, at_s, _another_order(near_s, at_s, rng), places, shapes) for _ in range(ORDERS)]
    return max(others) / own if own > 0.0 else np.inf


def _rise(courses: Floats, at_s: Floats, heard_s: Floats, places: Floats, shapes: Shapes) -> float:
    best = likelihoods(courses, at_s, heard_s, places, shapes).max(axis=0)
    return float(best.max() - np.median(best))


def _another_order(near_s: Floats, at_s: Floats, rng: np.random.Generator) -> Floats:
    """Within each window the first stroke stays and the distances after it are shuffled."""
    breaks = np.flatnonzero(np.diff(at_s) > 2 * REACH_S)
    edges = np.concatenate([[-np.inf], 0.5 * (at_s[breaks] + at_s[breaks + 1]), [np.inf]])
    pieces = [near_s[(near_s >= a) & (near_s < b)] for a, b in itertools.pairwise(edges)]
    return np.concatenate([np.cumsum(np.append(p[:1], rng.permutation(np.diff(p)))) for p in pieces])


def _steady(courses: Floats, at_s: Floats, near_s: Floats, places: Floats, shapes: Shapes) -> float:
    """The best fit of a steady beat at any phase, in shares of the true rise over the true rhythm's usual fit."""
    own = likelihoods(courses, at_s, near_s, places, shapes).max(axis=0)
    usual, top = float(np.median(own)), float(own.max())
    unit_s = _unit(near_s)
    best = 0.0
    for beats in BEATS:
        step = beats * unit_s
        grid = np.arange(float(at_s.min()) - 2 * step, float(at_s.max()) + 2 * step, step)
        phases = np.arange(0.0, step, COARSE_S)
        best = max(best, float(likelihoods(courses, at_s, grid, phases, shapes).max()))
    return (best - usual) / (top - usual) if top > usual else np.inf


def _unit(near_s: Floats) -> float:
    """The period on which the strokes gather most, by the length of their mean on a circle (Rayleigh's statistic)."""
    span = float(np.ptp(near_s))
    # Fine enough that the last stroke moves by a fifth of the shortest period from one trial to the next.
    rates = np.arange(1 / PULSE_S[1], 1 / PULSE_S[0], 0.2 / max(span, 1.0))
    pieces = np.array_split(rates, 1 + len(rates) // 4096)  # a take of twenty minutes has 60,000 of them
    gathered = [np.abs(np.exp(2j * np.pi * piece[:, None] * near_s).mean(axis=1)) for piece in pieces]
    return float(1.0 / rates[int(np.concatenate(gathered).argmax())])

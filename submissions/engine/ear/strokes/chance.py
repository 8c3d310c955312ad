"""How much more of a page is found than chance alone would find: what a tempo of the strokes' own choosing must show.

Conventions: seconds of file time.

With a tempo and a place to choose, a dense page lies somehow on anything dense: wide windows pair nine strokes in ten.
Counted are strokes and written places that are each other's nearest; what the same page finds where it surely does not
lie, moved by chance, is what it finds by chance. The share of the rest that is found is Cohen's kappa (1960), nought for
chance and one for the whole page.
"""

import numpy as np
from numpy.typing import NDArray

from ..votes.page import pair_up
from .matching import MOST_REACH_S

Array = NDArray[np.float64]

TRIALS = 40  # the mean of so many is known to 0.02 of a page of forty strokes
LEAST_MOVE_S, MOST_MOVE_S = 0.25, 3.0  # past every player's push; not so far that the page leaves the recording
# A tempo that the strokes chose must find more of the page than chance would. Landis & Koch 1977 (Biometrics 33): a kappa
# under 0.4 is no more than fair; made takes of other parts stay under 0.35, of the part itself at another tempo over 0.45.
LEAST_BEYOND_CHANCE = 0.40
LEAST_STROKES = 8  # of a page: the sd of a share of fewer is more than one in six


def beyond_chance(heard_s: Array, due_s: Array) -> float | None:
    """The share of the strokes due that were heard, over what chance finds; None where too little is due or heard."""
    if len(due_s) < LEAST_STROKES or len(heard_s) < LEAST_STROKES:
        return None
    rng = np.random.default_rng(len(due_s))  # the same take is told the same
    moves = rng.uniform(LEAST_MOVE_S, MOST_MOVE_S, TRIALS) * rng.choice((-1.0, 1.0), TRIALS)
    by_chance = [share for share in (_found(heard_s, due_s + move) for move in moves.tolist()) if share is not None]
    found = _found(heard_s, due_s)
    if found is None or not by_chance or np.mean(by_chance) >= 1:
        return None
    return float((found - np.mean(by_chance)) / (1 - np.mean(by_chance)))


def _found(heard_s: Array, due_s: Array) -> float | None:
    """Share of the strokes due within the playing that have a heard one as their nearest, and are its nearest."""
    inside = np.count_nonzero((due_s > heard_s[0] - MOST_REACH_S) & (due_s < heard_s[-1] + MOST_REACH_S))
    return len(pair_up(heard_s, due_s, MOST_REACH_S)[0]) / inside if inside else None

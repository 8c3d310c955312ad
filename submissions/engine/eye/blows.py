"""At which distances is the picture too slow just before the strokes for them to be blows?

A hand strikes because it moves: whatever the manner of playing, it is at its fastest just before the blow, and slow where it
turns above the drum. The fit of heights (strikes.py) cannot always tell these two moments apart, for both are turning
points, and an eighth of a second after one comes the other. This looks at nothing but the pace of the picture in
the last moments before the strokes, and knows no shape of movement. It never gives an answer by itself; it speaks against
rivals of an answer before whose strokes the picture is clearly fast: enough by itself where they are clearly slow, and
beside what the fit has against them where they are somewhat slower. Hands that move as fast everywhere show no such
thing, and nothing is said then. Nor is it of places so near the answer that either may be the true one.

Conventions: as in strikes.py.
"""

import numpy as np
from numpy.typing import NDArray

from .shapes import Shape
from .strikes import Floats, likelihoods_by_region

BEFORE_S = (0.010, 0.025, 0.040)  # the fastest falls last 40 ms; frames are 17 to 42 ms apart
# In 260 made films and clips with ten ways of moving the true distance was never too slow beside any other that fitted at
# all; hands at their highest had 0.5 to 0.7 of the pace before the blow (seeds in docs/eye-confusion.md).
FAST, SLOW = 1.3, 0.7  # of the usual pace, for the answer; of the answer's, for a rival that it is enough against
BESIDE_S = 0.05 + 1e-9  # an answer may be the middle of places that stretch over so much (motion.py)


def slowness(
    courses: Floats,
    first: NDArray[np.bool_],
    at_s: Floats,
    heard_s: Floats,
    places: Floats,
    top: int,
    shapes: tuple[Shape, ...],
) -> Floats:
    """How far the pace speaks against each place beside places[top], at least 0; from 1 on it is enough by itself."""
    fits = likelihoods_by_region(courses, at_s, heard_s, places[top : top + 1], shapes, by_halves=False)[:, 0]
    playing = fits[int(fits.sum(axis=1).argmax())]
    if float(playing.sum()) <= 0.0:
        return np.zeros(len(places))
    before = _pace_before(_pace(courses, at_s, playing), first, at_s, heard_s, places)
    if before[top] <= FAST * float(np.median(before)):
        return np.zeros(len(places))
    against = np.maximum(0.0, 1.0 - before / before[top]) / (1.0 - SLOW)
    return np.asarray(np.where(np.abs(places - places[top]) > BESIDE_S, against, 0.0))


def _pace(courses: Floats, at_s: Floats, playing: Floats) -> Floats:
    """How fast the picture changes from each frame to the next, regions that follow the hands counting most."""
    change = np.abs(np.diff(courses, axis=0))
    return np.asarray((change / change.mean(axis=0).clip(1e-12)) @ playing / playing.sum() / np.diff(at_s).clip(1e-6))


def _pace_before(pace: Floats, first: NDArray[np.bool_], at_s: Floats, heard_s: Floats, places: Floats) -> Floats:
    """The mean pace just before the strokes at each place; moments between windows are left out.

    Infinite, so never too slow, where the frames show fewer than half as many strokes as at other places.
    """
    total, count = np.zeros(len(places)), np.zeros(len(places))
    for before_s in BEFORE_S:
        moments = heard_s[None, :] - places[:, None] - before_s
        after = np.searchsorted(at_s, moments)
        inside = (after > 0) & (after < len(at_s))
        after = np.clip(after, 1, len(at_s) - 1)
        inside &= ~first[after]
        total += (pace[after - 1] * inside).sum(axis=1)
        count += inside.sum(axis=1)
    return np.where(count > 0.5 * count.max(), total / np.maximum(count, 1.0), np.inf)

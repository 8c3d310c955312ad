"""Is the sound surely far from the picture, though by how much cannot be told?

Two distances may fit alike, as the rise and the fall of a hand do. When all that are left lie beyond what anybody should
see, and on one side, the person can be told that something is wrong without being told a figure.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .strikes import Floats

# Chosen wider than for an answer: whatever all frames or either half of them hold for nearly as likely is counted in.
LEFT, LEFT_IN_HALF = 0.35, 0.25
# EBU R37, end of the chain (sound_picture_apart.py), and a picture more at 30 a second.
EARLY_S, LATE_S = -0.040 - 1 / 30, 0.060 + 1 / 30


def surely_beyond(places: Floats, best: Floats, halves: Sequence[Floats]) -> float | None:
    """The distance nearest to zero of all that may be true, seconds, when all of them are too far and on one side."""
    left = places[_within(best, LEFT)]
    left = np.concatenate([left, *(places[_within(half, LEFT_IN_HALF)] for half in halves)])
    if float(left.min()) > LATE_S:
        return float(left.min())
    return float(left.max()) if float(left.max()) < EARLY_S else None


def _within(fits: Floats, share: float) -> NDArray[np.bool_]:
    """Which places fall short of the best by at most a share of its rise."""
    rise = float(fits.max() - np.median(fits))
    return np.asarray(fits >= float(fits.max()) - share * rise)

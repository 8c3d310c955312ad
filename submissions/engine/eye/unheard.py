"""Strokes that the picture shows and the ear did not hear, for the sake of the strokes after them.

Hands take turns: one stroke that is missing from the list swaps them from there on, and then half of the strokes are looked
for in the wrong hand. What fits best after that is often a wrong distance, some 20 to 40 ms off, or none. So wherever a
stroke could have been between two that were heard, it is tried, at every distance that fits well, right or wrong; it is
kept if the fit then gains so much that the movement itself shows it. Strokes found here are used to compare distances and for
nothing else: what was played is for the ear to say.

Conventions: as in strikes.py.
"""

import numpy as np

from .own import peaks
from .shapes import SHAPES
from .strikes import Floats, likelihoods

# A stroke of two dozen adds a twenty-fifth to the fit when it is one more of the same; hands set right add more than that.
GAIN = 0.08  # of the best distance's rise
ONE_IN = 8  # strokes heard for each that may be put in: more would be making the rhythm, not mending it
WITHIN = (1 / 3, 2 / 3)  # of a gap, beside its middle: where a third stroke of a triplet or of a long gap lies
CLOSEST_S = 0.06  # sixteenths at 250 beats a minute


def with_unheard(
    fits: Floats, courses: Floats, at_s: Floats, heard_s: Floats, places: Floats
) -> tuple[Floats, Floats]:
    """The strokes with those put in that were not heard, and their fits; fits: of SHAPES, shape (shapes, places)."""
    for _ in range(len(heard_s) // ONE_IN):
        best = fits.max(axis=0)
        rise = float(best.max() - np.median(best))
        tried = [_one_more(fits, peak, courses, at_s, heard_s, places) for peak in peaks(best)]
        value, strokes = max(tried, key=lambda found: found[0], default=(-np.inf, heard_s))
        if value < float(best.max()) + GAIN * rise:
            break
        heard_s, fits = strokes, likelihoods(courses, at_s, strokes, places)
    return heard_s, fits


def _one_more(
    fits: Floats, peak: int, courses: Floats, at_s: Floats, heard_s: Floats, places: Floats
) -> tuple[float, Floats]:
    """The best fit at one distance with one stroke more, and the strokes."""
    shape = SHAPES[int(fits[:, peak].argmax())]

    def tried(before: int, share: float) -> tuple[float, Floats]:
        stroke = heard_s[before] + share * (heard_s[before + 1] - heard_s[before])
        strokes = np.insert(heard_s, before + 1, stroke)
        return float(likelihoods(courses, at_s, strokes, places[peak : peak + 1], (shape,)).max()), strokes

    gaps = np.diff(heard_s)
    middles = [(tried(int(n), 0.5), int(n)) for n in np.flatnonzero(gaps >= 2 * CLOSEST_S)]
    if not middles:
        return -np.inf, heard_s
    best, gap = max(middles, key=lambda found: found[0][0])
    others = [tried(gap, share) for share in WITHIN if gaps[gap] >= 3 * CLOSEST_S]
    return max([best, *others], key=lambda found: found[0])

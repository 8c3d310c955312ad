"""The shapes in which this take's hands move: those tried on every take, bent until they fit the picture best.

Without them the moment of the stroke is mistaken for the moment at which the hand is highest: a hand that waits low and is
raised shows nearly what one shows that waits high and falls, upside down and an eighth of a second later. Which of the two it is, the
finer course of the movement tells. So every distance that fits well, right or wrong, is given the best shape of either
kind that can be found for it, and they are compared after that.
"""

import numpy as np
from numpy.typing import NDArray

from .shapes import SHAPES, Raise, Rebound, Shape
from .strikes import Floats, likelihoods

PEAKS, PEAK_SHARE = 4, 0.5  # distances that get shapes of their own: the best, and those of half of its rise
BESIDE = 4  # steps of distance from one of them to the next
ROUNDS, GAIN = 8, 1e-3  # of bending, each by the one change that helps most; less than GAIN more is no help


def own_shapes(fits: Floats, courses: Floats, at_s: Floats, heard_s: Floats, places: Floats) -> tuple[Shape, ...]:
    """Two shapes, one of either kind, for each distance that fits well; fits: of SHAPES, shape (shapes, places)."""
    out: list[Shape] = []
    for peak in peaks(fits.max(axis=0)):
        for kind in (Raise, Rebound):
            rows = [number for number, shape in enumerate(SHAPES) if isinstance(shape, kind)]
            around = slice(max(0, peak - 2), peak + 3)
            row, column = np.unravel_index(int(fits[rows, around].argmax()), fits[rows, around].shape)
            best = int(column) + max(0, peak - 2)
            near = places[max(0, best - 1) : best + 2]
            out.append(_bent(SHAPES[rows[int(row)]], courses, at_s, heard_s, near))
    return tuple(out)


def peaks(best: NDArray[np.float64]) -> list[int]:
    """The best distance and others that fit half as well, best first, each some way from the one before."""
    usual = float(np.median(best))
    found: list[int] = []
    for number in np.argsort(-best):
        if best[number] - usual <= PEAK_SHARE * (float(best.max()) - usual) or len(found) == PEAKS:
            break
        if all(abs(int(number) - other) > BESIDE for other in found):
            found.append(int(number))
    return found


def _bent(shape: Shape, courses: Floats, at_s: Floats, heard_s: Floats, near: Floats) -> Shape:
    """The shape changed step by step while it fits better at one of the distances near."""
    value = float(likelihoods(courses, at_s, heard_s, near, (shape,)).max())
    for _ in range(ROUNDS):
        others = tuple(other for other in shape.beside() if other.possible())
        if not others:
            break
        values = likelihoods(courses, at_s, heard_s, near, others).max(axis=1)
        if float(values.max()) <= value * (1 + GAIN):
            break
        shape, value = others[int(values.argmax())], float(values.max())
    return shape

"""The grace before a main stroke: where the quiet tap of a flam began.

Conventions: seconds of file time; frames are those of novelty.py.

A grace is soft and its stroke is loud and near, so it seldom stands on its own. But the page says that it is there
and the stroke says about where: between them the clearest rise is taken, weighed by how graces usually lie.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import novelty as novelties
from . import onsets
from .tails import Tails

Array = NDArray[np.float64]

LEAST_GAP_S, MOST_GAP_S = 0.0085, 0.070  # graces lie 10 to 60 ms before their stroke (common practice, no source)
USUAL_GAP_S, GAP_SPREAD_S = 0.030, 0.014  # where most of them lie, for weighing only
LEAST_RISE_DB = 1.0  # tuned on seeds under 10 000: under it more flickers than graces are found
RISE_WEIGHT, RISE_KNEE_DB = 1.45, 5.0  # as in evidence.py
CLEAR_OF_S = 0.009  # from any other stroke's foot
BEFORE_MAIN_S = 0.0012  # the stroke's own attack is kept out of the search for the foot


@dataclass(frozen=True)
class Sounding:
    """What the search needs of the take."""

    mono: Array  # sound without its click, shape (n,)
    rate: int
    novelty: novelties.Novelty
    tails: Tails


def find_grace(sounding: Sounding, main_s: float, taken_s: Array) -> float | None:
    """When the grace of the stroke at main_s began, or None; taken_s are other strokes' feet, sorted."""
    first = max(int(np.ceil((main_s - MOST_GAP_S) / novelties.HOP_S)), novelties.LAG_FRAMES)
    last = int(np.floor((main_s - LEAST_GAP_S + 0.0025) / novelties.HOP_S))
    last = min(last, int(np.floor((main_s - novelties.WINDOW_S / 2) / novelties.HOP_S)))
    frames = np.arange(first, min(last + 1, len(sounding.novelty.rise_db)))
    low, high = np.searchsorted(taken_s, (main_s - MOST_GAP_S - CLEAR_OF_S, main_s - 1e-6))
    others = taken_s[low:high]
    if len(others) and len(frames):
        frames = frames[np.abs(frames[:, None] * novelties.HOP_S - others[None, :]).min(axis=1) >= CLEAR_OF_S]
    if not len(frames):
        return None
    at = frames * novelties.HOP_S
    rise = sounding.tails.rise_over(frames)
    usual = -0.5 * ((main_s - at - USUAL_GAP_S) / GAP_SPREAD_S) ** 2
    score = RISE_WEIGHT * np.minimum(rise, RISE_KNEE_DB) + np.maximum(usual, -2.5)
    score[rise < LEAST_RISE_DB] = -np.inf
    best = int(np.argmax(score))
    if not np.isfinite(score[best]):
        return None
    return _foot(sounding, float(at[best]), main_s)


def _foot(sounding: Sounding, near_s: float, main_s: float) -> float | None:
    after = min(onsets.FOOT_AFTER_S, main_s - BEFORE_MAIN_S - near_s)
    if after < -0.5 * onsets.FOOT_BEFORE_S:
        return None
    feet, _ = onsets.find_feet(sounding.mono, sounding.rate, np.array([near_s]), after_s=after)
    return float(feet[0])

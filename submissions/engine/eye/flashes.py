"""Lights that go on or off, against sounds, to a part of a frame.

A light changes many places at once and all in one direction; a hand darkens here what it brightens there.

A change seen first in frame i happened after frame i-1 was taken and not after frame i. A sound at h then allows the
distances h - t(i) to h - t(i-1); the distance that most changes allow is the answer, and how narrow it is, its doubt.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRID_S = 0.0005
LEAP = 0.2  # of log brightness from one frame to the next: a fifth brighter
AREA, OTHER_WAY = 0.04, 0.1  # chosen: share of the picture that leaps, and how much of that may go the other way
CLEAN = 4.0  # times more of the picture than one frame before and after
EXPLAINED = 0.8  # share of the changes that must agree
FEWEST = 3
EARLY_PART = 0.48  # of the allowed stretch: see `_answer`


@dataclass(frozen=True, slots=True)
class Agreement:
    late_s: float
    sd_s: float
    votes: int


def agreement(
    logs: Floats, first: NDArray[np.bool_], at_s: Floats, heard_s: Floats, near_s: float, reach_s: float, share: float
) -> Agreement | None:
    """The distance within reach_s of near_s on which lights and sounds agree, or None.

    logs: log brightness of blocks, shape (frames, blocks); first marks frames that do not follow the one before;
    share: the part of the sounds that must have their light.
    """
    change = np.diff(logs, axis=0)
    change[first[1:]] = 0.0
    up, down = (change > LEAP).mean(axis=1), (change < -LEAP).mean(axis=1)
    # Only brightening counts: with quick strokes a light's going out comes as regularly, a fixed time after the event.
    answer = _answer(at_s, _steps(up, down), heard_s, near_s, reach_s)
    return answer if answer is not None and answer.votes >= share * len(heard_s) else None


def _steps(one: Floats, other: Floats) -> NDArray[np.intp]:
    """Numbers of the frames that show a leap first."""
    if len(one) < 3:
        return np.zeros(0, np.intp)
    padded = np.concatenate([[0.0], one, [0.0]])
    beside = np.maximum(padded[:-2], padded[2:])
    return np.flatnonzero((one > AREA) & (other < OTHER_WAY * one) & (one > CLEAN * beside)) + 1


def _answer(at_s: Floats, steps: NDArray[np.intp], heard_s: Floats, near_s: float, reach_s: float) -> Agreement | None:
    """The distance that most changes allow, by one vote a change, or None when they do not agree or not on one place."""
    if len(steps) == 0 or len(heard_s) == 0:
        return None
    before_s, after_s = at_s[steps - 1], at_s[steps]
    grid = near_s + np.arange(round(-reach_s / GRID_S), round(reach_s / GRID_S) + 1) * GRID_S
    votes = np.zeros(len(grid), int)
    for early, late in zip(before_s, after_s, strict=True):
        low, high = heard_s - late - GRID_S, heard_s - early + GRID_S
        votes += ((grid[:, None] >= low) & (grid[:, None] <= high)).any(axis=1)
    top = int(votes.max())
    alone = len(steps) == 1 and len(heard_s) == 1 and top == 1
    if not alone and (top < FEWEST or top < EXPLAINED * len(steps)):
        return None
    allowed = np.flatnonzero(votes == top)
    if np.ptp(allowed) * GRID_S > float((after_s - before_s).max()) + 4 * GRID_S:
        return None  # even strokes: several distances do equally well
    low_s, high_s = float(grid[allowed[0]]) + GRID_S, float(grid[allowed[-1]]) - GRID_S
    width = max(high_s - low_s, GRID_S)
    if width > 1.5 * float(np.median(np.diff(np.sort(at_s)))):
        return None  # a gap between frames hides when it happened
    # The middle is never wrong by more than half a frame; a hair earlier favours changes that fall exactly on a frame.
    return Agreement(low_s + EARLY_PART * width, width / np.sqrt(12.0), top)

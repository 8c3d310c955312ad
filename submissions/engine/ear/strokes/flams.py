"""The grace before a main stroke: where the quiet tap of a flam began.

Conventions: seconds of file time; frames are those of novelty.py.

A grace is soft and its stroke is loud and near, so it seldom stands on its own. But the page says that it is there
and the stroke says about where: between them the clearest rise is taken, weighed by how graces usually lie.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from ...music.written import Part
from ..struck import novelty as novelties
from ..struck import onsets
from ..struck.tails import Tails

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

    mono: NDArray[np.floating]  # sound without its click, shape (n,)
    rate: int
    novelty: novelties.Novelty
    tails: Tails


def graces_of(part: Part, mains_s: dict[int, float], sounding: Sounding, taken_s: Array) -> dict[int, float]:
    """Index into Part.strokes -> time of each written grace that was heard.

    mains_s has the time of every other stroke that was heard by its index; taken_s, sorted, is all of these times.
    """
    rows: list[list[tuple[int, float]]] = []  # index of a grace and time of its stroke, by how many lie between
    main_s, between = None, 0
    for n in range(len(part.strokes) - 1, -1, -1):
        if part.strokes[n].kind != "grace":
            main_s, between = mains_s.get(n), 0
        elif main_s is not None:
            rows += [[]] if between == len(rows) else []
            rows[between].append((n, main_s))
            between += 1
    out: dict[int, float] = {}
    first_s: dict[Fraction, float] = {}  # the first of the graces found so far, by the place of their stroke
    for row in rows:
        before_s = np.array([first_s.get(part.strokes[n].at_q, at) for n, at in row])
        for (n, _), at in zip(row, find_graces(sounding, before_s, taken_s).tolist(), strict=True):
            if np.isfinite(at):
                out[n], at_q = at, part.strokes[n].at_q
                first_s[at_q] = min(at, first_s.get(at_q, at))
    return out


def find_graces(sounding: Sounding, mains_s: Array, taken_s: Array) -> Array:
    """When the grace of each stroke at mains_s began, nan where none is heard, shape (n,); taken_s: other feet, sorted."""
    near = np.array([_likeliest(sounding, main_s, taken_s) for main_s in mains_s.tolist()])
    # The stroke's own attack is kept out of the search for the foot; most graces lie so far before it that nothing is cut.
    after = np.minimum(onsets.FOOT_AFTER_S, mains_s - BEFORE_MAIN_S - near)
    out = np.full(len(mains_s), np.nan)
    for after_s in np.unique(after[after >= -0.5 * onsets.FOOT_BEFORE_S]).tolist():
        same = after == after_s
        out[same], _ = onsets.find_feet(sounding.mono, sounding.rate, near[same], after_s=after_s)
    return out


def _likeliest(sounding: Sounding, main_s: float, taken_s: Array) -> float:
    """Near which time the grace of the stroke at main_s lies, nan: nowhere."""
    first = max(int(np.ceil((main_s - MOST_GAP_S) / novelties.HOP_S)), novelties.LAG_FRAMES)
    last = int(np.floor((main_s - LEAST_GAP_S + 0.0025) / novelties.HOP_S))
    last = min(last, int(np.floor((main_s - novelties.WINDOW_S / 2) / novelties.HOP_S)))
    frames = np.arange(first, min(last + 1, len(sounding.novelty.rise_db)))
    low, high = np.searchsorted(taken_s, (main_s - MOST_GAP_S - CLEAR_OF_S, main_s - 1e-6))
    others = taken_s[low:high]
    if len(others) and len(frames):
        frames = frames[np.abs(frames[:, None] * novelties.HOP_S - others[None, :]).min(axis=1) >= CLEAR_OF_S]
    if not len(frames):
        return float("nan")
    at = frames * novelties.HOP_S
    rise = sounding.tails.rise_over(frames)
    usual = -0.5 * ((main_s - at - USUAL_GAP_S) / GAP_SPREAD_S) ** 2
    score = RISE_WEIGHT * np.minimum(rise, RISE_KNEE_DB) + np.maximum(usual, -2.5)
    score[rise < LEAST_RISE_DB] = -np.inf
    best = int(np.argmax(score))
    return float(at[best]) if np.isfinite(score[best]) else float("nan")

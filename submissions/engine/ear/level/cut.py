"""Which strokes are cut off at the top: an overload, told from a limiter by the shape of the swings that reach the ceiling.

Conventions: samples have full scale 1.0; pieces are absolute samples of one stroke each.

A limiter takes all strokes to one height as an overload does, but turns whole swings down: their tops stay round. A cut
swing stays at the ceiling, sample for sample before a lossy coder, nearly so after one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...facts import Samples

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Pieces = Sequence[NDArray[np.floating]]

STROKE_BEFORE_S, STROKE_AFTER_S = 0.001, 0.030
CEILING = 0.975  # -0.2 dB: phones stop at full scale, and lossy coding moves the flat tops a little
# A wave that was cut stays at its top: of the time spent over 0.7 of it a sine spends 0.4 over 0.95, two drums in a
# hundred 0.5, and what was driven 15 dB into a limiter 0.6 and more, unless a coder has ruffled it since.
NEAR_TOP, OVER_TOP, FLAT_SHARE = 0.95, 0.7, 0.55
TOP_SAMPLES = 4  # a wave touches its own maximum once; a cut one stays there
# Of its time over OVER_TOP of the ceiling a sine held there spends 0.57 over 0.9 of it and 0.09 within 0.2 %; a cut one of
# 1.1 times the height 0.69 and 0.49. Made limited takes, which fall, spend 0.44 and 0.1 at most (one of 43: 0.53), takes
# driven 6 to 18 dB too far 0.48 and 0.35 at least, and 0.47 and nothing through a lossy coder.
BROAD, DOUBTFUL_SHARE, SURE_SHARE = 0.90, 0.46, 0.58
EXACT, EXACT_SHARE = 0.998, 0.20
# What a lossy coder makes of cut waves goes a decibel over full scale in one stroke of five and more, where its shape no
# longer tells (crashes); of limited takes (62 made ones through coders) in 13 of 100 strokes at most.
OVER, OVER_SHARE = 1.12, 0.20
TINY = 1e-9
SAME_TOP = 0.004  # of one ceiling, to the sample: tops this near to the highest of the take
SAME_TOPS_DB = 1.5  # cut strokes stop at one height; hands do not strike so evenly
MIN_CUT_STROKES = 3


@dataclass(frozen=True)
class Cut:
    """Which strokes are cut, shape (strokes,), and whether a held tone behind a limiter could not look the same."""

    which: Mask
    sure: bool = True


def cut_strokes(mono: Samples, rate: int, heard_s: tuple[float, ...]) -> tuple[Array, Cut]:
    """The highest absolute sample of each stroke, and which are cut: at full scale, at a lower ceiling, or bent by a limiter."""
    pieces = [np.abs(piece) for piece in _pieces(mono, rate, heard_s)]
    tops = np.array([piece.max() if len(piece) else 0.0 for piece in pieces], dtype=np.float64)
    full: Mask = tops >= CEILING
    if not len(tops):
        return tops, Cut(full)
    over = _of(pieces, full)
    broad, exact = _stays(over, CEILING, BROAD), _stays(over, EXACT, EXACT)
    if broad < DOUBTFUL_SHARE and exact < EXACT_SHARE and np.mean(tops >= OVER) < OVER_SHARE:
        full = np.zeros(len(tops), bool)
    lower = _stopped(pieces, tops) | _bent(pieces, tops)
    sure = bool(broad >= SURE_SHARE or exact >= EXACT_SHARE or 2 * np.count_nonzero(lower) >= np.count_nonzero(full))
    return tops, Cut(full | lower, sure)


def _stopped(pieces: Pieces, tops: Array) -> Mask:
    """Which strokes stay, sample for sample, at the highest top of the take."""
    ceiling = float(tops.max()) * (1 - SAME_TOP) or 1.0
    high = tops >= ceiling
    stopped: Mask = high.copy()
    stopped[high] = [np.count_nonzero(piece >= ceiling) >= TOP_SAMPLES for piece in _of(pieces, high)]
    if np.count_nonzero(stopped) < MIN_CUT_STROKES:
        return np.zeros(len(tops), bool)
    stay = _stays([piece / ceiling for piece in _of(pieces, stopped)], 1.0, 1.0)
    return stopped & (stay >= EXACT_SHARE)


def _bent(pieces: Pieces, tops: Array) -> Mask:
    """Which strokes were driven so far into a soft limiter that their tops are flat, all at one height."""
    bent: Mask = np.array([_is_flat(piece) for piece in pieces])
    if bent.any():
        bent &= np.abs(20 * np.log10((tops + TINY) / np.median(tops[bent]))) < SAME_TOPS_DB
    return bent if np.count_nonzero(bent) >= MIN_CUT_STROKES else np.zeros(len(tops), bool)


def _stays(pieces: Pieces, reach: float, near: float) -> float:
    """Of the time that swings which reach so high spend over OVER_TOP of full scale, the share spent over near of it.

    One sample at its top is every swing's own, however short, and is left out.
    """
    if not pieces:
        return 0.0
    size = np.concatenate([np.append(piece, 0.0) for piece in pieces])
    inside = np.concatenate([[False], size >= OVER_TOP])
    edges = np.flatnonzero(inside[1:] != inside[:-1])  # where each swing begins and ends, in turn: every piece ends at nought
    if not len(edges):
        return 0.0
    reached = np.maximum.reduceat(size, edges)[::2] >= reach
    nears = np.add.reduceat(size >= near, edges, dtype=np.int64)[::2][reached]
    lengths = (edges[1::2] - edges[::2])[reached]
    rest = float(np.sum(lengths - 1))
    return float(np.sum(np.maximum(nears - 1, 0))) / rest if rest > 0 else 0.0


def _is_flat(size: NDArray[np.floating]) -> bool:
    """Whether absolute samples stay near their top, shape (n,)."""
    if not len(size):
        return False
    top = float(size.max())
    near = int(np.count_nonzero(size >= NEAR_TOP * top))
    return bool(top > 0 and near >= TOP_SAMPLES and near > FLAT_SHARE * np.count_nonzero(size >= OVER_TOP * top))


def _of(pieces: Pieces, which: Mask) -> Pieces:
    return [piece for piece, is_one in zip(pieces, which, strict=True) if is_one]


def _pieces(mono: Samples, rate: int, heard_s: tuple[float, ...]) -> list[Samples]:
    before, after = round(STROKE_BEFORE_S * rate), round(STROKE_AFTER_S * rate)
    return [mono[max(0, round(at * rate) - before) : round(at * rate) + after] for at in heard_s]

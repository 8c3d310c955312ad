"""The feet of faint strokes, by the shape of this take's own attacks.

Conventions: seconds of file time; power in the bands of onsets.py above the ring of the drums, in bins of BIN_S.

A foot is where quiet turns to loud. In the ring of another stroke that is often where a drum gets loud, 8 to 15 ms after
it was struck: the head's first sound is hidden, its wires are not. The clear strokes of the take show how one grows. A
faint one began where "the ring, and from here on a stroke that grows like these" makes all that was measured around it
likeliest, the power of every bin being distributed exponentially around its mean. Around that place the foot is then
looked for as everywhere.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from .onsets import FOOT_BANDS_HZ, QUIET, SETTLE_S, band, cut_out, find_feet

Array = NDArray[np.float64]
Powers = NDArray[np.float32]
Mask = NDArray[np.bool_]

BIN_S = 0.001
BEFORE, AFTER = 24, 26  # bins looked at on both sides of the foot found so far
EARLIEST, LATEST, STEP = -16, 6, 2  # bins by which a foot may move: second voices lie 8 to 15 ms after the first
RING = (-10, -1)  # bins, told from where a stroke begins: the ring that it falls into
BODY = 10  # bins of a stroke by which its strength is told
GAINS_DB = (3.0, -1.0, -5.0, -9.0, -13.0)  # against the middling clear stroke
CLEAR_DB, LEAST_CLEAR, MOST_CLEAR = 6.0, 10, 60  # rise: of 1 000 strokes that rise more 6 lay over 5 ms late
LEAST_BEFORE_S, LEAST_AFTER_S = 0.055, 0.020  # a stroke nearer than this would be in the picture, or a ring too steep
FOOT_S = 0.003  # the foot is then looked for so far to both sides


def settle_feet(mono: NDArray[np.floating], rate: int, times_s: Array, rise_db: Array, free: Mask) -> Array:
    """times_s, sorted, shape (n,), with the faint ones among `free` moved to where the take's own attack fits best."""
    apart = np.diff(times_s, prepend=-np.inf, append=np.inf)
    faint = free & (rise_db <= CLEAR_DB) & (apart[:-1] > LEAST_BEFORE_S) & (apart[1:] > LEAST_AFTER_S)
    clear = np.flatnonzero(rise_db > CLEAR_DB)
    if len(clear) < LEAST_CLEAR:  # the clearest there are
        clear = np.sort(np.argsort(-rise_db, kind="stable")[: max(LEAST_CLEAR, len(rise_db) // 5)])
    if len(clear) < LEAST_CLEAR or not faint.any():
        return times_s
    shape = _shape(_powers(mono, rate, times_s[clear[:: 1 + len(clear) // MOST_CLEAR]]))
    moved = times_s[faint] + BIN_S * _best_move(_powers(mono, rate, times_s[faint]), shape)
    out = times_s.copy()
    out[faint] = find_feet(mono, rate, moved, FOOT_S, FOOT_S)[0]
    return out


def _powers(mono: NDArray[np.floating], rate: int, times_s: Array) -> Powers:
    """Mean power of every bin around each time, shape (bands, n, bins)."""
    length, settle = round(BIN_S * rate), round(SETTLE_S * rate)
    first = np.round((times_s - BEFORE * BIN_S) * rate).astype(np.int64)
    pieces = cut_out(mono, first - settle, settle + (BEFORE + AFTER) * length)
    out = []
    for low, high, order, _ in FOOT_BANDS_HZ[1:]:
        sound = signal.sosfilt(band(low, high, order, rate), pieces, axis=1)[:, settle:]
        out.append(np.square(sound).reshape(len(times_s), BEFORE + AFTER, length).mean(axis=2))
    powers: Powers = (np.array(out) + QUIET).astype(np.float32)
    return powers


def _shape(clear: Powers) -> Powers:
    """What a middling clear stroke adds to its ring from its foot on, shape (bands, bins); nothing before it."""
    body = clear[:, :, BEFORE : BEFORE + BODY].mean(axis=(0, 2))
    middling = np.median(clear / body[None, :, None], axis=1)
    ring = middling[:, BEFORE + RING[0] : BEFORE + RING[1]].mean(axis=1, keepdims=True)
    shape: Powers = np.maximum(middling - ring, np.float32(0)) * np.median(body)
    shape[:, : BEFORE - 1] = 0.0
    return shape


def _best_move(faint: Powers, shape: Powers) -> NDArray[np.int64]:
    """By how many bins each stroke is moved, shape (n,)."""
    moves = np.arange(EARLIEST, LATEST + 1, STEP)
    bins = np.arange(BEFORE + EARLIEST - 2, BEFORE + AFTER - 4)
    measured = faint[:, :, bins]
    likely = np.full((faint.shape[1], len(moves)), -np.inf)
    for n, move in enumerate(moves.tolist()):
        ring = faint[:, :, max(BEFORE + move + RING[0], 0) : BEFORE + move + RING[1]].mean(axis=2, keepdims=True)
        stroke = shape[:, np.clip(bins - move, 0, BEFORE + AFTER - 1)][:, None, :]
        for gain in GAINS_DB:
            expected = ring + np.float32(10 ** (gain / 10)) * stroke
            fit = -(np.log(expected) + measured / expected).sum(axis=(0, 2))
            likely[:, n] = np.maximum(likely[:, n], fit)
    best: NDArray[np.int64] = moves[np.argmax(likely, axis=1)]
    return best

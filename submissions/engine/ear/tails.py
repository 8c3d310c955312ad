"""What a stroke leaves behind: ring, wires, echoes of the room. A rise that they explain is not a stroke.

Conventions: power in the bands of onsets.Novelty; lags in frames of onsets.HOP_S.

An echo from a wall comes back at the same distance after every stroke, as loud as the last time; so does a drum's
own second bounce of sound. The median over many strokes of what follows them is therefore known in advance, and a
candidate counts only as far as it rises over what the strokes before it were bound to leave.
"""

import numpy as np
from numpy.typing import NDArray

from .onsets import LAG_FRAMES, Novelty

Array = NDArray[np.float64]
Index = NDArray[np.int64]

REACH_FRAMES = 40  # 100 ms: later echoes lie in the noise of the room
FIRST_FRAME = 3  # before it the stroke's own attack is still in the window
CLEAR_DB = 4.0  # strokes at least so clear show what a stroke leaves behind
CLEARLY_LOUDER = 0.5  # power of what else was struck within reach must stay under this share
LEAST_STROKES = 5  # fewer show nothing in common
OVER = 1.6  # +2 dB: strokes differ


def rise_over_tails(novelty: Novelty, frames: Index) -> Array:
    """The rise of each candidate frame over its past and over what earlier strokes leave behind, dB, shape (n,)."""
    rise = novelty.rise_db[frames]
    clear = frames[rise > CLEAR_DB]
    left = leavings(novelty, clear, frames[rise > 0.5 * CLEAR_DB])
    if left is None:
        return rise
    out = rise.copy()
    starts = np.searchsorted(clear, frames - REACH_FRAMES)
    stops = np.searchsorted(clear, frames - FIRST_FRAME, side="right")
    for n in np.flatnonzero(stops > starts):
        sources = clear[starts[n] : stops[n]]
        peaks = np.maximum(novelty.power[sources], novelty.power[np.minimum(sources + 1, len(novelty.power) - 1)])
        bound = OVER * np.sum(peaks * left[frames[n] - sources], axis=0) + novelty.floor
        past = novelty.power[frames[n] - LAG_FRAMES] + novelty.floor
        now = novelty.power[frames[n]] + novelty.floor
        over = 10 * np.log10(np.maximum(now / np.maximum(past, bound), 1.0))
        out[n] = min(rise[n], float(over @ novelty.share))
    return out


def leavings(novelty: Novelty, clear: Index, every: Index) -> Array | None:
    """Power after a stroke over the power of its attack, median over the strokes, shape (REACH + 1, bands).

    For each lag only strokes count after which nothing else was struck until then; None: too few strokes.
    """
    size = len(novelty.power)
    clear = clear[clear + REACH_FRAMES + 2 < size]
    if len(clear) < LEAST_STROKES:
        return None
    peaks = np.maximum(novelty.power[clear], novelty.power[clear + 1]) + novelty.floor
    loud = novelty.level_db[np.minimum(every + 1, size - 1)]
    own = novelty.level_db[clear + 1]
    free = np.full(len(clear), REACH_FRAMES + 1)
    for n, at in enumerate(clear.tolist()):
        later = every[(every > at + FIRST_FRAME) & (every <= at + REACH_FRAMES)]
        rival = later[loud[np.searchsorted(every, later)] > own[n] + 10 * np.log10(CLEARLY_LOUDER)]
        if len(rival):
            free[n] = rival[0] - at - LAG_FRAMES
    out = np.zeros((REACH_FRAMES + 1, peaks.shape[1]))
    for lag in range(FIRST_FRAME, REACH_FRAMES + 1):
        alone = free > lag
        if np.count_nonzero(alone) >= LEAST_STROKES:
            ratio = (novelty.power[clear[alone] + lag] + novelty.floor) / peaks[alone]
            out[lag] = np.median(ratio, axis=0)
    # An echo does not always fall on the same frame of the analysis: its neighbours are kept, too.
    wide = out.copy()
    wide[1:] = np.maximum(wide[1:], out[:-1])
    wide[:-1] = np.maximum(wide[:-1], out[1:])
    return wide

"""What a stroke leaves behind: ring, wires, echoes of the room. A rise that they explain is not a stroke.

Conventions: power in the bands of novelty.py; lags in frames of novelty.HOP_S.

An echo from a wall comes back at the same distance after every stroke, as loud as the last time; so does a drum's
own second bounce of sound. The median over many strokes of what follows them is therefore known in advance, and a
candidate counts only as far as it rises over what the strokes before it were bound to leave.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .novelty import HOP_S, LAG_FRAMES, Novelty

Array = NDArray[np.float64]
Index = NDArray[np.int64]

BLIND_FRAMES = 20  # 50 ms: nearer than this even fast sixteenths do not lie
SAME_STROKE_S = 0.045  # what is due within this of a stroke is that stroke: players are late
EARLY_S = 0.025
REACH_FRAMES = 40  # 100 ms: later echoes lie in the noise of the room
FIRST_FRAME = 3  # before it the stroke's own attack is still in the window
CLEAR_DB = 4.0  # strokes at least so clear show what a stroke leaves behind
CLEARLY_LOUDER = 0.5  # power of what else was struck within reach must stay under this share
LEAST_STROKES = 5  # fewer show nothing in common
ECHO_LAGS_S = (0.005, 0.060)  # walls, floor and ceiling of a room
ECHO_WIDTH_S = 0.0008  # feet of one echo scatter by less; hands do not keep a distance to a millisecond
LEAST_ECHOES = 5  # of one lag: by chance two or three
ECHOES_OVER_CHANCE = 4.0


@dataclass(frozen=True)
class Tails:
    """The clear strokes of a take and what each of them left behind."""

    novelty: Novelty
    clear: Index  # frames of the clear strokes, sorted
    peaks: Array  # (clear strokes, bands) power of their attacks
    left: Array | None  # (REACH_FRAMES + 1, bands) share of it after so many frames; None: too few strokes

    def rise_over(self, frames: Index) -> Array:
        """The rise of each frame over its past and over what earlier strokes left behind, dB, shape (n,)."""
        novelty = self.novelty
        rise = novelty.rise_db[frames]
        if self.left is None:
            return rise
        out = rise.copy()
        starts = np.searchsorted(self.clear, frames - REACH_FRAMES)
        stops = np.searchsorted(self.clear, frames - FIRST_FRAME, side="right")
        for n in np.flatnonzero(stops > starts):
            near = slice(starts[n], stops[n])
            bound = np.sum(self.peaks[near] * self.left[frames[n] - self.clear[near]], axis=0) + novelty.floor
            past = novelty.power[frames[n] - LAG_FRAMES] + novelty.floor
            now = novelty.power[frames[n]] + novelty.floor
            over = 10 * np.log10(np.maximum(now / np.maximum(past, bound), 1.0))
            out[n] = min(rise[n], float(over @ novelty.share))
        return out


def same_lag(extra_s: Array, struck_s: Array) -> NDArray[np.bool_]:
    """Which of extra_s follow one of struck_s (both sorted) at a distance that many of them share: a wall's echo."""
    if len(extra_s) < LEAST_ECHOES or not len(struck_s):
        return np.zeros(len(extra_s), bool)
    lags = extra_s[:, None] - struck_s[None, :]
    near = (lags > ECHO_LAGS_S[0]) & (lags < ECHO_LAGS_S[1])
    ordered = np.sort(lags[near])
    together = np.zeros(lags.shape, np.int64)
    together[near] = np.searchsorted(ordered, lags[near] + ECHO_WIDTH_S) - np.searchsorted(
        ordered, lags[near] - ECHO_WIDTH_S
    )
    chance = len(ordered) * 2 * ECHO_WIDTH_S / (ECHO_LAGS_S[1] - ECHO_LAGS_S[0])
    same: NDArray[np.bool_] = together.max(axis=1) >= max(LEAST_ECHOES, ECHOES_OVER_CHANCE * chance)
    return same


def learn_tails(novelty: Novelty, frames: Index, written_s: Array | None = None) -> Tails:
    """What the clear ones among the candidate frames leave behind.

    A tap that always follows its accent looks like an echo. written_s, sorted, is when strokes are due: what lies
    after the next one due is not taken for a tail; without it nothing later than BLIND_FRAMES is.
    """
    every = np.sort(frames)
    rise = novelty.rise_db[every]
    clear = every[rise > CLEAR_DB]
    size = len(novelty.power)
    peaks = np.maximum(novelty.power[clear], novelty.power[np.minimum(clear + 1, max(size - 1, 0))]).astype(np.float64)
    return Tails(novelty, clear, peaks, _leavings(novelty, clear, every[rise > 0.5 * CLEAR_DB], written_s))


def _leavings(novelty: Novelty, clear: Index, every: Index, written_s: Array | None) -> Array | None:
    """Power after a stroke over the power of its attack, median over the strokes, shape (REACH_FRAMES + 1, bands).

    For each lag only strokes count after which nothing else was struck until then; None: too few strokes.
    """
    size = len(novelty.power)
    clear = clear[clear + REACH_FRAMES + 2 < size]
    if len(clear) < LEAST_STROKES:
        return None
    peaks = np.maximum(novelty.power[clear], novelty.power[clear + 1]) + novelty.floor
    free = np.minimum(_free_frames(novelty, clear, every), _free_of_written(clear, written_s))
    out = np.zeros((REACH_FRAMES + 1, peaks.shape[1]))
    for lag in range(FIRST_FRAME, REACH_FRAMES + 1):
        alone = free > lag
        if np.count_nonzero(alone) >= LEAST_STROKES:
            ratio = (novelty.power[clear[alone] + lag] + novelty.floor) / peaks[alone]
            out[lag] = np.median(np.ascontiguousarray(ratio.T), axis=1)  # along memory: half the time
    # An echo does not always fall on the same frame of the analysis: its neighbours are kept, too.
    wide = out.copy()
    wide[1:] = np.maximum(wide[1:], out[:-1])
    wide[:-1] = np.maximum(wide[:-1], out[1:])
    return wide


def _free_of_written(clear: Index, written_s: Array | None) -> Index:
    """For how many frames after each clear stroke nothing is due, early as players are."""
    if written_s is None or not len(written_s):
        return np.full(len(clear), BLIND_FRAMES)
    at = clear * HOP_S
    following = np.searchsorted(written_s, at + SAME_STROKE_S)
    due = np.append(written_s, np.inf)[following]
    free: Index = np.minimum((due - EARLY_S - at) / HOP_S, REACH_FRAMES + 1).astype(np.int64)
    return free


def _free_frames(novelty: Novelty, clear: Index, every: Index) -> Index:
    """For how many frames after each clear stroke nothing of comparable loudness was struck."""
    loud = novelty.level_db[np.minimum(every + 1, len(novelty.power) - 1)]
    own = novelty.level_db[clear + 1]
    free = np.full(len(clear), REACH_FRAMES + 1)
    for n, at in enumerate(clear.tolist()):
        low, high = np.searchsorted(every, (at + FIRST_FRAME + 1, at + REACH_FRAMES + 1))
        rivals = np.flatnonzero(loud[low:high] > own[n] + 10 * np.log10(CLEARLY_LOUDER))
        if len(rivals):
            free[n] = every[low + rivals[0]] - at - LAG_FRAMES
    return free

"""Whether somebody speaks over the playing: a moving pitch with many harmonics that the drums of this take do not have.

Conventions: a frame is FRAME_S long, every HOP_S, at RATE; its pitch is a lag in samples of RATE. A frame is voiced where
the autocorrelation of its flattened spectrum has a summit at the lag and none at a half or a third of it: a drum's mode is
one partial and has both, modes of several drums have neither. What is left, ringing tenors above all, comes again with
every stroke at the same pitches; a voice passes through pitches that are heard nowhere else in the take.
"""

from itertools import pairwise

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft

Array = NDArray[np.float32]

RATE = 8000
FRAME_S, HOP_S = 0.05, 0.01
SIZE = 512  # of the transform: a frame, and as much silence as the longest lag
LAGS = np.arange(20, 101)  # 400 to 80 Hz: children and men
BAND_HZ = (200.0, 3200.0)  # over hum, wind and the lowest modes of most drums
VOICED, OVER_PARTS = 0.35, 0.12  # of the frame's own energy: the summit, and how far it stands over those at parts of its lag
STEP = 0.08  # octaves from one frame to the next, at most, within one voiced stretch
LEAST_FRAMES, LEAST_MOVE = 4, 0.02  # of a voiced stretch; octaves
SAME_PITCH = 0.06  # octaves
FAR_S = 3.0  # what is voiced at the same pitch and further away than a sentence is long is the drums' ...
USUAL_S = 0.15  # ... where there is so much of it in a minute
WINDOW_S = 2.5  # a sentence


def talk_over(mono: NDArray[np.floating], rate: int, playing_s: tuple[float, float]) -> tuple[float, float | None]:
    """(seconds of speech in the WINDOW_S of the playing that hold most of it, its middle in file time or None)."""
    first_s, last_s = playing_s
    begin = max(0, int(first_s * rate))
    slow = soxr.resample(mono[begin : max(begin, int(last_s * rate))].astype(np.float32), rate, RATE, quality="LQ")
    frame, hop = round(FRAME_S * RATE), round(HOP_S * RATE)
    if len(slow) < frame + hop * LEAST_FRAMES:
        return 0.0, None
    lag, summit, parts = _periods(np.lib.stride_tricks.sliding_window_view(slow, frame)[::hop])
    pitch = np.log2(RATE / lag)
    is_voiced = (summit > VOICED) & (summit - parts > OVER_PARTS)
    speech = np.zeros(len(pitch))
    usual = USUAL_S * len(pitch) / 60  # frames in so long a take
    voiced = np.flatnonzero(is_voiced)
    for start, end in _stretches(is_voiced, pitch):
        here = np.arange(start, end)[:, None]
        is_same = (np.abs(pitch[voiced] - pitch[here]) < SAME_PITCH) & (np.abs(voiced - here) > FAR_S / HOP_S)
        speech[start:end] = 1 / (1 + (float(is_same.sum(axis=1).mean()) / usual) ** 2)
    frames = round(WINDOW_S / HOP_S)
    sums = np.concatenate((np.zeros(1), np.cumsum(speech)))
    start = int(np.argmax(sums[frames:] - sums[:-frames])) if len(speech) > frames else 0
    most = speech[start : start + frames]
    if not most.any():
        return 0.0, None
    middle = start + float(most @ np.arange(len(most))) / float(most.sum())
    return float(most.sum()) * HOP_S, first_s + middle * HOP_S + FRAME_S / 2


def _periods(frames: Array) -> tuple[NDArray[np.intp], Array, Array]:
    """Of every frame the lag of its highest summit, its height, and the highest at a half or a third of that lag."""
    window = np.hanning(frames.shape[1]).astype(np.float32)
    inside = np.arange(int(np.ceil(BAND_HZ[0] * SIZE / RATE)), int(BAND_HZ[1] * SIZE / RATE) + 1)
    bins = np.abs(fft.rfft(frames * window, SIZE, axis=1)[:, inside])
    shortest = int(LAGS[0]) // 3
    lags = np.arange(shortest, int(LAGS[-1]) + 1)
    waves = np.cos(2 * np.pi / SIZE * np.outer(inside, lags)).astype(np.float32)
    own = fft.irfft(np.abs(fft.rfft(window, SIZE)))
    alike = (bins @ waves) / (bins.sum(axis=1, keepdims=True) + 1e-12) / np.maximum(own[lags] / own[0], 0.05)
    best = LAGS[np.argmax(alike[:, LAGS[0] - shortest :], axis=1)]
    row = np.arange(len(best))
    parts = [alike[row, np.rint(best / part).astype(int) - shortest] for part in (2, 3)]
    return best, alike[row, best - shortest], np.maximum(*parts)


def _stretches(is_voiced: NDArray[np.bool_], pitch: NDArray[np.float64]) -> list[tuple[int, int]]:
    """(start, end) of frames that are voiced without a break or a jump, long enough, and not of one pitch."""
    breaks = np.flatnonzero(~is_voiced[:-1] | ~is_voiced[1:] | (np.abs(np.diff(pitch)) > STEP)) + 1
    edges = [0, *breaks.tolist(), len(pitch)]
    return [
        (start, end)
        for start, end in pairwise(edges)
        if end - start >= LEAST_FRAMES and np.ptp(pitch[start:end]) > LEAST_MOVE
    ]

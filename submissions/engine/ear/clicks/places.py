"""Where a click may be where the strokes do not tell: by onsets that fall on beats, and by beats that turn as clicks do.

Conventions: as in `ours`.
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from ...music.click import CLICK_SWEEP_HZ, ClickLayout
from .ours import ClickBand

Array = NDArray[np.float64]

PAIR_S = 2.1  # beats so near are nearly in phase by any clock


def on_beats(heard_s: Array, layout: ClickLayout, count: int = 6, bin_s: float = 0.005) -> list[float]:
    """Zeros at which most onsets fall on clicked beats, best first."""
    if len(heard_s) < 4:
        return []
    beats = np.array([beat.at_s for beat in layout.beats])
    beats, first = beats - beats[0], float(beats[0])
    size = fft.next_fast_len(int((heard_s[-1] + beats[-1]) / bin_s) + 4, real=True)
    heard = np.bincount(np.round(heard_s / bin_s).astype(np.int64), minlength=size)[:size].astype(float)
    due = np.bincount(np.round(beats / bin_s).astype(np.int64), minlength=size)[:size].astype(float)
    votes = fft.irfft(fft.rfft(heard) * np.conj(fft.rfft(due)), size)
    votes = votes + np.roll(votes, 1)  # a click between two bins
    zeros: list[float] = []
    for _ in range(count):
        k = int(np.argmax(votes))
        place = k if k < (heard_s[-1] + 1.0) / bin_s else k - size
        zeros.append((place - 0.5) * bin_s - first)
        votes[max(0, k - 2) : k + 3] = 0.0
    return zeros


def by_pairs(band: ClickBand, layout: ClickLayout) -> float:
    """The zero from which on the filters' answers turn from each beat to the next as a click's do.

    Two beats of one kind are so near that hardly any clock matters: their turn is known, and drums turn by chance.
    For takes in which the strokes do not know their place; at most half of the beats may lie before the file.
    """
    first_s = layout.beats[0].at_s
    missing = round(0.5 * (layout.beats[-1].at_s - first_s) * band.rate)  # half the beats, before the file begins
    total = np.zeros(missing + min(len(answer) for answer in band.answers.values()), np.float32)
    for kind, answer in band.answers.items():
        size = np.abs(answer)
        even = np.pad(answer / (size + np.float32(size.mean() + 1e-20)), (missing, 0))
        middle_hz = float(np.mean(CLICK_SWEEP_HZ[kind]))
        beats = [beat for beat in layout.beats if beat.kind == kind]
        for one, two in pairwise(beats):
            a, b = (round((beat.at_s - first_s) * band.rate) for beat in (one, two))
            apart_s = (b - a) / band.rate
            turn = middle_hz * (two.at_s - one.at_s - apart_s) + band.low_hz * apart_s
            back = np.complex64(one.sign * two.sign * np.exp(-2j * np.pi * turn))
            count = len(total) - b
            if count > 0 and two.at_s - one.at_s < PAIR_S:
                total[:count] += (even[b : b + count] * np.conj(back * even[a : a + count])).real
    return (int(np.argmax(total)) - missing) / band.rate - first_s

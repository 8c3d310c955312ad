"""Where drum strokes begin: what stands out in the novelty, each moved to the foot of its attack.

Conventions: times in seconds of file time; levels in dB; frames are those of novelty.py.

Novelty says that something was struck. Where exactly it began is asked of the waveform: the split that makes "quiet
before, loud after" most likely (the variance criterion by which seismologists pick first arrivals: Maeda 1985) gives
the foot to a sample.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from .novelty import HOP_S, THRESHOLD_DB, TINY, Novelty, measure_novelty, pick
from .tails import learn_tails

Array = NDArray[np.float64]

FOOT_BEFORE_S, FOOT_AFTER_S = 0.008, 0.004  # where the foot is looked for, around the detected frame
# Low, high, weight. Above the ring of the drums; three bands halve the share of feet that lie 3 ms off against one.
FOOT_BANDS_HZ = ((400.0, 1_500.0, 0.5), (1_500.0, 5_000.0, 1.0), (5_000.0, 24_000.0, 1.0))
FOOT_GUARD_S = 0.00025  # fewer samples have no variance worth the name
SETTLE_S = 0.004  # the bands' filters are at rest after it
ATTACK_S = 0.003
QUIET = 1e-14  # power far under any recording's noise
FALL_FRAMES = (8, 16)  # 20 to 40 ms


def _nothing() -> Array:
    return np.zeros(0)


@dataclass(frozen=True)
class Onsets:
    """What was struck, in order of time; arrays of one length n."""

    times_s: Array  # (n,) foot of each attack
    strengths: Array  # (n,) rise over all bands in dB
    level_db: Array  # (n,) level just after the foot, dB re full scale
    colour_db: Array  # (n, octaves) level of each octave of COLOUR_HZ just after the foot
    attack_db: Array = field(default_factory=_nothing)  # (n,) power of the first 3 ms over what came before the foot
    fall_db: Array = field(default_factory=_nothing)  # (n,) how far the level has fallen 20 to 40 ms later
    frames: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))  # (n,) frame each was picked at

    def __len__(self) -> int:
        return len(self.times_s)


def detect(mono: NDArray[np.floating], rate: int) -> Onsets:
    """Every onset in mono, shape (n,), at rate Hz; an empty answer for silence or for less than two windows."""
    return stand_out(mono, rate, measure_novelty(mono, rate))


def stand_out(mono: NDArray[np.floating], rate: int, novelty: Novelty, threshold_db: float = THRESHOLD_DB) -> Onsets:
    """The onsets that stand out from their past and from the tails and echoes of earlier ones."""
    frames = pick(novelty, threshold_db)
    return place(mono, rate, novelty, frames[learn_tails(novelty, frames).rise_over(frames) > threshold_db])


def place(mono: NDArray[np.floating], rate: int, novelty: Novelty, frames: NDArray[np.int64]) -> Onsets:
    """The picked frames with each time at the foot of its attack."""
    times, attack = find_feet(mono, rate, frames * HOP_S)
    order = np.argsort(times, kind="stable")
    frames, times, attack = frames[order], times[order], attack[order]
    size = len(novelty.rise_db)
    later = np.minimum(frames + 1, size - 1)
    level = novelty.level_db[later]
    after = np.minimum(frames[:, None] + np.arange(*FALL_FRAMES)[None, :], max(size - 1, 0))
    fall = level - novelty.level_db[after].mean(axis=1) if size else level
    colour = novelty.colour_db[later].astype(np.float64)
    return Onsets(times, novelty.rise_db[frames], level, colour, attack, fall, frames)


def find_feet(
    mono: NDArray[np.floating],
    rate: int,
    near_s: NDArray[np.floating],
    before_s: float = FOOT_BEFORE_S,
    after_s: float = FOOT_AFTER_S,
) -> tuple[Array, Array]:
    """The foot of the attack near each of near_s, seconds, and how far the power rises there, dB; shapes (n,).

    The foot is where "quiet before, loud after" is likeliest in all bands of FOOT_BANDS_HZ together: the ring of a
    low drum hides an attack in one band, the hiss of wires in another.
    """
    if not len(near_s):
        return np.zeros(0), np.zeros(0)
    before, after, settle = (round(t * rate) for t in (before_s, after_s, SETTLE_S))
    padded = np.concatenate([np.zeros(before + settle), mono, np.zeros(after + 1)])
    starts = np.clip(np.round(near_s * rate).astype(np.int64), 0, len(mono))
    pieces = np.lib.stride_tricks.sliding_window_view(padded, settle + before + after)[starts]
    guard = max(8, round(FOOT_GUARD_S * rate))
    at = np.arange(guard, before + after - guard)
    cost = np.zeros((len(near_s), len(at)))
    power = np.zeros((len(near_s), before + after))
    for low, high, weight in FOOT_BANDS_HZ:
        band = signal.sosfilt(_band(low, high, rate), pieces, axis=1)[:, settle:] ** 2
        cost += weight * _split_cost(band, at)
        power += band
    best = at[np.argmin(cost, axis=1)]
    total = np.concatenate([np.zeros((len(best), 1)), np.cumsum(power, axis=1)], axis=1)
    rows, stop = np.arange(len(best)), np.minimum(best + round(ATTACK_S * rate), before + after)
    loud = (total[rows, stop] - total[rows, best]) / (stop - best)
    attack = 10 * np.log10((loud + QUIET) / (total[rows, best] / best + QUIET))
    return np.maximum((starts - before + best) / rate, 0.0), attack


def _split_cost(power: Array, at: NDArray[np.int64]) -> Array:
    """at log var(before) + (n - at) log var(after) for every split, shape (pieces, splits)."""
    n = power.shape[1]
    total = np.cumsum(power, axis=1)
    tiny = total[:, -1:] / n * 1e-9 + TINY
    head = total[:, at - 1]
    cost: Array = at * np.log(head / at + tiny) + (n - at) * np.log((total[:, -1:] - head) / (n - at) + tiny)
    return cost


def _band(low: float, high: float, rate: int) -> Array:
    """Second-order sections of a band that ends where the sound does."""
    if high >= 0.45 * rate:
        sections: Array = signal.butter(2, min(low, 0.4 * rate), "highpass", fs=rate, output="sos")
    else:
        sections = signal.butter(2, (low, high), "bandpass", fs=rate, output="sos")
    return sections

"""Where drum strokes begin: what stands out in the novelty, each moved to the foot of its attack.

Conventions: times in seconds of file time; levels in dB; frames are those of novelty.py.

Novelty says that something was struck. Where exactly it began is asked of the waveform: the split that makes "quiet
before, loud after" most likely (the variance criterion by which seismologists pick first arrivals: Maeda 1985) gives
the foot to a sample.
"""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from .novelty import HOP_S, THRESHOLD_DB, TINY, Novelty, measure_novelty, pick
from .tails import learn_tails

Array = NDArray[np.float64]

FOOT_BEFORE_S, FOOT_AFTER_S = 0.008, 0.004  # where the foot is looked for, around the detected frame
# Low, high, order of the filter, weight. Nearly everything, because a low drum in noise begins there and nowhere else;
# and three bands above the ring of the drums, which halve the share of feet that lie 3 ms off. Chosen on 45 real hits in
# noise and rooms. A steeper filter would hold the lowest back.
FOOT_BANDS_HZ = (
    (100.0, 24_000.0, 1, 1.0),
    (400.0, 1_500.0, 2, 0.5),
    (1_500.0, 5_000.0, 2, 1.0),
    (5_000.0, 24_000.0, 2, 1.0),
)
FOOT_GUARD_S = 0.00025  # fewer samples have no variance worth the name
FOOT_STRIDE = 4  # splits are tried this many samples apart, and all of them around the best
SETTLE_S = 0.004  # the bands' filters are at rest after it
ATTACK_S = 0.003
# A coder spreads an attack softly over the milliseconds before it: what lies so far under the attack is smear, no foot. On
# made takes AAC's put feet 1.2 to 2.7 ms early in a quarter of the strokes. A drum that grows
# rises most at once, not after a while.
LEAST_SMEAR_S, SMEAR_S, SMEAR_DB, SMEAR_AFTER_S = 0.0005, 0.005, 12.0, 0.0015
QUIET = 1e-14  # power far under any recording's noise
FALL_FRAMES = (8, 16)  # 20 to 40 ms
# A drum may speak twice in one stroke, the head before its wires, a slap before its thump. Where the first voice is soft
# the split falls on the second. A coder's smear lies nearer than these, and graces lie further away, or nowhere twice.
VOICE_S, LEAST_VOICE_S, LEAST_MORE_S, VOICE_GUARD_S = 0.0165, 0.0033, 0.0015, 0.0005
VOICE_WIDTH_S = 0.001  # first voices of one drum lie within it on both sides of a common distance
# Power of the first 3 ms over that of the 5 ms before: of twenty strokes without a first voice one shows 6 dB by chance.
VOICE_BEFORE_S, VOICE_DB, SURE_VOICE_DB = 0.005, 4.0, 7.0
VOICE_UNDER_DB, SECOND_S = 24.0, 0.010  # so far under the second voice at most: slaps on boxes lie 13 to 21 under
LEAST_VOICES, VOICE_SHARE, MORE_SHARE = 5, 0.12, 0.06  # further voices of drums that are known to have two need less
VOICE_STEP_S, VOICE_SLACK_DB = 0.0005, 1.0  # of the quick look whether there can be any
VOICE_ROUNDS = 4  # several drums, or three voices


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


def place(
    mono: NDArray[np.floating], rate: int, novelty: Novelty, frames: NDArray[np.int64], known: Onsets | None = None
) -> Onsets:
    """The picked frames with each time at the foot of its attack; known holds feet that were found in the same sound."""
    clear = novelty.rise_db[frames] > THRESHOLD_DB
    if known is None:
        times, attack = find_feet(mono, rate, frames * HOP_S)
        times[clear] = first_voices(mono, rate, times[clear])
    else:
        times, attack = _feet(mono, rate, frames, known)
    order = np.argsort(times, kind="stable")
    frames, times, attack = frames[order], times[order], attack[order]
    size = len(novelty.rise_db)
    later = np.minimum(frames + 1, size - 1)
    level = novelty.level_db[later]
    after = np.minimum(frames[:, None] + np.arange(*FALL_FRAMES)[None, :], max(size - 1, 0))
    fall = level - novelty.level_db[after].mean(axis=1) if size else level
    colour = novelty.colour_db[later].astype(np.float64)
    return Onsets(times, novelty.rise_db[frames], level, colour, attack, fall, frames)


def _feet(mono: NDArray[np.floating], rate: int, frames: NDArray[np.int64], known: Onsets) -> tuple[Array, Array]:
    times, attack = np.zeros(len(frames)), np.zeros(len(frames))
    _, here, there = np.intersect1d(frames, known.frames, return_indices=True)
    times[here], attack[here] = known.times_s[there], known.attack_db[there]
    new = np.ones(len(frames), bool)
    new[here] = False
    times[new], attack[new] = find_feet(mono, rate, frames[new] * HOP_S)
    return times, attack


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
    starts = np.clip(np.round(near_s * rate).astype(np.int64), 0, len(mono))
    pieces = cut_out(mono, starts - before - settle, settle + before + after)
    sums = []
    for low, high, order, _ in FOOT_BANDS_HZ:
        sound = signal.sosfilt(band(low, high, order, rate), pieces, axis=1)[:, settle:]
        sums.append(np.cumsum(sound * sound, axis=1))
    # The attack is told above the ring of the drums: in all bands but the widest.
    total = np.concatenate([np.zeros((len(starts), 1)), sums[1] + sums[2] + sums[3]], axis=1)
    best = _after_smear(total, _likeliest_split(sums, max(8, round(FOOT_GUARD_S * rate))), rate)
    rows, stop = np.arange(len(best)), np.minimum(best + round(ATTACK_S * rate), before + after)
    loud = (total[rows, stop] - total[rows, best]) / (stop - best)
    attack = 10 * np.log10((loud + QUIET) / (total[rows, best] / best + QUIET))
    return np.maximum((starts - before + best) / rate, 0.0), attack


def cut_out(mono: NDArray[np.floating], first: NDArray[np.int64], length: int) -> Array:
    """Pieces of mono, shape (pieces, length), beginning at samples `first`; silence outside."""
    pieces = np.zeros((len(first), length))
    inside = (first >= 0) & (first + length <= len(mono))
    if inside.any():
        pieces[inside] = np.lib.stride_tricks.sliding_window_view(mono, length)[first[inside]]
    for row in np.flatnonzero(~inside).tolist():
        low, high = max(int(first[row]), 0), min(int(first[row]) + length, len(mono))
        pieces[row, low - first[row] : max(low, high) - first[row]] = mono[low : max(low, high)]
    return pieces


def first_voices(mono: NDArray[np.floating], rate: int, times_s: Array) -> Array:
    """The feet with those that are a drum's second voice moved to its first, shape (n,).

    What lies before a foot by chance, a grace, an echo or a coder's smear, lies at any distance; a drum's own first
    voice always lies at the same one.
    """
    out, moved = times_s.copy(), np.zeros(len(times_s), bool)
    least = max(LEAST_VOICES, VOICE_SHARE * len(out))
    for _ in range(VOICE_ROUNDS):
        around = _Around(mono, rate, out)
        nearest = np.where(moved, LEAST_MORE_S, LEAST_VOICE_S)
        steps = np.arange(LEAST_MORE_S - VOICE_STEP_S, VOICE_S, VOICE_STEP_S)[None, :]
        rises = around.rise(steps)
        rises[steps < nearest[:, None] - VOICE_STEP_S] = -np.inf  # the foot's own attack, which is no voice before it
        most = rises.max(axis=1, initial=-np.inf)
        if np.count_nonzero(most > SURE_VOICE_DB - VOICE_SLACK_DB) < least:
            break
        reach, asked, earlier = (VOICE_S - VOICE_GUARD_S) / 2, most > VOICE_DB - VOICE_SLACK_DB, out.copy()
        earlier[asked], _ = find_feet(mono, rate, out[asked] - VOICE_GUARD_S - reach, reach, reach)
        lag = out - earlier
        rise = around.rise(lag[:, None])[:, 0]
        rise[around.under(lag) > VOICE_UNDER_DB] = -np.inf
        rise[lag < nearest] = -np.inf
        sure = np.sort(lag[rise > SURE_VOICE_DB])
        together = np.searchsorted(sure, sure + VOICE_WIDTH_S) - np.searchsorted(sure, sure - VOICE_WIDTH_S)
        if together.max(initial=0) < least:
            break
        own = (np.abs(lag - sure[int(np.argmax(together))]) <= VOICE_WIDTH_S) & (rise > VOICE_DB)
        out[own] = earlier[own]
        moved |= own
        least = max(LEAST_VOICES, MORE_SHARE * len(out))
    return out


class _Around:
    """The power around each foot, in the widest band."""

    def __init__(self, mono: NDArray[np.floating], rate: int, feet_s: Array) -> None:
        before, after = (round(t * rate) for t in (VOICE_S + VOICE_BEFORE_S + VOICE_STEP_S, SECOND_S))
        settle = round(SETTLE_S * rate)
        starts = np.clip(np.round(feet_s * rate).astype(np.int64), 0, len(mono))
        pieces = cut_out(mono, starts - before - settle, settle + before + after)
        wide = signal.sosfilt(band(*FOOT_BANDS_HZ[0][:3], rate), pieces, axis=1)[:, settle:]
        self.running = np.concatenate([np.zeros((len(starts), 1)), np.cumsum(wide * wide, axis=1)], axis=1)
        self.before, self.rate = before, rate

    def mean(self, start_s: Array, stop_s: Array) -> Array:
        """Mean power between times told from the foot, (feet or 1, places), shape (feet, places)."""
        last = self.running.shape[1] - 1
        start, stop = (
            np.clip(self.before + np.round(at * self.rate).astype(np.int64), 0, last) for at in (start_s, stop_s)
        )
        total = _columns(self.running, stop) - _columns(self.running, start)
        mean: Array = total / np.maximum(stop - start, 1) + QUIET
        return mean

    def rise(self, lag_s: Array) -> Array:
        """How far power rises so long before the foot, dB; shape of lag_s (feet, places)."""
        rise: Array = 10 * np.log10(self.mean(-lag_s, ATTACK_S - lag_s) / self.mean(-lag_s - VOICE_BEFORE_S, -lag_s))
        return rise

    def under(self, lag_s: Array) -> Array:
        """How far what begins there lies under what begins at the foot, dB, shape (feet,)."""
        first, foot = self.mean(-lag_s[:, None], ATTACK_S - lag_s[:, None]), np.zeros((len(lag_s), 1))
        under: Array = 10 * np.log10(self.mean(foot, foot + SECOND_S) / first)
        return under[:, 0]


def _columns(rows: Array, at: NDArray[np.int64]) -> Array:
    """What stands in rows (n, length) at places (n or 1, places), shape (n, places)."""
    return rows[:, at[0]] if len(at) == 1 else np.take_along_axis(rows, at, axis=1)


def _likeliest_split(sums: list[Array], guard: int) -> NDArray[np.int64]:
    """Where each piece is likeliest split, shape (pieces,); sums holds for each band the running sum of power."""
    length = sums[0].shape[1]
    coarse = np.arange(guard, length - guard, FOOT_STRIDE)
    near = coarse[np.argmin(_split_cost(sums, coarse[None, :]), axis=1)]
    fine = near[:, None] + np.arange(1 - FOOT_STRIDE, FOOT_STRIDE)[None, :]
    fine = np.clip(fine, guard, length - guard - 1)
    best = np.argmin(_split_cost(sums, fine), axis=1)
    out: NDArray[np.int64] = np.take_along_axis(fine, best[:, None], axis=1)[:, 0]
    return out


def _after_smear(total: Array, best: NDArray[np.int64], rate: int) -> NDArray[np.int64]:
    """The splits `best`, moved on to where the power rises most if all from the split to there is a coder's smear.

    total is the running sum of power, shape (pieces, length + 1).
    """
    after = round(SMEAR_AFTER_S * rate)
    later = np.arange(round(LEAST_SMEAR_S * rate), round(SMEAR_S * rate), FOOT_STRIDE)
    at = best[:, None] + later[None, :]
    outside = at + after >= total.shape[1]
    at[outside] = 0
    rows = np.arange(len(best))[:, None]
    smear = (total[rows, at] - total[rows, best[:, None]]) / later
    rise = (total[rows, at + after] - total[rows, at]) / after / (smear + QUIET)
    rise[outside] = 0.0
    most = np.argmax(rise, axis=1)
    shows = (most > 0) & (rise[rows[:, 0], most] > 10 ** (SMEAR_DB / 10))
    moved: NDArray[np.int64] = np.where(shows, best + later[most], best)
    return moved


def _split_cost(sums: list[Array], at: NDArray[np.int64]) -> Array:
    """at log var(before) + (n - at) log var(after), over all bands, for every split; shape (pieces, splits)."""
    length = sums[0].shape[1]
    cost = np.zeros((len(sums[0]), at.shape[1]))
    for (*_, weight), total in zip(FOOT_BANDS_HZ, sums, strict=True):
        whole = total[:, -1:]
        tiny = whole / length * 1e-9 + TINY
        head = _columns(total, at - 1)
        cost += weight * at * np.log(head / at + tiny)
        cost += weight * (length - at) * np.log((whole - head) / (length - at) + tiny)
    return cost


@lru_cache(maxsize=64)
def band(low: float, high: float, order: int, rate: int) -> Array:
    """Second-order sections of a band that ends where the sound does; the design costs more than filtering one stroke."""
    if high >= 0.45 * rate:
        sections: Array = signal.butter(order, min(low, 0.4 * rate), "highpass", fs=rate, output="sos")
    else:
        sections = signal.butter(order, (low, high), "bandpass", fs=rate, output="sos")
    return sections

"""A click that is not ours: no sound is known, only that it comes back the same at every beat of the grid.

Conventions: as in `ours`. All beats are laid over each other without any filter of a known sound. What a player
strikes differs from beat to beat by milliseconds and cancels; what a machine repeats stays. So a count-off by sticks
or voice, and the strokes themselves, are not taken for a click however regular they are.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, sosfilt

from ...music.click import ClickBeat
from ..baseband import Band, Spectrum, level_out, take_band
from ..struck.onsets import find_feet
from .beat_sums import energies, gather, ratio_steps, sum_beats

Array = NDArray[np.float64]

BAND_HZ = (700.0, 2_400.0)  # where beeps, wood blocks and cow bells have their tone
LEVEL_WINDOW_S = 0.030
WINDOW_S = 0.016  # energy is compared over this much: shorter than any click rings
BLUR_S = 0.003
DEGREES = WINDOW_S * (BAND_HZ[1] - BAND_HZ[0])  # independent values in a window
LOOK_S = 0.040  # the averaged click is looked at this far to both sides ...
EARLY_S = 0.020  # ... and begins no earlier before its coarse place; on made takes that was up to 16 ms late
RISE_SHARE = 0.35  # of the averaged click's largest energy in a millisecond
TAIL_SHARE = 0.35  # of the largest likeness: a room's answer returns as faithfully as the click itself
TAIL_S = 0.150
FOOT_SD_S = 0.45e-3  # of the foot of a mean click; measured on made takes
FOUND_EXCESS = 20.0  # 120 made takes without any click stayed under 17
LOUD_EXCESS = 35.0  # a click that fills a long room is alike all over the beat ...
HIGHPASS_HZ = 500.0  # rumble and bass drums do not average out as fast as they are loud
CLEAR_RISE = 8.0  # under this the mean's own foot cannot be told from noise
COARSE_LATE_S = 0.005  # how late the place of greatest likeness is against the foot; measured on made takes
LOUD_RISE = 20.0  # ... but its mean still begins at once: energy after the foot over energy before it


@dataclass(frozen=True)
class Comb:
    """One sound that returns at every beat."""

    zero_s: float  # the nearest place to the hypothesis where the beats' sound begins
    ratio: float
    excess: float  # how far the beats are more alike here than elsewhere, in standard deviations of chance
    likeness: float  # the same against chance alone
    rise: float = 1.0  # energy of the mean after its foot over energy before it
    peak: float = 0.0
    sd_s: float = 4e-3  # of the coarse place; measured on made takes

    @property
    def found(self) -> bool:
        return self.excess > FOUND_EXCESS or (self.likeness > LOUD_EXCESS and self.rise > LOUD_RISE)


def prepare_comb(spectrum: Spectrum) -> Band:
    """The band in which a strange click is looked for, levelled out."""
    return level_out(take_band(spectrum, *BAND_HZ), LEVEL_WINDOW_S)


def search_comb(band: Band, beats: tuple[ClickBeat, ...], near_s: float, beat_s: float) -> Comb | None:
    """The repeated sound within half a beat of near_s plus each beat, or None when too few beats lie in the file."""
    rows = [(beat.at_s, band.samples, 1.0) for beat in beats]
    gathered = gather(rows, band.rate, band.low_hz, near_s, 0.5 * beat_s)
    if gathered is None:
        return None
    ratios = ratio_steps([gathered])
    width = max(1, round(WINDOW_S * band.rate))
    sums = np.abs(fft.ifft(sum_beats(gathered, ratios), axis=1)) ** 2
    alike = uniform_filter1d(sums, width, axis=1, mode="wrap") / energies(gathered, ratios, width)
    k, at = (int(i) for i in np.unravel_index(int(np.argmax(alike)), alike.shape))
    usual = float(np.median(alike[k]))
    excess = (float(alike[k, at]) - usual) / max(usual, 1.0) * float(np.sqrt(DEGREES))
    likeness = (float(alike[k, at]) - 1.0) * float(np.sqrt(DEGREES))
    back = alike[k, max(0, at - round(TAIL_S * band.rate)) : at + 1]
    low = np.flatnonzero(back < TAIL_SHARE * back[-1])
    first = at - len(back) + 1 + (int(low[-1]) + 1 if len(low) else 0) + width // 2
    at_s = near_s + min(first, at) / gathered.rate - 0.5 * beat_s
    ratio = float(ratios[k])
    return Comb(at_s - gathered.middle_s * ratio, 1.0 + ratio, excess, likeness)


def refine_comb(mono: NDArray[np.floating], rate: int, beats: tuple[ClickBeat, ...], found: Comb) -> Comb:
    """The comb with the foot of its averaged sound as its time, and that sound's peak."""
    look, count = round(LOOK_S * rate), 2 * round(LOOK_S * rate)
    starts = np.array([round((found.zero_s + found.ratio * beat.at_s) * rate) - look for beat in beats])
    rows = np.array([mono[k : k + count] for k in starts if k >= 0 and k + count <= len(mono)], np.float64)
    if len(rows) < 4:
        return found
    weights = 1.0 / (np.sum(rows**2, axis=1) + 1e-12)
    mean = rows[0]
    for _ in range(4):
        mean = weights @ rows / weights.sum()
        left = np.sum((rows - mean) ** 2, axis=1)
        weights = 1.0 / (left + 0.1 * float(np.median(left)) + 1e-15)
    whole, mean = mean, sosfilt(butter(2, HIGHPASS_HZ, "highpass", fs=rate, output="sos"), mean)
    smooth = uniform_filter1d(mean**2, max(1, rate // 1000))
    near = round((LOOK_S - EARLY_S) * rate)  # what sounds before it already has its foot elsewhere: strokes on the beats
    first = near + int(np.argmax(smooth[near:] >= RISE_SHARE * smooth[near:].max()))
    feet, _ = find_feet(whole, rate, np.array([first / rate]))
    foot = float(feet[0])
    at = min(round(foot * rate), count - rate // 100)
    before = float(np.mean(mean[max(0, at - rate // 50) : max(1, at - rate // 2000)] ** 2))
    rise = float(np.mean(mean[at : at + rate // 100] ** 2)) / (before + 1e-20)
    peak = float(np.abs(mean).max())
    if rise < CLEAR_RISE or first == near:
        return replace(found, zero_s=found.zero_s - COARSE_LATE_S, rise=rise, peak=peak)
    return replace(found, zero_s=found.zero_s + foot - LOOK_S, rise=rise, peak=peak, sd_s=FOOT_SD_S)

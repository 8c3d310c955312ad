"""Our own click under the drums: all its beats summed before a peak is looked for.

Conventions: times in seconds of file time; a click's time is its first sample; `ratio` is file seconds a click
second. Every beat carries a known sign, so the right place and ratio add up and every other one cancels; the phone
may turn the sign of all of them round.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from ..music.click import CLICK_PEAK, ClickLayout, click_wave
from .baseband import Band, Spectrum, level_out, take_band

Array = NDArray[np.float64]
Complex2 = NDArray[np.complex64]

SEARCH_HZ = (1_200.0, 3_400.0)  # all clicks' sweeps with their edges
LEVEL_WINDOW_S = 0.030  # about two clicks: a stroke's ring is levelled out, a click is not
RATIO_REACH = 250e-6  # phones and players' devices: twice what quartz is sold with, on both sides
REACH_S = 0.090  # how far a zero from the strokes may be off: push or drag of a beginner and more
FAR_TOP = 4.5  # found: the sum stands this many times over its own noise ...


@dataclass(frozen=True)
class ClickSum:
    """The best place of a summed click near one hypothesis."""

    zero_s: float
    ratio: float
    height: float  # half the squared ratio of the peak to the sum's own noise, as for marks
    sd_s: float


@dataclass(frozen=True)
class _Gathered:
    """The matched filter's answer around every beat: spectra (beats, points) of pieces 2 * reach long."""

    spectra: Complex2
    at_s: Array  # (beats,)
    hz: Array  # (points,) true frequency of each bin
    rate: float
    points: int


def prepare(spectrum: Spectrum) -> Band:
    """The band in which clicks are looked for, levelled out."""
    return level_out(take_band(spectrum, *SEARCH_HZ), LEVEL_WINDOW_S)


def matched(band: Band, rate: int = 48_000) -> dict[str, NDArray[np.complex64]]:
    """The matched filter's answer by kind of click, over the whole band."""
    bins = fft.fft(band.samples)
    out = {}
    for kind in CLICK_PEAK:
        wave = band.shifted_template(click_wave(kind, rate), rate)
        wave /= np.sqrt(np.sum(np.abs(wave) ** 2) / len(wave))
        out[kind] = fft.ifft(bins * np.conj(wave))
    return out


def search_click(
    band: Band, answers: dict[str, NDArray[np.complex64]], layout: ClickLayout, near_s: float, reach_s: float = REACH_S
) -> ClickSum | None:
    """The click whose zero lies within reach_s of near_s, or None when the file holds too few of its beats."""
    gathered = _gather(band, answers, layout, near_s, reach_s)
    if gathered is None:
        return None
    step = 0.12e-3 / max(float(np.ptp(gathered.at_s)) / 2, 1.0)  # a quarter period at 2 kHz, at the far beats
    ratios = np.arange(-RATIO_REACH, RATIO_REACH + step, step)
    middle = float(gathered.at_s.mean())
    turn = np.exp(2j * np.pi * np.outer(gathered.at_s - middle, gathered.hz) * step).astype(np.complex64)
    now = gathered.spectra * np.exp(2j * np.pi * np.outer(gathered.at_s - middle, gathered.hz) * ratios[0]).astype(
        np.complex64
    )
    sums = np.empty((len(ratios), gathered.points), np.complex64)
    for k in range(len(ratios)):
        sums[k] = now.sum(axis=0)
        now *= turn
    size = np.abs(fft.ifft(sums, axis=1))
    noise = float(np.median(size)) / 1.1774
    k, at = (int(i) for i in np.unravel_index(int(np.argmax(size)), size.shape))
    fine = _peak(fft.ifft(_dense(sums[k], 8)), at * 8) / 8
    offset = fine / gathered.rate - reach_s
    ratio = 1.0 + float(ratios[k]) + _vertex(size[:, at], k) * step
    height = 0.5 * (float(size[k, at]) / (noise + 1e-20)) ** 2
    sd = 1.0 / (2 * np.pi * 250.0 * np.sqrt(2 * max(height, 0.5)))  # 250 Hz: rms width of a click's band
    return ClickSum(near_s + offset - middle * (ratio - 1.0), ratio, height, float(sd))


def _gather(
    band: Band, answers: dict[str, NDArray[np.complex64]], layout: ClickLayout, near_s: float, reach_s: float
) -> _Gathered | None:
    points = 2 * round(reach_s * band.rate) + 1
    rows, times, shifts, weights = [], [], [], []
    for beat in layout.beats:
        start = (near_s + beat.at_s - reach_s) * band.rate
        first = int(np.floor(start))
        if first < 0 or first + points >= len(band.samples):
            continue
        rows.append(answers[beat.kind][first : first + points])
        times.append(beat.at_s)
        shifts.append((start - first) / band.rate)
        weights.append(beat.sign * CLICK_PEAK[beat.kind] / CLICK_PEAK["down"])
    if len(rows) < 4:
        return None
    size = fft.next_fast_len(points)
    hz = band.low_hz + np.arange(size) * (band.rate / size)
    spectra = fft.fft(np.array(rows), size, axis=1)
    spectra *= np.array(weights, np.float32)[:, None]
    # A band's sample at time t carries exp(-2 pi i low t): the fraction of a sample and the carrier of each
    # beat's own place are turned back so that equal clicks are equal complex numbers.
    starts = np.array([near_s + t - reach_s for t in times])
    phase = np.exp(2j * np.pi * (np.outer(shifts, hz - band.low_hz) + band.low_hz * starts[:, None]))
    spectra *= phase.astype(np.complex64)
    return _Gathered(spectra.astype(np.complex64), np.array(times), hz, band.rate, size)


def _dense(spectrum: NDArray[np.complex64], times: int) -> NDArray[np.complex64]:
    out = np.zeros(len(spectrum) * times, np.complex64)
    out[: len(spectrum)] = spectrum
    return out


def _peak(dense: NDArray[np.complex64], near: int) -> float:
    size = np.abs(dense)
    low = max(0, near - 12)
    k = low + int(np.argmax(size[low : near + 13]))
    return k + _vertex(size, k)


def _vertex(values: NDArray[np.floating], k: int) -> float:
    """Where between its neighbours the top of a parabola through k lies, in steps; 0 at the edges."""
    if not 0 < k < len(values) - 1:
        return 0.0
    left, top, right = (float(v) for v in values[k - 1 : k + 2])
    bend = left - 2 * top + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0

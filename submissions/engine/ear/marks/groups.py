"""The sync marks: found by a matched filter, timed by their first arrival.

Conventions: times in seconds of file time are those of a group's first chirp. A filter always has a strongest peak:
`height` says how unlikely it is in noise (half the squared ratio to the noise's own size, so that noise alone exceeds
h with probability exp(-h) in one place), and nothing here believes a mark; `alignment` does, once the groups agree.

Source of the compression filter: any radar textbook (a matched filter with a tapered spectrum against side lobes).
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d

from ...music.click import (
    MARK_GAINS,
    MARK_GROUP_S,
    MARK_HIGH_HZ,
    MARK_LOW_HZ,
    MARK_OFFSETS_S,
    MARK_S,
    mark_offsets_s,
    mark_wave,
)
from ..baseband import Spectrum, level_out, take_band, template
from .arrivals import Kernel, first_of_pair, first_peak, vertex

Array = NDArray[np.float64]

SEARCH_HZ = (MARK_LOW_HZ - 100.0, MARK_HIGH_HZ + 100.0)  # the chirps' band and their edges
LEVEL_WINDOW_S = 0.060  # under a chirp's length: a drum stroke is levelled out before it can cover a chirp
STRETCHES_PPM = (-95.0, 95.0)  # about them a group's four chirps add up within 1 dB up to 200 ppm
CANDIDATES = 8
APART_S = 0.004
EDGE_S = 0.010  # a chirp's faded edge may be cut off
LEAST_HEIGHT = 8.0
PIECE = 16_384  # samples of the band matched at a time: some groups long
QUANTILE_STEP = 4  # an answer is nearly the same from one sample to the next
ALIVE_POWER = 0.1  # of a levelled sound's 1: under this is digital silence, which tells nothing of the noise
FINE_HZ = (1_400.0, 6_600.0)
FINE_BEFORE_S, FINE_AFTER_S = 0.012, 0.012
FINE_S = FINE_BEFORE_S + MARK_GROUP_S + FINE_AFTER_S + 0.03
OVERSAMPLING = 16
KERNEL_S = 0.02  # far longer than all that is laid against it
IN_STEP, LOUD_ENOUGH = 0.7, 0.5  # likeness of chirps, and by their sizes alone: automatic gain makes four as loud 0.6
ODD_CLOCKS_PPM = (-210.0, -140.0, -70.0, 70.0, 140.0, 210.0)
LIKE_S = 0.003  # the two groups' answers are compared over this before and twice this after their first arrival
ALIKE = 0.7  # of two answers of one path; noise 15 dB over the marks leaves more


@dataclass(frozen=True)
class MarkGroup:
    """One place where a group of chirps may be."""

    at_s: float  # first arrival of the first chirp
    height: float
    likeness: float  # of its chirps to a group's, 0..1; 1 before they have been looked at
    sd_s: float
    rising: bool
    clock: float = 1.0  # file seconds a click second, as far as its own chirps tell


@dataclass(frozen=True)
class Arrival:
    """A timed group and what the path answered to its chirps: complex, `rate` points a second from begin_s on."""

    group: MarkGroup
    response: NDArray[np.complex128]
    begin_s: float
    rate: int
    noise: float  # of the response, by what its chirps differ


def search_marks(spectrum: Spectrum) -> tuple[list[MarkGroup], list[MarkGroup]]:
    """Places where a start and where an end group may be, each by falling height, at most CANDIDATES.

    A group may begin before the file does.
    """
    band = level_out(take_band(spectrum, *SEARCH_HZ), LEVEL_WINDOW_S)
    power = band.samples.real**2 + band.samples.imag**2
    alive = uniform_filter1d(power, max(1, round(LEVEL_WINDOW_S * band.rate))) > ALIVE_POWER
    seconds = spectrum.length / spectrum.rate
    before = min(round(MARK_OFFSETS_S[-1] * band.rate), len(band.samples) // 2)
    reach = round((MARK_GROUP_S + EDGE_S) * band.rate)
    templates = [*_groups(band.low_hz, band.rate, True), *_groups(band.low_hz, band.rate, False)]
    sizes = [np.abs(answer) for answer in band.match(templates, reach, before)]
    half = len(sizes) // 2
    return (
        _candidates(np.maximum.reduce(sizes[:half]), alive, before, band.rate, seconds, True),
        _candidates(np.maximum.reduce(sizes[half:]), alive, before, band.rate, seconds, False),
    )


def _candidates(
    size: NDArray[np.float32], alive: NDArray[np.bool_], before: int, rate: float, seconds: float, rising: bool
) -> list[MarkGroup]:
    """The highest places, none within APART_S of a higher one; size begins `before` places before the file does."""
    heard = size[before:][alive]
    noise = float(np.median(heard[::QUANTILE_STEP])) / 1.1774 if len(heard) else 1.0  # median of a Rayleigh variable
    left = size[: before + int(seconds * rate)].copy()
    found: list[MarkGroup] = []
    reach = round(APART_S * rate)
    for _ in range(CANDIDATES if len(left) else 0):
        k = int(np.argmax(left))
        height = 0.5 * (float(left[k]) / (noise + 1e-12)) ** 2
        if height < LEAST_HEIGHT:
            break
        found.append(MarkGroup((k - before) / rate, height, 1.0, 0.5 / rate, rising))
        left[max(0, k - reach) : k + reach + 1] = 0.0
    return found


@lru_cache(maxsize=8)
def _groups(low_hz: float, rate: float, rising: bool) -> tuple[NDArray[np.complex64], ...]:
    """Spectra of a whole group in a band from low_hz at `rate`, one for each of STRETCHES_PPM."""
    wave = template(mark_wave(48_000, rising), 48_000, low_hz, rate, PIECE)
    hz = low_hz + np.arange(PIECE) * (rate / PIECE)
    turns = [-2j * np.pi * np.array(mark_offsets_s(rising)) * (1 + ppm * 1e-6) for ppm in STRETCHES_PPM]
    return tuple((wave * (_gains(rising) @ np.exp(np.outer(turn, hz)))).astype(np.complex64) for turn in turns)


def refine(mono: NDArray[np.floating], rate: int, group: MarkGroup) -> Arrival:
    """The group with its first peak to a small part of a sample, at the sound's full rate.

    Chirps as loud as a group's that do not add up come from a clock that is odd: then it is looked for.
    """
    plain, by_size = _refine(mono, rate, group, 1.0)
    if plain.group.likeness > IN_STEP or by_size < LOUD_ENOUGH:
        return plain
    others = [_refine(mono, rate, group, 1 + ppm * 1e-6)[0] for ppm in ODD_CLOCKS_PPM]
    return max([plain, *others], key=lambda one: one.group.likeness)


def _refine(mono: NDArray[np.floating], rate: int, group: MarkGroup, stretch: float) -> tuple[Arrival, float]:
    """The group timed by this clock, and the likeness of its chirps by their sizes alone."""
    start = round((group.at_s - FINE_BEFORE_S) * rate)
    responses = _chirp_responses(mono, rate, start, group.rising, stretch)
    inside = _inside_file(group, len(mono) / rate, stretch)
    gains = np.where(inside, _gains(group.rising), 0.0)[:, None]
    mean = (gains * responses).sum(axis=0) / (np.sum(gains**2) + 1e-20)
    rest = (responses - gains * mean)[inside]
    count = max(2, int(inside.sum()))
    spread = float(np.mean(np.abs(rest) ** 2)) if len(rest) else 0.0
    noise = float(np.sqrt(spread * count / (count - 1) / (np.sum(gains**2) + 1e-20)))  # of the chirps' weighted mean
    at, top = first_peak(np.abs(mean), noise)
    likeness = _likeness(responses[:, round(at)], gains[:, 0])
    width_s = 1.0 / (2 * np.pi * 0.18 * (FINE_HZ[1] - FINE_HZ[0]))  # 0.18: rms width of a Hann spectrum
    sd = float(np.hypot(width_s * noise / (top + 1e-20) / np.sqrt(2), 4e-6))
    at_s = start / rate + at / (rate * OVERSAMPLING)
    fine = MarkGroup(at_s, group.height, likeness, sd, group.rising, stretch)
    by_size = _likeness(np.abs(responses[:, round(at)]).astype(np.complex128), gains[:, 0])
    return Arrival(fine, mean, start / rate, rate * OVERSAMPLING, noise), by_size


def first_arrival(peak: Arrival) -> Arrival:
    """The refined group with the first arrival of two that make one peak, where there are two."""
    k = round((peak.group.at_s - peak.begin_s) * peak.rate)
    pair = first_of_pair(peak.response, peak.rate, peak.noise, k, _kernel(peak.rate // OVERSAMPLING))
    if pair is None:
        return peak
    sd = float(np.hypot(peak.group.sd_s, pair.sd_s))
    return replace(peak, group=replace(peak.group, at_s=peak.begin_s + k / peak.rate + pair.delay_s, sd_s=sd))


def _inside_file(group: MarkGroup, seconds: float, stretch: float) -> NDArray[np.bool_]:
    """Which of the group's chirps the file holds whole, (4,)."""
    at = group.at_s + stretch * np.array(mark_offsets_s(group.rising))
    return np.asarray((at > -EDGE_S) & (at + MARK_S < seconds + EDGE_S))


def _likeness(chirps: NDArray[np.complex128], gains: Array) -> float:
    """How much of the energy of the answers lies where a group has it, less what one loud chirp alone would show.

    A group's own echo in the search, one chirp on the place of another, has one chirp and nothing where three are
    due. 1 for a whole group, 0 for a single chirp, whatever the sound's level; 0 where fewer than two are heard.
    """
    there = gains > 0
    if int(there.sum()) < 2:
        return 0.0
    energy = float(np.sum(np.abs(chirps[there]) ** 2)) + 1e-30
    share = float(np.abs(gains @ chirps) ** 2) / energy / float(gains @ gains)
    alone = float(gains.max() ** 2 / (gains @ gains))
    return max(0.0, (share - alone) / (1 - alone))


def _chirp_responses(
    mono: NDArray[np.floating], rate: int, start: int, rising: bool, stretch: float
) -> NDArray[np.complex128]:
    """What the path answers to each chirp, (4, points), OVERSAMPLING points a sample from sample `start` on."""
    count = round(FINE_S * rate)
    piece = np.zeros(count)
    low, high = max(start, 0), min(start + count, len(mono))
    piece[low - start : max(low, high) - start] = mono[low : max(low, high)]
    size, hz, wave, levelled = _filter(rate, rising)
    first, count_in = _inside(hz)
    inside = slice(first, first + count_in)
    flat = fft.rfft(piece, size)[inside] * (levelled * np.conj(wave))[inside]
    step = _step(rate)
    window = round((FINE_BEFORE_S + FINE_AFTER_S) * rate) // step * step
    each = np.zeros((len(MARK_GAINS), size // step), np.complex128)
    for row, offset in zip(each, mark_offsets_s(rising), strict=True):
        row[:count_in] = flat * np.exp(2j * np.pi * hz[inside] * offset * stretch)
    return np.array([_analytic(row, float(hz[first]), rate, step, window) for row in each])


def _step(rate: int) -> int:
    """Samples between two of the fine band's own, which must not be slower than it is wide."""
    return max(step for step in (8, 6, 4, 2, 1) if rate / step > 1.02 * (FINE_HZ[1] - FINE_HZ[0]) or step == 1)


def _inside(hz: Array) -> tuple[int, int]:
    """(first, count) of the frequencies inside the fine band."""
    inside = np.flatnonzero((hz > FINE_HZ[0]) & (hz < min(FINE_HZ[1], 0.96 * float(hz[-1]))))
    return int(inside[0]), len(inside)


@lru_cache(maxsize=8)
def _filter(rate: int, rising: bool) -> tuple[int, Array, NDArray[np.complex128], Array]:
    """(points, their frequencies, one chirp's spectrum, what to weigh by before it is taken out) at full rate."""
    step = _step(rate)
    size = step * fft.next_fast_len(2 * round(FINE_S * rate) // step + 1)
    hz = fft.rfftfreq(size, 1 / rate)
    wave = fft.rfft(mark_wave(rate, rising), size)
    first, count = _inside(hz)
    taper = np.zeros(len(hz))
    taper[first : first + count] = np.hanning(count)
    power = np.abs(wave) ** 2
    return size, hz, wave, taper / (power + 0.05 * power.max())


@lru_cache(maxsize=4)
def _kernel(rate: int) -> Kernel:
    """The answer of a path of one arrival, at frequencies so far apart that it repeats after KERNEL_S only."""
    _, hz, wave, levelled = _filter(rate, True)
    size = levelled * np.abs(wave) ** 2
    inside = np.flatnonzero(size)[:: max(1, round(1 / (KERNEL_S * float(hz[1]))))]
    return Kernel(hz[inside], size[inside])


def apart_s(first: Arrival, last: Arrival) -> float:
    """Seconds from the first group to the last by the likeness of their whole answers: echoes help, not harm.

    Where the path changed in between (the answers are unlike), the distance of the first arrivals.
    """
    plain = last.group.at_s - first.group.at_s
    half = round(LIKE_S * first.rate)
    a, b = (_around(one, half) for one in (first, last))
    size = fft.next_fast_len(2 * len(a))
    likeness = np.abs(fft.ifft(fft.fft(b, size) * np.conj(fft.fft(a, size))))
    likeness /= np.sqrt(np.sum(np.abs(a) ** 2) * np.sum(np.abs(b) ** 2)) + 1e-30
    reach = round(2 * LIKE_S * first.rate)
    near = np.concatenate([likeness[-reach:], likeness[: reach + 1]])
    k = int(np.argmax(near))
    if near[k] < ALIKE:
        return plain
    centres = (round((one.group.at_s - one.begin_s) * one.rate) / one.rate + one.begin_s for one in (first, last))
    begin, end = centres
    return end - begin + (k - reach + vertex(near, k)) / first.rate


def _around(arrival: Arrival, half: int) -> NDArray[np.complex128]:
    """The answer from half before its first arrival to twice half after it; nought where it is not known."""
    centre = round((arrival.group.at_s - arrival.begin_s) * arrival.rate)
    out = np.zeros(3 * half, np.complex128)
    low, high = max(centre - half, 0), min(centre + 2 * half, len(arrival.response))
    out[low - centre + half : high - centre + half] = arrival.response[low:high]
    return out


def _gains(rising: bool) -> Array:
    return np.array(MARK_GAINS if rising else MARK_GAINS[::-1])


def _analytic(band: NDArray[np.complex128], low_hz: float, rate: int, step: int, window: int) -> NDArray[np.complex128]:
    """The one-sided signal's first `window` samples, OVERSAMPLING times as dense, from its bins from low_hz on.

    The band alone is turned back, every `step` samples, then made dense and lifted to where it belongs.
    """
    short: NDArray[np.complex128] = fft.ifft(band)[: window // step] / step
    size = len(short) * step * OVERSAMPLING
    bins = fft.fft(short)
    dense = np.zeros(size, np.complex128)
    dense[: len(short)] = bins
    lift = np.exp(2j * np.pi * low_hz / (rate * OVERSAMPLING) * np.arange(size))
    out: NDArray[np.complex128] = fft.ifft(dense) * lift * (step * OVERSAMPLING)
    return out


__all__ = ["Arrival", "MarkGroup", "apart_s", "first_arrival", "refine", "search_marks"]

"""One transform of the whole sound, from which every search takes the band it needs as a slow complex signal.

Conventions: a band is sampled at `rate` Hz, complex, sample k at k / rate seconds of file time: a real tone of
frequency f inside the band becomes exp(2 pi i (f - low_hz) t). Cutting the band out of the spectrum delays nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d

Complex = NDArray[np.complex64]
SILENT_POWER = 1e-9  # of the loud part: 90 dB under it, beneath the noise of any microphone
SLOPE_HZ = 150.0
QUANTILE_STEP = 16  # smoothed energy is nearly the same from one sample to the next
GRID = 192  # every band edge and band rate is the sample rate times a whole number over this: 250 Hz at 48 kHz
HIGHEST_HZ = 7_000.0  # no search takes a band above it: the marks end at 6.5 kHz
FLAT_SHARE = 0.91  # of half the new rate: to there a resampler's "HQ" changes nothing (-130 dB, measured)
MARGIN = 64  # samples: a template cut out of a band rings a little before it begins and after it ends


@dataclass(frozen=True)
class Spectrum:
    """The transform of a sound up to HIGHEST_HZ at least, zero-padded to a multiple of GRID samples."""

    bins: Complex
    size: int  # samples transformed, at rate
    rate: int
    length: int  # samples of the sound itself

    def grid(self, low_hz: float, width_hz: float) -> tuple[int, int]:
        """(steps of rate / GRID below the band, divisor q of GRID so that rate / q is at least width_hz)."""
        steps = int(low_hz * GRID / self.rate)
        fits = [q for q in range(1, GRID + 1) if GRID % q == 0 and self.rate / q >= width_hz]
        return steps, max(fits, default=1)


@dataclass(frozen=True)
class Band:
    """A slow complex copy of one band of the sound."""

    samples: Complex
    rate: float
    low_hz: float

    def match(self, templates: Sequence[Complex], reach: int, before: int = 0) -> list[Complex]:
        """How alike the band is to each template from every sample on, (before + len(samples),) each.

        templates: spectra of one size, the waves at most `reach` samples long; before: places before the file's
        beginning that are looked at too. Piece by piece: the transform of a whole file takes five times as long as
        transforms that stay in the processor's cache.
        """
        size = len(templates[0])
        hop = size - reach - 2 * MARGIN
        count = before + len(self.samples)
        pieces = -(-count // hop)
        padded = np.zeros(pieces * hop + size, np.complex64)
        padded[MARGIN + before : MARGIN + count] = self.samples
        bins = fft.fft(np.lib.stride_tricks.sliding_window_view(padded, size)[: pieces * hop : hop], axis=1)
        return [
            fft.ifft(bins * np.conj(template), axis=1)[:, MARGIN : MARGIN + hop].ravel()[:count]
            for template in templates
        ]


def transform(mono: NDArray[np.floating], rate: int) -> Spectrum:
    """The spectrum of mono, shape (n,), at rate Hz."""
    step = max(k for k in (1, 2, 3, 4, 6) if k == 1 or FLAT_SHARE * rate / k > 2 * HIGHEST_HZ)
    size = GRID * fft.next_fast_len(max(1, -(-len(mono) // GRID)), real=True)
    slow = mono.astype(np.float32)
    if step > 1:
        slow = soxr.resample(slow, rate, rate / step, quality="HQ")[: size // step]
    return Spectrum(fft.rfft(slow, size // step) * np.float32(step), size, rate, len(mono))


def template(wave: NDArray[np.float64], wave_rate: int, low_hz: float, rate: float, size: int) -> Complex:
    """The spectrum of a real wave as a band from low_hz at `rate` holds it, on the grid of `size` samples, (size,)."""
    hz = low_hz + np.arange(size) * (rate / size)
    coarse = fft.next_fast_len(8 * len(wave))
    known = fft.fft(wave, coarse)[: coarse // 2]
    known_hz = np.arange(coarse // 2) * (wave_rate / coarse)
    inside: Complex = np.interp(hz, known_hz, known, right=0.0).astype(np.complex64)
    return inside


def take_band(spectrum: Spectrum, low_hz: float, high_hz: float) -> Band:
    """The band from low_hz to high_hz; what lies above half the sample rate is nought."""
    steps, q = spectrum.grid(low_hz, high_hz - low_hz)
    first, count = steps * (spectrum.size // GRID), spectrum.size // q
    bin_hz = spectrum.rate / spectrum.size
    piece = np.zeros(count, np.complex64)
    low, high = (int(np.clip(edge_hz / bin_hz - first, 0, count)) for edge_hz in (low_hz, high_hz))
    inside = spectrum.bins[first + low : first + high]
    piece[low : low + len(inside)] = inside * np.float32(2 * count / spectrum.size)
    # Edges as slopes: a band cut off sharply rings for seconds into silence, where levelling out would raise it.
    wide = min(int(SLOPE_HZ / bin_hz), count)
    slope = (np.arange(wide, dtype=np.float32) + np.float32(0.5)) / np.float32(max(wide, 1))
    slope *= slope * (3 - 2 * slope)
    piece[low : low + wide] *= slope[: count - low]
    piece[high - wide : high] *= slope[::-1]
    return Band(fft.ifft(piece), spectrum.rate / q, first * bin_hz)


def level_out(band: Band, window_s: float, floor_share: float = 1e-3, exponent: float = 0.5) -> Band:
    """The band with its local energy made 1: what is loud for a moment then counts no more than what is soft.

    An exponent over 0.5 (of the energy) makes what is loud count less.
    """
    power = band.samples.real**2 + band.samples.imag**2
    local = uniform_filter1d(power, max(1, round(window_s * band.rate)), mode="constant")
    middle, loud = np.quantile(local[::QUANTILE_STEP], (0.5, 0.95))
    # Digital silence is not quite nought after a transform; what is left there must not be raised to a signal.
    floor = max(middle * floor_share, loud * SILENT_POWER) + 1e-20
    scale = np.sqrt(local + floor) if exponent == 0.5 else ((local + floor) / (middle + floor)) ** exponent
    return Band((band.samples / scale).astype(np.complex64), band.rate, band.low_hz)

"""One transform of the whole sound, from which every search takes the band it needs as a slow complex signal.

Conventions: a band is sampled at `rate` Hz, complex, sample k at k / rate seconds of file time: a real tone of
frequency f inside the band becomes exp(2 pi i (f - low_hz) t). Cutting the band out of the spectrum delays nothing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d

Complex = NDArray[np.complex64]
SILENT_POWER = 1e-9  # of the loud part: 90 dB under it, beneath the noise of any microphone
SLOPE_HZ = 150.0
QUANTILE_STEP = 16  # smoothed energy is nearly the same from one sample to the next
GRID = 192  # every band edge and band rate is the sample rate times a whole number over this: 250 Hz at 48 kHz


@dataclass(frozen=True)
class Spectrum:
    """The transform of a sound, zero-padded to a multiple of GRID samples."""

    bins: Complex
    size: int
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

    def shifted_template(self, wave: NDArray[np.float64], wave_rate: int) -> Complex:
        """The spectrum of a real wave on this band's own frequency grid, shape (len(samples),)."""
        size = len(self.samples)
        hz = self.low_hz + np.arange(size) * (self.rate / size)
        coarse = fft.next_fast_len(8 * len(wave))
        known = fft.fft(wave, coarse)[: coarse // 2]
        known_hz = np.arange(coarse // 2) * (wave_rate / coarse)
        inside: Complex = (
            np.interp(hz, known_hz, known.real, right=0.0) + 1j * np.interp(hz, known_hz, known.imag, right=0.0)
        ).astype(np.complex64)
        return inside


def transform(mono: NDArray[np.floating], rate: int) -> Spectrum:
    """The spectrum of mono, shape (n,), at rate Hz."""
    size = GRID * fft.next_fast_len(max(1, -(-len(mono) // GRID)), real=True)
    return Spectrum(fft.rfft(mono.astype(np.float32), size), size, rate, len(mono))


def take_band(spectrum: Spectrum, low_hz: float, high_hz: float) -> Band:
    """The band from low_hz to high_hz; what lies above half the sample rate is nought."""
    steps, q = spectrum.grid(low_hz, high_hz - low_hz)
    first, count = steps * (spectrum.size // GRID), spectrum.size // q
    piece = np.zeros(count, np.complex64)
    inside = spectrum.bins[first : first + count]
    piece[: len(inside)] = inside
    # Edges as slopes: a band cut off sharply rings for seconds into silence, where levelling out would raise it.
    hz = steps * spectrum.rate / GRID + np.arange(count) * (spectrum.rate / spectrum.size)
    slope = np.clip(np.minimum(hz - low_hz, high_hz - hz) / SLOPE_HZ, 0.0, 1.0).astype(np.float32)
    piece *= slope * slope * (3 - 2 * slope)
    scale = np.float32(2 * count / spectrum.size)
    return Band(fft.ifft(piece) * scale, spectrum.rate / q, steps * spectrum.rate / GRID)


def level_out(band: Band, window_s: float, floor_share: float = 1e-3, exponent: float = 0.5) -> Band:
    """The band with its local energy made 1: what is loud for a moment then counts no more than what is soft.

    An exponent over 0.5 (of the energy) makes what is loud count less.
    """
    power = (band.samples.real**2 + band.samples.imag**2).astype(np.float64)
    local = uniform_filter1d(power, max(1, round(window_s * band.rate)), mode="constant")
    middle, loud = np.quantile(local[::QUANTILE_STEP], (0.5, 0.95))
    # Digital silence is not quite nought after a transform; what is left there must not be raised to a signal.
    floor = max(middle * floor_share, loud * SILENT_POWER) + 1e-20
    scale = np.sqrt(local + floor) if exponent == 0.5 else ((local + floor) / (middle + floor)) ** exponent
    return Band((band.samples / scale).astype(np.complex64), band.rate, band.low_hz)

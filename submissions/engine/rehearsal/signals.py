"""Everything in a take that is not the drum: clicks, marks, count-off, voices, thumps; drawn into a buffer.

Conventions: buffers are mono float64 at the recording's rate; `at_s` is file time of the buffer; clicks and marks
are placed between samples by a band-limited shift, so their truth is exact to a nanosecond.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from ..music.click import click_wave, mark_group

Mono = NDArray[np.float64]
PAD = 64  # samples around a shifted wave for the ringing of the band-limited shift


def add(buffer: Mono, wave: NDArray[np.floating], at: int) -> None:
    """Add a wave at sample `at`, cutting what falls outside."""
    start, skip = max(at, 0), max(-at, 0)
    stop = min(len(buffer), at + len(wave))
    if stop > start:
        buffer[start:stop] += wave[skip : skip + stop - start]


def add_between(buffer: Mono, wave: Mono, at_s: float, rate: int) -> None:
    """Add a wave whose first sample lies at at_s exactly, whatever the fraction of a sample."""
    place = at_s * rate
    whole = int(np.floor(place))
    fraction = place - whole
    padded = np.pad(wave, PAD)
    spectrum = np.fft.rfft(padded) * np.exp(-2j * np.pi * np.fft.rfftfreq(len(padded)) * fraction)
    add(buffer, np.fft.irfft(spectrum, len(padded)), whole - PAD)


@lru_cache(maxsize=32)
def click_sound(sound: str, kind: str, rate: int) -> Mono:
    """One click by name, peak 1: "ours", or a stranger's "beep" or "woodblock" (lower off the downbeat)."""
    if sound == "ours":
        return click_wave(kind, rate)
    pitch = {"down": 1.5, "beat": 1.0, "sub": 0.75}[kind]
    base_hz, fall_s, length_s = {"beep": (880.0, 0.2, 0.05), "woodblock": (1_250.0, 0.012, 0.05)}[sound]
    t = np.arange(round(length_s * rate)) / rate
    wave = np.sin(2 * np.pi * base_hz * pitch * t) + 0.4 * np.sin(2 * np.pi * 2.7 * base_hz * pitch * t)
    wave *= np.exp(-t / fall_s) * np.minimum(1, t / 0.0008) * np.minimum(1, (length_s - t) / 0.004)
    out: Mono = wave / np.abs(wave).max()
    return out


@lru_cache(maxsize=8)
def marks_sound(rate: int, rising: bool) -> Mono:
    """One group of sync marks, peak about 1."""
    return mark_group(rate, rising)


def through_headphones(sound: Mono, rate: int) -> Mono:
    """What leaks out of headphones: thin, without bass and without the very top."""
    out: Mono = sosfilt(butter(1, (1_000.0, 7_000.0), "bandpass", fs=rate, output="sos"), sound)
    return out


def through_speaker(sound: Mono, rate: int) -> Mono:
    """A small loudspeaker."""
    out: Mono = sosfilt(butter(2, (350.0, 9_000.0), "bandpass", fs=rate, output="sos"), sound)
    return out


def stick_click(rate: int, rng: np.random.Generator) -> Mono:
    """Two sticks struck together, peak 1, starting at once."""
    t = np.arange(round(0.06 * rate)) / rate
    out = np.zeros(len(t))
    for base in (1_700.0, 2_650.0, 4_300.0, 6_100.0):
        out += rng.uniform(0.4, 1.0) * np.cos(2 * np.pi * base * rng.uniform(0.95, 1.05) * t) * np.exp(-t / 0.008)
    peak: float = float(np.abs(out).max())
    return out / peak


def spoken(length_s: float, rate: int, rng: np.random.Generator, sharp: bool = False) -> Mono:
    """A voice-like sound, peak 1: pulses at a speaking pitch through three formants; sharp starts like a shouted count."""
    n = round(length_s * rate)
    t = np.arange(n) / rate
    pitch = rng.uniform(95.0, 260.0) * (1 + 0.08 * np.sin(2 * np.pi * rng.uniform(2, 5) * t + rng.uniform(0, 6)))
    phase = np.cumsum(pitch) / rate
    pulses = np.diff(np.floor(phase), prepend=0.0) + 0.05 * rng.standard_normal(n)
    out = np.zeros(n)
    for low, high, share in ((300.0, 900.0, 1.0), (900.0, 2_200.0, 0.6), (2_300.0, 3_400.0, 0.3)):
        centre = rng.uniform(low, high)
        band = butter(1, (centre * 0.9, centre * 1.1), "bandpass", fs=rate, output="sos")
        out += share * sosfilt(band, pulses)
    rise_s = 0.012 if sharp else 0.05
    syllables = 1.0 if sharp else np.clip(np.sin(2 * np.pi * rng.uniform(2.5, 4.5) * t), 0, 1) ** 0.7
    out *= np.minimum(1, t / rise_s) * np.minimum(1, (length_s - t) / 0.05) * syllables
    return out / (np.abs(out).max() or 1.0)


def thump(rate: int, rng: np.random.Generator) -> Mono:
    """A phone that is picked up or set down: a low knock with a scrape, peak 1."""
    t = np.arange(round(0.25 * rate)) / rate
    out = np.sin(2 * np.pi * rng.uniform(45, 110) * t) * np.exp(-t / 0.04) * np.minimum(1, t / 0.002)
    out += 0.3 * rng.standard_normal(len(t)) * np.exp(-(((t - 0.05) / 0.03) ** 2))
    peak: float = float(np.abs(out).max())
    return np.asarray(out / peak, dtype=np.float64)

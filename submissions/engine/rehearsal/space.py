"""Rooms and noise. A room's direct sound has no delay: what is struck at sample k arrives first at sample k."""

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len
from scipy.signal import butter, oaconvolve, sosfilt

from .spec import Noise, Room

Mono = NDArray[np.float64]


def room_response(room: Room, rate: int, rng: np.random.Generator) -> Mono:
    """Impulse response: 1 at sample 0, single reflections to 40 ms, then noise that falls by 60 dB in rt60_s.

    The energy of everything after the direct sound lies room.direct_db under it.
    """
    if room.rt60_s <= 0:
        return np.ones(1)
    n = max(2, round(room.rt60_s * rate))
    t = np.arange(n) / rate
    late = rng.standard_normal(n) * np.exp(-6.908 * t / room.rt60_s) * np.clip((t - 0.004) / 0.02, 0, 1)
    late /= np.sqrt(np.sum(late**2)) or 1.0
    first = np.zeros(n)
    for _ in range(room.early):
        at = round(rng.uniform(0.0015, 0.04) * rate)
        if at < n:
            first[at] += rng.choice((-1.0, 1.0)) * rng.uniform(0.2, 1.0)
    first /= np.sqrt(np.sum(first**2)) or 1.0
    out: Mono = 0.75 * late + 0.66 * first
    out *= 10 ** (-room.direct_db / 20) / (np.sqrt(np.sum(out**2)) or 1.0)
    out[0] = 1.0
    return out


def in_room(dry: Mono, response: Mono) -> Mono:
    """The dry sound in the room, cut to its own length."""
    if len(response) == 1:
        return dry
    wet: Mono = oaconvolve(dry, response)[: len(dry)]
    return wet


def noise(spec: Noise, n: int, rate: int, rng: np.random.Generator) -> Mono:
    """Pink noise and mains hum with its harmonics, RMS as asked for."""
    out = np.zeros(n)
    if spec.pink_db is not None:
        out += 10 ** (spec.pink_db / 20) * pink(n, rng)
    if spec.hum_db is not None:
        t = np.arange(n) / rate
        hum = np.zeros(n)
        for k, share in ((1, 1.0), (2, 0.5), (3, 0.35), (5, 0.15)):
            hum += share * np.sin(2 * np.pi * k * spec.hum_hz * t + rng.uniform(0, 6.28))
        out += 10 ** (spec.hum_db / 20) * hum / hum.std()
    if spec.wind_db is not None:
        out += 10 ** (spec.wind_db / 20) * wind(n, rate, rng)
    return out


def wind(n: int, rate: int, rng: np.random.Generator) -> Mono:
    """Wind on a microphone, RMS 1: noise below 150 Hz under gusts of about a second."""
    rumble = sosfilt(butter(2, 150.0, fs=rate, output="sos"), rng.standard_normal(n))
    coarse = rng.standard_normal(n // rate + 4)
    gusts = np.interp(np.arange(n) / rate, np.arange(len(coarse)), np.clip(coarse, 0.1, None))
    out: Mono = rumble * gusts
    return out / (out.std() or 1.0)


def pink(n: int, rng: np.random.Generator) -> Mono:
    """Pink noise, RMS 1, shape (n,); it never repeats, so that nothing takes it for a loop."""
    size = next_fast_len(max(n, 16), real=True)
    spectrum = rng.standard_normal(size // 2 + 1) + 1j * rng.standard_normal(size // 2 + 1)
    spectrum /= np.sqrt(np.maximum(1.0, np.arange(size // 2 + 1)))
    series: Mono = np.fft.irfft(spectrum, size)[:n]
    return series / (series.std() or 1.0)

"""A phone's way from microphone to samples: filters, gain, limiter, ceiling, channels.

Every filter is a minimum-phase recursion, so that the first sample of an attack stays where it is; what a filter
adds to the delay of a band (0.01 to 0.1 ms for chirps of 1.5 to 6.5 kHz) is a phone's own and part of the truth.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

from .spec import Phone

Mono = NDArray[np.float64]
AGC_BLOCK = 64  # samples a gain step; interpolated, so no steps are heard


def record(mono: Mono, peak: float, phone: Phone, rng: np.random.Generator) -> NDArray[np.float32]:
    """What the phone stores, shape (n, channels). peak: the loudest stroke before the phone, put at phone.gain_db."""
    heard = filtered(mono, phone)
    heard = heard * (10 ** (phone.gain_db / 20) / (peak or 1.0))
    if phone.agc_db:
        heard = heard * _automatic_gain(heard, phone)
    if phone.limit:
        heard = np.tanh(heard)
    sides = [heard]
    if phone.channels == 2:
        late = round(rng.uniform(0.0, 4e-4) * phone.rate)  # the second microphone is up to 14 cm further away
        second = np.concatenate([np.zeros(late), heard])[: len(heard)] * rng.uniform(0.7, 1.0)
        sides.append(np.zeros_like(heard) if phone.dead_channel else second)
    out: NDArray[np.float32] = np.clip(np.stack(sides, axis=1), -1.0, 1.0).astype(np.float32)
    return out


def filtered(mono: Mono, phone: Phone) -> Mono:
    """Band limits and one resonance."""
    out = mono
    if phone.low_hz:
        out = sosfilt(butter(2, phone.low_hz, "highpass", fs=phone.rate, output="sos"), out)
    if phone.high_hz:
        out = sosfilt(butter(phone.high_order, phone.high_hz, "lowpass", fs=phone.rate, output="sos"), out)
    if phone.resonance_hz and phone.resonance_db:
        b, a = _peaking(phone.resonance_hz, phone.resonance_db, phone.rate)
        out = lfilter(b, a, out)
    return np.asarray(out, dtype=np.float64)


def _peaking(at_hz: float, gain_db: float, rate: int, quality: float = 2.0) -> tuple[Mono, Mono]:
    """The usual second-order peaking equaliser (bilinear transform of the analogue prototype)."""
    amp = 10 ** (gain_db / 40)
    w = 2 * np.pi * at_hz / rate
    alpha = np.sin(w) / (2 * quality)
    b = np.array([1 + alpha * amp, -2 * np.cos(w), 1 - alpha * amp])
    a = np.array([1 + alpha / amp, -2 * np.cos(w), 1 - alpha / amp])
    return b / a[0], a / a[0]


def _automatic_gain(heard: Mono, phone: Phone) -> Mono:
    """Gain that pulls loud stretches down by up to agc_db at once and lets go over about 0.6 s."""
    blocks = len(heard) // AGC_BLOCK + 1
    padded = np.zeros(blocks * AGC_BLOCK)
    padded[: len(heard)] = np.abs(heard)
    tops = padded.reshape(blocks, AGC_BLOCK).max(axis=1)
    fall = np.exp(-AGC_BLOCK / (0.6 * phone.rate))
    gain_db = np.zeros(blocks)
    held = 0.0
    for n, top in enumerate(tops.tolist()):
        held = max(top, held * fall)
        gain_db[n] = -min(phone.agc_db, max(0.0, 20 * np.log10(max(held, 1e-6) / 0.1)))
    centre = np.arange(blocks) * AGC_BLOCK + AGC_BLOCK
    steps: Mono = np.interp(np.arange(len(heard)), centre, gain_db)
    return np.asarray(10 ** (steps / 20), dtype=np.float64)

"""Modelled drum sounds: one hit of one drum as samples, for the guide and for takes with known truth.

Conventions: a hit is float32, shape (n,), peak near `level` squared (so 0.7 is about half of full scale); the attack
begins at sample 0 without any delay, so that a hit put at sample k sounds at k and not later. Every hit differs a
little, as strokes do; the generator passed in decides how. Nothing here is a recording.

The model is the usual one of struck membranes: a short broad burst of the stick, the damped modes of a circular
membrane (frequency ratios 1, 1.594, 2.136, 2.296, 2.653, 2.918: zeros of the Bessel functions, any acoustics
textbook), and for a snare the rattle of the wires. Decay times and mixtures were chosen by ear.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

Wave = NDArray[np.float32]

MEMBRANE = np.array([1.0, 1.594, 2.136, 2.296, 2.653, 2.918])
FALL_60_DB = 6.908  # ln(1000): decays are told as the time to fall by 60 dB


@dataclass(frozen=True, slots=True)
class Voice:
    """How one surface sounds. Times are 60 dB decays in seconds, shares are relative amplitudes."""

    pitch_hz: float
    ring_s: float  # the membrane's lowest mode
    stick: float  # share of the stick's burst
    stick_band_hz: tuple[float, float]
    stick_s: float
    membrane: float
    wires: float = 0.0
    wires_s: float = 0.0
    rise_s: float = 0.0  # soft surfaces and big beaters push rather than strike; the foot stays at sample 0
    plate: float = 0.0  # share of a cymbal's dense modes
    plate_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Kit:
    """A set of surfaces by drum word; a drum that is not listed sounds as `other`."""

    name: str
    voices: tuple[tuple[str, Voice], ...]
    other: Voice

    def voice(self, drum: str) -> Voice:
        """The drum's own voice, else that of its family ("tenor-3" is a "tenor"), else `other`."""
        own = dict(self.voices)
        return own.get(drum) or own.get(drum.rpartition("-")[0]) or self.other


def _rod(pitch_hz: float, ring_s: float, stick: float = 0.5) -> Voice:
    return Voice(pitch_hz, ring_s, stick, (2_000.0, 9_000.0), 0.012, 1.0)


def _beater(pitch_hz: float, ring_s: float) -> Voice:
    return Voice(pitch_hz, ring_s, 0.35, (300.0, 2_500.0), 0.02, 1.0, rise_s=0.0006)


_SNARE = Voice(330.0, 0.16, 0.8, (1_800.0, 11_000.0), 0.014, 0.55, wires=0.5, wires_s=0.16)
_RIM = Voice(1_150.0, 0.06, 1.0, (1_500.0, 9_000.0), 0.02, 0.5)
_CRASH = Voice(420.0, 0.5, 0.5, (700.0, 12_000.0), 0.03, 0.12, plate=1.0, plate_s=1.8)
_CHOKE = Voice(420.0, 0.12, 0.6, (700.0, 12_000.0), 0.03, 0.12, plate=1.0, plate_s=0.16)  # caught at once
_TENORS = tuple(
    (f"tenor-{n}", _rod(f, 0.34)) for n, f in ((1, 330.0), (2, 270.0), (3, 215.0), (4, 175.0), (5, 430.0), (6, 480.0))
)
_BASSES = tuple((f"bass-{n}", _beater(f, 0.5)) for n, f in ((1, 118.0), (2, 98.0), (3, 82.0), (4, 69.0), (5, 57.0)))
_COMMON = (
    ("snare", _SNARE),
    ("rim", _RIM),
    *_TENORS,
    ("tenor", _rod(240.0, 0.34)),
    *_BASSES,
    ("bass", _beater(82.0, 0.5)),
    ("cymbal", _CRASH),
    ("cymbal-choke", _CHOKE),
)

FIELD = Kit("field", _COMMON, _SNARE)
_PAD = Voice(520.0, 0.045, 1.0, (900.0, 6_000.0), 0.012, 0.7)
PAD = Kit("pad", (("rim", _RIM), ("cymbal", _CRASH)), _PAD)
_CUSHION = Voice(150.0, 0.05, 0.35, (200.0, 1_800.0), 0.015, 1.0, rise_s=0.002)
CUSHION = Kit("cushion", (), _CUSHION)
_TABLE = Voice(260.0, 0.09, 1.0, (700.0, 7_000.0), 0.01, 0.8)
TABLE = Kit("table", (("rim", _RIM), ("cymbal", _CRASH)), _TABLE)
RIMS = Kit("rims", (), _RIM)
_LOOSE = Voice(205.0, 0.30, 0.6, (1_500.0, 8_000.0), 0.02, 0.8, wires=0.8, wires_s=0.28)
LOOSE = Kit("loose", (("snare", _LOOSE), *_COMMON[1:]), _LOOSE)
MUTED = Kit(
    "muted",
    (
        ("snare", Voice(300.0, 0.05, 0.9, (1_200.0, 8_000.0), 0.01, 0.6, wires=0.2, wires_s=0.05)),
        ("bass", Voice(75.0, 0.14, 0.4, (300.0, 2_000.0), 0.015, 1.0, rise_s=0.001)),
    ),
    Voice(210.0, 0.1, 0.5, (900.0, 6_000.0), 0.012, 1.0),
)
KITS = (FIELD, PAD, CUSHION, TABLE, RIMS, LOOSE, MUTED)


def hit(drum: str, level: float, kit: Kit, rate: int, rng: np.random.Generator) -> Wave:
    """One stroke on this drum, loudness level 0..1; sample 0 is the first instant of contact."""
    voice = kit.voice(drum)
    bright = 0.35 + 0.65 * level  # soft strokes are duller
    n = round(rate * min(2.5, max(0.03, voice.ring_s, voice.wires_s, voice.plate_s, voice.stick_s) * 0.9))
    t = np.arange(n) / rate
    out = voice.membrane * _membrane(voice, t, rng)
    out += voice.stick * bright * _burst(voice.stick_band_hz, voice.stick_s, n, rate, rng)
    if voice.wires:
        out += voice.wires * _burst((1_200.0, 9_500.0), voice.wires_s, n, rate, rng)
    if voice.plate:
        out += voice.plate * _plate(voice, t, rng)
    if voice.rise_s:
        out *= np.minimum(1.0, (t + 0.5 / rate) / voice.rise_s)
    tail = min(n, round(0.004 * rate))
    out[-tail:] *= np.linspace(1.0, 0.0, tail)
    peak = float(np.abs(out).max()) or 1.0
    scaled: Wave = (out * (level * level / peak)).astype(np.float32)
    return scaled


def _membrane(voice: Voice, t: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Damped modes; the pitch falls by a few per cent while the head comes back from its deflection."""
    place = rng.uniform(0.5, 1.0, len(MEMBRANE))  # where the stick fell decides which modes sound
    place[0] = 1.0
    pitch = voice.pitch_hz * (1 + 0.01 * rng.standard_normal())
    bend = 1 + 0.04 * np.exp(-t / 0.02)
    out = np.zeros(len(t))
    for ratio, share in zip(MEMBRANE, place, strict=True):
        fall = FALL_60_DB * ratio / voice.ring_s
        out += share / ratio * np.cos(2 * np.pi * pitch * ratio * t * bend + 0.3 * ratio) * np.exp(-fall * t)
    return out / 2.0


def _burst(
    band_hz: tuple[float, float], fall_s: float, n: int, rate: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Band-limited noise that starts at once and dies in fall_s; peak about 1."""
    m = min(n, max(8, round(fall_s * 1.2 * rate)))
    noise = rng.standard_normal(m)
    noise[0] = 3.0 * np.sign(noise[0])  # the contact itself: there is energy in the very first sample
    shaped = sosfilt(_band(band_hz, rate), noise) * np.exp(-FALL_60_DB * np.arange(m) / (fall_s * rate))
    out = np.zeros(n)
    out[:m] = shaped / (np.abs(shaped).max() or 1.0)
    return out


@lru_cache(maxsize=64)
def _band(band_hz: tuple[float, float], rate: int) -> NDArray[np.float64]:
    high = min(band_hz[1], 0.45 * rate)
    sos: NDArray[np.float64] = butter(1, (band_hz[0], high), "bandpass", fs=rate, output="sos")
    return sos


def _plate(voice: Voice, t: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """A crash: dense noise whose high end dies first, and a slap in the first milliseconds."""
    rate = round(1 / (t[1] - t[0]))
    out = np.zeros(len(t))
    for band, share, fall_s in (
        ((400.0, 2_000.0), 0.5, 1.0),
        ((2_000.0, 6_000.0), 1.0, 0.7),
        ((6_000.0, 14_000.0), 0.8, 0.4),
    ):
        noise = sosfilt(_band(band, rate), rng.standard_normal(len(t)))
        out += share * noise * np.exp(-FALL_60_DB * t / (voice.plate_s * fall_s))
    out *= 0.6 + 0.4 * (1 - np.exp(-t / 0.03)) + 0.8 * np.exp(-t / 0.006)
    return out / (np.abs(out).max() or 1.0)

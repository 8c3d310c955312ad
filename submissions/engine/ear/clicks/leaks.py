"""The leaked click taken out of the sound, so that what is left at a click's time was struck.

Conventions: seconds of file time; pieces have shape (beats, samples) and begin LEAD_S before their click.

The click's times and signs are known once zero is. What is not known is the way from earphone to phone: so all
pieces of one kind of click are averaged, each turned to its own sign, shifted to its own fraction of a sample and
counted by how little else sounds in it. Drums differ from beat to beat and average out; the click, its room and
the phone's filters stay. That average is then taken from every beat, at the strength at which the beat has it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from ...music.click import RATE, ClickLayout

Array = NDArray[np.float64]

LEAD_S = 0.004  # coding smears a click forward by a few milliseconds
LENGTH_S = 0.070  # a click of 16 ms and the part of its room that stands out
BAND_HZ = (900.0, 5_000.0)  # where clicks have their power; the drums' power outside is left alone
LEAST_BEATS = 6  # fewer pieces do not average the drums out
LEAST_LIKENESS = 0.25  # of the averages of even and odd beats; unrelated ones reach it by chance once in 1000 tries
NEIGHBOURS = 4  # beats over which the strength of the click is taken to be steady (automatic gain moves slower)
MOST_STRENGTH = 2.0  # of one beat against the average
SMOOTH_S = 0.002  # over which the average's power is compared with its own noise


@dataclass(frozen=True)
class Quieted:
    """Sound without its click, and what was taken out."""

    mono: NDArray[np.floating]
    times_s: Array  # (beats,) when each click sounds, whether heard or not
    power: Array  # (beats,) energy taken out at each; 0 where no click was heard

    @property
    def heard(self) -> bool:
        return bool(np.any(self.power > 0))


def take_out_clicks(
    mono: NDArray[np.floating], rate: int, layout: ClickLayout, zero_s: float, ratio: float = 1.0
) -> Quieted:
    """mono, shape (n,), without the clicks of this layout; unchanged where none can be told from noise."""
    quiet = mono.copy()
    times = np.array([zero_s + ratio * round(beat.at_s * RATE) / RATE for beat in layout.beats])
    power = np.zeros(len(times))
    kinds = np.array([beat.kind for beat in layout.beats])
    signs = np.array([float(beat.sign) for beat in layout.beats])
    length = round(LENGTH_S * rate)
    first = np.floor((times - LEAD_S) * rate).astype(np.int64)
    inside = (first >= 0) & (first + length < len(mono))
    for kind in np.unique(kinds):
        rows = np.flatnonzero(inside & (kinds == kind))
        if len(rows) < LEAST_BEATS:
            continue
        late = (times[rows] - LEAD_S) * rate - first[rows]
        pieces = np.stack([quiet[first[n] : first[n] + length] for n in rows]).astype(np.float64)
        taken = _common(pieces, late, signs[rows], rate)
        if taken is None:
            continue
        power[rows] = np.sum(taken**2, axis=1)
        for n, wave in zip(rows, taken, strict=True):
            quiet[first[n] : first[n] + length] -= wave
    return Quieted(quiet, times, power)


def _common(pieces: Array, late: Array, signs: Array, rate: int) -> Array | None:
    """What the pieces have in common, at the place and strength of each, shape of pieces; None: nothing."""
    length = pieces.shape[1]
    hz = fft.rfftfreq(length, 1 / rate)
    band = _band(hz)
    shift = np.exp(2j * np.pi * np.outer(late, hz) / rate)
    spectra = fft.rfft(pieces, axis=1) * band * shift
    best: tuple[float, Array, Array] | None = None
    for turned in (signs, np.ones(len(signs))):  # a click that is not ours carries no signs
        waves = fft.irfft(spectra * turned[:, None], length, axis=1)
        trust = 1.0 / (np.sum(waves**2, axis=1) + 1e-12)
        even, odd = _mean(waves[::2], trust[::2]), _mean(waves[1::2], trust[1::2])
        likeness = float(even @ odd / (np.sqrt((even @ even) * (odd @ odd)) + 1e-20))
        if likeness > LEAST_LIKENESS and (best is None or likeness > best[0]):
            share = float(np.clip(trust[::2].sum() / trust.sum(), 0.0, 1.0))
            noise = (even - odd) ** 2 * share * (1 - share)
            best = (likeness, _trusted(_mean(waves, trust), noise, rate), turned)
    if best is None:
        return None
    _, wave, turned = best
    strength = _strengths(fft.irfft(spectra * turned[:, None], length, axis=1), wave)
    back = fft.rfft(wave)[None, :] * (strength * turned)[:, None] * np.conj(shift)
    out: Array = fft.irfft(back, length, axis=1)
    return out


def _mean(waves: Array, trust: Array) -> Array:
    mean: Array = trust @ waves / (trust.sum() + 1e-20)
    return mean


def _trusted(wave: Array, noise: Array, rate: int) -> Array:
    """The average, turned down where it does not stand over its own noise, and faded at both ends."""
    width = max(3, round(SMOOTH_S * rate))
    have = ndimage.uniform_filter1d(wave**2, width)
    doubt = ndimage.uniform_filter1d(noise, 3 * width)
    kept = wave * np.clip(1.0 - doubt / (have + 1e-20), 0.0, 1.0)
    edge = width // 2 + 1
    kept[:edge] *= np.linspace(0, 1, edge)
    kept[-edge:] *= np.linspace(1, 0, edge)
    faded: Array = kept
    return faded


def _strengths(waves: Array, wave: Array) -> Array:
    """How strong the click is in each piece, against the average; beats full of drums ask their neighbours."""
    energy = float(wave @ wave) + 1e-20
    found = waves @ wave / energy
    rest = np.sum(waves**2, axis=1) - found**2 * energy
    trust = 1.0 / (np.maximum(rest, 0.0) + 0.01 * energy)
    reach = np.arange(len(waves))
    near = np.exp(-0.5 * ((reach[:, None] - reach[None, :]) / NEIGHBOURS) ** 2) * trust[None, :]
    steady = near @ found / near.sum(axis=1)
    own = trust * 0.25 * energy
    mixed = (own * found + steady) / (own + 1.0)
    strength: Array = np.clip(mixed, 0.0, MOST_STRENGTH)
    return strength


def _band(hz: Array) -> Array:
    """1 inside BAND_HZ, falling to 0 within half an octave on both sides."""
    low, high = BAND_HZ
    octaves = np.log2(np.maximum(hz, 1.0))
    rise = np.clip((octaves - np.log2(low)) / 0.5 + 1.0, 0.0, 1.0)
    fall = np.clip((np.log2(high) - octaves) / 0.5 + 1.0, 0.0, 1.0)
    out: Array = 0.25 * (1 - np.cos(np.pi * rise)) * (1 - np.cos(np.pi * fall))
    return out

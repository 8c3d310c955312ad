"""Beats of a grid laid over each other: pieces about every beat, and their sums at every clock.

Conventions: as in `ours`. What is summed may be a matched filter's answers or the sound itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d

Array = NDArray[np.float64]
Complex = NDArray[np.complex64]

PHASE_STEP_S = 0.12e-3  # a quarter of a period at 2 kHz: the farthest beats may be this far off between two ratios
BLOCK = 8  # beats summed at coarse ratios first
LEAST_BEATS = 4  # in the file, to look at all
TURN_STEPS = 24  # near the root of the points in a piece
LEAST_SLIDE = 3  # points; the energy of a place is that of its neighbours too
ENERGY_FLOOR = 0.05  # of the mean: silence has no coherence
RATIO_REACH = 250e-6  # phones and players' devices: twice what quartz is sold with, on both sides


@dataclass(frozen=True)
class Gathered:
    """The answers around every beat: spectra (beats, points) of pieces 2 * reach long, signs and carrier undone."""

    spectra: Complex
    power: NDArray[np.float32]  # (beats, points) energy that is usual about each point
    at_s: Array  # (beats,) click time, from their middle
    middle_s: float
    hz: Array  # (points,) true frequency of each bin
    rate: float
    inside: NDArray[np.int64]  # (beats,) which of the beats asked for they are


def gather(
    beats: Sequence[tuple[float, Complex, float]],
    rate: float,
    low_hz: float,
    near_s: float,
    reach_s: float,
    around: Sequence[NDArray[np.float32]] = (),
) -> Gathered | None:
    """Pieces of 2 * reach_s around near_s + at for each (at, answers, weight); None when fewer than four lie inside.

    around: the energy that is usual about each of the answers; their own where it is not given.
    """
    points = fft.next_fast_len(2 * round(reach_s * rate) + 1)
    starts = np.array([near_s + at - reach_s for at, _, _ in beats])
    first = np.floor(starts * rate).astype(np.int64)
    inside = [i for i, k in enumerate(first) if k >= 0 and k + points < len(beats[i][1])]
    if len(inside) < LEAST_BEATS:
        return None
    rows = np.array([beats[i][1][first[i] : first[i] + points] * np.float32(beats[i][2]) for i in inside])
    slow_hz = np.arange(points) * (rate / points)
    # A band's sample at time t carries exp(-2 pi i low t): the fraction of a sample and the carrier of each beat's
    # own place are turned back, so that equal clicks are equal complex numbers.
    fraction = starts[inside] - first[inside] / rate
    carrier = np.exp(2j * np.pi * low_hz * starts[inside]).astype(np.complex64)
    spectra = fft.fft(rows, axis=1) * (turn(fraction, slow_hz, 1.0) * carrier[:, None])
    at_s = np.array([beats[i][0] for i in inside])
    middle = float(at_s.mean())
    if around:
        power = np.array([around[i][first[i] : first[i] + points] * np.float32(beats[i][2] ** 2) for i in inside])
    else:
        pieces = fft.ifft(spectra, axis=1)
        power = pieces.real**2 + pieces.imag**2
    return Gathered(spectra, power, at_s - middle, middle, low_hz + slow_hz, rate, np.array(inside, np.int64))


def ratio_steps(kinds: Sequence[Gathered], reach: float = RATIO_REACH) -> Array:
    """Ratios less one, close enough together for the farthest beats to stay in phase."""
    span = max(*(float(np.abs(one.at_s).max()) for one in kinds), 1.0)
    steps: Array = np.arange(-reach, reach, PHASE_STEP_S / span)
    return steps


def energies(gathered: Gathered, ratios: Array, least: int = LEAST_SLIDE) -> NDArray[np.float32]:
    """The beats' own energy at each ratio, (ratios, points): each block of beats slides as its middle does."""
    power = gathered.power
    edges, centres = _blocks(gathered.at_s)
    blocks = uniform_filter1d(np.add.reduceat(power, edges, axis=0), least, axis=1, mode="wrap")
    points = blocks.shape[1]
    twice = np.concatenate([blocks, blocks], axis=1).astype(np.float32)
    out = np.zeros((len(ratios), points), np.float32)
    slides = np.round(np.outer(ratios, centres) * gathered.rate).astype(np.int64) % points
    moved = np.append(True, np.any(slides[1:] != slides[:-1], axis=1))
    for k, row in enumerate(out):
        if not moved[k]:
            row[:] = out[k - 1]
            continue
        for block, first in zip(twice, slides[k].tolist(), strict=True):
            row += block[first : first + points]
    return out + np.float32(ENERGY_FLOOR * power.sum(axis=0).mean())


def _blocks(at_s: Array) -> tuple[NDArray[np.int64], Array]:
    """(first beat of each block of BLOCK, the blocks' middles)."""
    edges = np.arange(0, len(at_s), BLOCK)
    return edges, np.array([at_s[e : e + BLOCK].mean() for e in edges])


def turn(at_s: Array, hz: Array, ratio: float) -> Complex:
    """exp(2 pi i ratio at hz), (beats, points), for evenly spaced hz: the product of two short series."""
    fast = np.exp(2j * np.pi * ratio * np.outer(at_s, hz[:TURN_STEPS] - hz[0])).astype(np.complex64)
    slow = np.exp(2j * np.pi * ratio * np.outer(at_s, hz[::TURN_STEPS])).astype(np.complex64)
    out: Complex = (slow[:, :, None] * fast[:, None, :]).reshape(len(at_s), -1)[:, : len(hz)]
    return out


def sum_beats(gathered: Gathered, ratios: Array) -> Complex:
    """Spectra (ratios, points) of the sums over all beats: first blocks of beats at coarse ratios, then the blocks."""
    edges, centres = _blocks(gathered.at_s)
    within = gathered.at_s - np.repeat(centres, BLOCK)[: len(gathered.at_s)]
    coarse = PHASE_STEP_S / max(float(np.abs(within).max()), 0.1)
    sums = np.empty((len(ratios), len(gathered.hz)), np.complex64)
    nearest = np.round(ratios / coarse) if len(ratios) > 1 else ratios / coarse
    levels = np.unique(nearest)
    now = gathered.spectra * turn(within, gathered.hz, float(levels[0]) * coarse)
    onward = turn(within, gathered.hz, coarse) if len(levels) > 1 else None
    step = turn(centres, gathered.hz, float(ratios[1] - ratios[0])) if len(ratios) > 1 else None
    for level in levels:
        mine = np.flatnonzero(nearest == level)
        blocks = np.add.reduceat(now, edges, axis=0) * turn(centres, gathered.hz, float(ratios[mine[0]]))
        for k in mine:
            sums[k] = blocks.sum(axis=0)
            if step is not None:
                blocks *= step
        if onward is not None:
            now *= onward
    return sums

"""The first arrival in what a path answered to the marks: one, or two that lie too close to show two peaks.

Conventions: an answer is complex, `rate` points a second, and is told about a point k; delays are seconds from it.
A phone with two microphones hears everything twice within half a millisecond, and its mono sound is their mean; a
table under a phone does the same. The band of the marks shows such two as one peak between them, or, where they
cancel, as two peaks beside them. So one arrival and two of one sign are laid against the answer by least squares;
every delay counts by how likely it makes what is left, and where two ways compete the uncertainty says so.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FIRST_SHARE = 0.4  # of the strongest arrival: direct sound this far under its echo is still the first
TOGETHER_S = 1.2e-3  # peaks this close may be one pair; an echo off a wall that is farther away counts as such
BEFORE_S, AFTER_S = 0.6e-3, 0.7e-3  # looked at about the peaks
EARLIEST_S, LATEST_S = -0.45e-3, 0.25e-3  # where the first of a pair may lie about the peaks
LEAST_APART_S, MOST_APART_S = 0.06e-3, 0.48e-3  # under it one peak is near enough; 16 cm, the length of a phone
STEP_S = 8e-6
SECOND_SHARES = (0.25, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2)  # of the first
POINTS_HZ = 16_000.0  # three times the band
PAIR_OVER_NOISE = 2.0  # energy that a single arrival leaves, over the noise's own: under it one arrival is enough
PAIR_SHARE = 0.1  # ... of all the energy: no echo off a wall leaves as much, its skirts reach in here
PAIR_LEFT = 0.18  # ... or what a pair leaves of it: two a period apart look nearly like one
INDEPENDENT = 12  # values in the window: its length times the band, in real and imaginary part


@dataclass(frozen=True)
class Kernel:
    """What a path of one arrival answers: amplitude at frequencies hz, phases nought."""

    hz: Array
    size: Array


@dataclass(frozen=True)
class Pair:
    """The first of two arrivals, and how well it is known."""

    delay_s: float
    sd_s: float


def first_peak(envelope: Array, noise: float) -> tuple[float, float]:
    """(place, size) of the first peak that is not noise and not small against the strongest; place sub-sample."""
    edge = len(envelope) // 40
    inner = envelope[edge:-edge]
    limit = max(FIRST_SHARE * float(inner.max()), 4.0 * noise)
    tops = np.flatnonzero((inner[1:-1] >= inner[:-2]) & (inner[1:-1] > inner[2:]) & (inner[1:-1] >= limit)) + 1
    k = edge + (int(tops[0]) if len(tops) else int(np.argmax(inner)))
    return k + vertex(envelope, k), float(envelope[k])


def first_of_pair(answer: Complex, rate: float, noise: float, k: int, kernel: Kernel) -> Pair | None:
    """The first of a pair about point k of the answer, or None where a single arrival explains it."""
    far = int(np.argmax(np.abs(answer[k : k + round(TOGETHER_S * rate)]))) / rate
    step = max(1, round(rate / POINTS_HZ))
    points = np.arange(max(0, k - round(BEFORE_S * rate)), min(len(answer), k + round((AFTER_S + far) * rate)), step)
    heard, at_s = answer[points], (points - k) / rate
    delays = np.arange(EARLIEST_S, LATEST_S + far + MOST_APART_S, STEP_S)
    firsts = round((LATEST_S + far - EARLIEST_S) / STEP_S)
    # The kernel at every point for every delay, as a product of two short matrices.
    shapes = np.exp(2j * np.pi * np.outer(at_s, kernel.hz)) @ (
        kernel.size[:, None] * np.exp(-2j * np.pi * np.outer(kernel.hz, delays))
    )
    alike = np.conj(shapes.T) @ shapes
    told = np.conj(shapes.T) @ heard
    own = np.real(np.diag(alike))
    total = float(np.sum(np.abs(heard) ** 2))
    single = total - float(np.max(np.abs(told) ** 2 / own))
    apart = np.arange(round(LEAST_APART_S / STEP_S), round(MOST_APART_S / STEP_S))
    noise_energy = noise**2 * len(points)
    if single <= PAIR_OVER_NOISE * noise_energy:
        return None
    one = np.arange(firsts)[:, None]
    two = one + apart[None, :]
    left = np.full(firsts, np.inf)
    for share in SECOND_SHARES:
        energy = own[one] + 2 * share * np.real(alike[one, two]) + share * share * own[two]
        explained = np.abs(told[one] + share * told[two]) ** 2 / energy
        left = np.minimum(left, total - explained.max(axis=1))
    least = float(left.min())
    if single < PAIR_SHARE * total and least > PAIR_LEFT * single:
        return None
    scale = max(least, noise_energy) / INDEPENDENT
    likely = np.exp(-0.5 * (left - least) / scale)
    likely /= likely.sum()
    best = int(np.argmin(left))
    place = delays[0] + (best + vertex(-left, best)) * STEP_S
    sd = float(np.sqrt(likely @ (delays[:firsts] - place) ** 2))
    return Pair(place, sd)


def vertex(values: NDArray[np.floating], k: int) -> float:
    """Where between its neighbours the top of a parabola through k lies, in steps; 0 at the edges."""
    if not 0 < k < len(values) - 1:
        return 0.0
    left, top, right = (float(v) for v in values[k - 1 : k + 2])
    bend = left - 2 * top + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0

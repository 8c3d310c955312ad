"""Our own click under the drums: all its beats summed before a peak is looked for.

Conventions: times in seconds of file time; a click's time is its first sample; `ratio` is file seconds a click
second. Every beat carries a known sign, so the right place and ratio add up and every other one cancels; the phone
may turn the sign of all of them round.

A sum always has a strongest place. What makes one believed is its own beats. With the coherence c, the energy of the
sum over the number of beats times the sum of their energies, `height` is -(beats - 1) log(1 - c): were the beats'
phases chance, it would exceed h with probability exp(-h) (the distribution of magnitude-squared coherence, Carter,
Proc. IEEE 75, 1987), whatever the size of the sound is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d

from ..music.click import CLICK_PEAK, CLICK_S, ClickLayout, click_wave
from .arrivals import vertex
from .baseband import Spectrum, level_out, take_band, template

Array = NDArray[np.float64]
Complex = NDArray[np.complex64]

SEARCH_HZ = (1_200.0, 3_400.0)  # all clicks' sweeps with their edges
LEVEL_WINDOW_S = 0.007  # half a click: what is soft for so long, before a stroke or between two, tells of the click
LEVEL_EXPONENT = 0.75  # of the energy there: 1 would be best for beats of which each is noise of known size alone,
# 0.5 is best where what is left of the strokes is not; of 80 clicks 36 dB under the drums 70 stand over the limit so
CLEAR_WINDOW_S = 0.030  # about two clicks: alone in the quiet, a click must not be made softer than its own echo
RATIO_REACH = 250e-6  # phones and players' devices: twice what quartz is sold with, on both sides
PHASE_STEP_S = 0.12e-3  # a quarter of a period at 2 kHz: the farthest beats may be this far off between two ratios
PIECE = 4_096  # samples of the band matched at a time
BLOCK = 8  # beats summed at coarse ratios first
REACH_S = 0.090  # how far a zero from the strokes may be off: push or drag of a beginner and more
LEAST_ALIKE = 2
LEAST_BEATS = 4  # in the file, to look at all
FEW_BEATS = 16
WORTH_TURNING = 13.0  # under this no turning of the ratio within a step makes a click of it
ASKED = 128  # places with the highest sums, of which each beat's own energy is asked
TURNS = (-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6)
BETWEEN = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])  # points about the best one that are asked too
TURN_STEPS = 24  # near the root of the points in a piece
LEAST_SLIDE = 3  # points; the energy of a place is that of its neighbours too
ENERGY_FLOOR = 0.05  # of the mean: silence has no coherence


@dataclass(frozen=True)
class ClickSum:
    """The best place of a summed click near one hypothesis."""

    zero_s: float
    ratio: float
    height: float
    beats: int


@dataclass(frozen=True)
class ClickBand:
    """The matched filter's answers by kind of click, sampled at rate, carrier low_hz as in `Band`."""

    answers: dict[str, Complex]
    rate: float
    low_hz: float


@dataclass(frozen=True)
class Gathered:
    """The answers around every beat: spectra (beats, points) of pieces 2 * reach long, signs and carrier undone."""

    spectra: Complex
    size: NDArray[np.float32]  # the pieces themselves, absolute
    at_s: Array  # (beats,) click time, from their middle
    middle_s: float
    hz: Array  # (points,) true frequency of each bin
    rate: float
    inside: NDArray[np.int64]  # (beats,) which of the beats asked for they are


def prepare(spectrum: Spectrum, layout: ClickLayout, under_drums: bool = True) -> ClickBand:
    """The matched filter's answers over the whole file, loud moments made soft; levelled only, where nothing is played."""
    plain = take_band(spectrum, *SEARCH_HZ)
    if under_drums:
        band = level_out(plain, LEVEL_WINDOW_S, exponent=LEVEL_EXPONENT)
    else:
        band = level_out(plain, CLEAR_WINDOW_S)
    kinds = sorted({beat.kind for beat in layout.beats})
    answers = band.match([_template(kind, band.low_hz, band.rate) for kind in kinds], round(CLICK_S * band.rate))
    return ClickBand(dict(zip(kinds, answers, strict=True)), band.rate, band.low_hz)


@lru_cache(maxsize=16)
def _template(kind: str, low_hz: float, rate: float, wave_rate: int = 48_000) -> Complex:
    """One kind of click in a band from low_hz at `rate`, its mean power 1, (PIECE,)."""
    wave = template(click_wave(kind, wave_rate), wave_rate, low_hz, rate, PIECE)
    out: Complex = wave / np.sqrt(np.mean(np.abs(wave) ** 2))
    return out


def search_click(
    band: ClickBand,
    layout: ClickLayout,
    near_s: float,
    reach_s: float = REACH_S,
    ratio_reach: float = RATIO_REACH,
    asked: int = ASKED,
) -> ClickSum | None:
    """The click whose zero lies within reach_s of near_s, or None when the file holds too few of its beats.

    ratio_reach: how far its clock may be off, in file seconds a click second; asked: as in `_best_sum`.
    Each kind of click is summed on its own: a room or a filter turns the phase of one against the other.
    """
    beats = [
        (beat.at_s, band.answers[beat.kind], beat.sign * CLICK_PEAK[beat.kind] / CLICK_PEAK["down"])
        for beat in layout.beats
    ]
    gathered = gather(beats, band.rate, band.low_hz, near_s, reach_s)
    if gathered is None:
        return None
    kinds = _by_kind(gathered, [layout.beats[i].kind for i in gathered.inside])
    if len(gathered.at_s) <= FEW_BEATS:
        asked = 1  # eight beats are alike somewhere by chance: the more is asked of them, the more so
    sums = [_best_sum(kinds, near_s, reach_s, ratio_reach, asked)]
    if len(kinds) > 1 and len(gathered.at_s) <= FEW_BEATS:
        sums.append(
            _best_sum([gathered], near_s, reach_s, ratio_reach, asked)
        )  # too few of each kind to be alike by themselves
    return max(sums, key=lambda one: one.height)


def _best_sum(kinds: list[Gathered], near_s: float, reach_s: float, ratio_reach: float, asked: int) -> ClickSum:
    """The highest place and ratio for the beats of all kinds.

    Blocks of beats slide together, and downs lie so far apart that a block's energy then misses that of its beats: at
    the edge of a stroke chance stands higher than a click. So of the `asked` highest places every beat is asked.
    """
    ratios = ratio_steps(kinds, ratio_reach)
    sums = [np.abs(fft.ifft(sum_beats(one, ratios), axis=1)) ** 2 for one in kinds]
    heights = np.asarray(sum(mine / energies(one, ratios) for one, mine in zip(kinds, sums, strict=True)))
    count = min(asked, heights.size)
    places = np.unravel_index(np.argpartition(heights, -count, axis=None)[-count:], heights.shape)
    near = np.asarray(sum(_heights_near(one, ratios, mine, *places) for one, mine in zip(kinds, sums, strict=True)))
    k, at = (int(i[int(np.argmax(near))]) for i in places)
    points = at + (BETWEEN if asked > 1 else np.zeros(1))
    ratio = float(ratios[k]) + vertex(heights[:, at], k) * float(ratios[1] - ratios[0])
    step = float(ratios[1] - ratios[0])
    height, place = _height(kinds, ratio, points)
    if height > WORTH_TURNING or sum(len(one.at_s) for one in kinds) <= FEW_BEATS:
        turned = [(*_height(kinds, ratio + share * step, points), ratio + share * step) for share in TURNS]
        height, place, ratio = max(turned)
    at_s = near_s + place / kinds[0].rate - reach_s
    beats = sum(len(one.at_s) for one in kinds)
    return ClickSum(at_s - kinds[0].middle_s * ratio, 1.0 + ratio, height, beats)


def _by_kind(gathered: Gathered, kinds: list[str]) -> list[Gathered]:
    """One for each kind of click with beats enough to be alike; all together when none has."""
    masks = [np.array([kind == one for kind in kinds]) for one in sorted(set(kinds))]
    masks = [mask for mask in masks if int(mask.sum()) >= LEAST_ALIKE]
    if not masks:
        return [gathered]
    return [
        replace(gathered, **{name: getattr(gathered, name)[mask] for name in ("spectra", "size", "at_s", "inside")})
        for mask in masks
    ]


def gather(
    beats: Sequence[tuple[float, Complex, float]], rate: float, low_hz: float, near_s: float, reach_s: float
) -> Gathered | None:
    """Pieces of 2 * reach_s around near_s + at for each (at, answers, weight); None when fewer than four lie inside."""
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
    spectra = fft.fft(rows, axis=1) * (_turn(fraction, slow_hz, 1.0) * carrier[:, None])
    at_s = np.array([beats[i][0] for i in inside])
    middle = float(at_s.mean())
    size = np.abs(fft.ifft(spectra, axis=1))
    return Gathered(spectra, size, at_s - middle, middle, low_hz + slow_hz, rate, np.array(inside, np.int64))


def ratio_steps(kinds: Sequence[Gathered], reach: float = RATIO_REACH) -> Array:
    """Ratios less one, close enough together for the farthest beats to stay in phase."""
    span = max(*(float(np.abs(one.at_s).max()) for one in kinds), 1.0)
    steps: Array = np.arange(-reach, reach, PHASE_STEP_S / span)
    return steps


def energies(gathered: Gathered, ratios: Array, least: int = LEAST_SLIDE) -> NDArray[np.float32]:
    """The beats' own energy at each ratio, (ratios, points): each block of beats slides as its middle does."""
    power = gathered.size**2
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


def _turn(at_s: Array, hz: Array, ratio: float) -> Complex:
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
    now = gathered.spectra * _turn(within, gathered.hz, float(levels[0]) * coarse)
    onward = _turn(within, gathered.hz, coarse) if len(levels) > 1 else None
    step = _turn(centres, gathered.hz, float(ratios[1] - ratios[0])) if len(ratios) > 1 else None
    for level in levels:
        mine = np.flatnonzero(nearest == level)
        blocks = np.add.reduceat(now, edges, axis=0) * _turn(centres, gathered.hz, float(ratios[mine[0]]))
        for k in mine:
            sums[k] = blocks.sum(axis=0)
            if step is not None:
                blocks *= step
        if onward is not None:
            now *= onward
    return sums


def _heights_near(
    gathered: Gathered, ratios: Array, sums: NDArray[np.floating], k: NDArray[np.int64], at: NDArray[np.int64]
) -> Array:
    """`_height` of one kind to the nearest point, at many places (ratio, point) of its sums."""
    slid = at[None, :] + np.round(np.outer(gathered.at_s, ratios[k]) * gathered.rate).astype(np.int64)
    each = gathered.size[np.arange(len(slid))[:, None], slid % gathered.size.shape[1]]
    return _unlikely(sums[k, at], each)


def _height(kinds: list[Gathered], ratio: float, at: Array) -> tuple[float, float]:
    """The highest -(beats - 1) log(1 - coherence) over the kinds at one ratio, and at which of some places in points."""
    height = np.zeros(len(at))
    for one in kinds:
        place = np.exp(2j * np.pi * np.outer(one.hz - one.hz[0], at / one.rate)) / len(one.hz)
        each = (one.spectra * _turn(one.at_s, one.hz, ratio)) @ place.astype(np.complex64)
        height += _unlikely(np.abs(each.sum(axis=0)) ** 2, np.abs(each))
    best = int(np.argmax(height))
    highest = float(height[best])
    # The sum of two such heights exceeds h by chance with probability (1 + h) exp(-h).
    return highest - float(np.log1p(highest)) if len(kinds) > 1 else highest, float(at[best])


def _unlikely(sums: NDArray[np.floating], each: NDArray[np.floating]) -> Array:
    """-(beats - 1) log(1 - coherence) of energies of sums, (places,), over what each beat has there, (beats, places)."""
    energy = np.sum(each**2, axis=0) + 1e-30
    beats = np.sum(each, axis=0) ** 2 / energy
    share = sums / energy / np.maximum(beats, 1.0)
    out: Array = -(beats - 1) * np.log(1 - np.minimum(share, 1 - 1e-6))
    return out

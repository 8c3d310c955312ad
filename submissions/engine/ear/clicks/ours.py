"""Our own click under the drums: all its beats summed before a peak is looked for.

Conventions: times in seconds of file time; a click's time is its first sample; `ratio` is file seconds a click
second. Every beat carries a known sign, so the right place and ratio add up and every other one cancels; the phone
may turn the sign of all of them round.

A sum always has a strongest place. What makes one believed is its own beats. With the coherence c, the energy of the
sum over the number of values times the sum of their energies, `height` is -(values - 1) log(1 - c): were their phases
chance, it would exceed h with probability exp(-h) (the distribution of magnitude-squared coherence, Carter, Proc. IEEE
75, 1987), whatever the size of the sound is. The values are all those about each beat: where strokes hide most beats,
the few clean ones (a count-off, a rest, the end) show that they are clicks by standing out of their own quiet at one
place. `alike` is the same of the beats alone at that place. It cannot tell a few clicks from chance, but it cannot be
had either from other sounds that are the same on every beat, whose signs agree with ours by chance.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter1d

from ...music.click import CLICK_PEAK, CLICK_S, ClickLayout, click_wave
from ..baseband import Spectrum, level_out, take_band, template
from ..marks.arrivals import vertex
from .beat_sums import RATIO_REACH, Gathered, energies, gather, ratio_steps, sum_beats, turn

Array = NDArray[np.float64]
Complex = NDArray[np.complex64]

SEARCH_HZ = (1_200.0, 3_400.0)  # all clicks' sweeps with their edges
LEVEL_WINDOW_S = 0.020  # a click and a little: what is soft for so long, before a stroke or between two, tells of it
LEVEL_EXPONENT = 0.75  # of the energy there: 1 would be best for beats of which each is noise of known size alone,
# 0.5 is best where what is left of the strokes is not; of 100 clicks 36 dB under the drums all had heights over 29 so
CLEAR_WINDOW_S = 0.030  # about two clicks: alone in the quiet, a click must not be made softer than its own echo
PIECE = 4_096  # samples of the band matched at a time
REACH_S = 0.090  # how far a zero from the strokes may be off: push or drag of a beginner and more
LEAST_ALIKE = 2
FEW_BEATS = 16
WORTH_TURNING = 13.0  # under this no turning of the ratio within a step makes a click of it
ASKED = 8  # places with the highest sums, of which each beat's own energy is asked; 128 find no other
TURNS = (-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6)
BETWEEN = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])  # points about the best one that are asked too
AROUND_S = 0.030  # the quiet out of which a click stands; from 20 to 50 ms hardly matters
CELLS = 18.0  # independent values of an answer in so long: a sweep is 600 Hz wide
MOST_ALIKE = 1 - 1e-6


@dataclass(frozen=True)
class ClickSum:
    """The best place of a summed click near one hypothesis."""

    zero_s: float
    ratio: float
    height: float
    beats: int
    alike: float  # see above


@dataclass(frozen=True)
class ClickBand:
    """The matched filter's answers by kind of click, sampled at rate, carrier low_hz as in `Band`."""

    answers: dict[str, Complex]
    around: dict[str, NDArray[np.float32]]  # the answers' mean energy over AROUND_S
    rate: float
    low_hz: float


def prepare(spectrum: Spectrum, layout: ClickLayout, under_drums: bool = True) -> ClickBand:
    """The matched filter's answers over the whole file, loud moments made soft; levelled only, where nothing is played."""
    plain = take_band(spectrum, *SEARCH_HZ)
    if under_drums:
        band = level_out(plain, LEVEL_WINDOW_S, exponent=LEVEL_EXPONENT)
    else:
        band = level_out(plain, CLEAR_WINDOW_S)
    kinds = sorted({beat.kind for beat in layout.beats})
    answers = band.match([_template(kind, band.low_hz, band.rate) for kind in kinds], round(CLICK_S * band.rate))
    width = round(AROUND_S * band.rate)
    around = [uniform_filter1d(answer.real**2 + answer.imag**2, width) for answer in answers]
    return ClickBand(
        dict(zip(kinds, answers, strict=True)), dict(zip(kinds, around, strict=True)), band.rate, band.low_hz
    )


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
    around = [band.around[beat.kind] for beat in layout.beats]
    gathered = gather(beats, band.rate, band.low_hz, near_s, reach_s, around)
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

    Blocks of beats slide together, and a block's energy is nearly that of its beats: of the `asked` highest places every
    beat is asked.
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
    height, place, alike = _height(kinds, ratio, points)
    if height > WORTH_TURNING or sum(len(one.at_s) for one in kinds) <= FEW_BEATS:
        turned = [(*_height(kinds, ratio + share * step, points), ratio + share * step) for share in TURNS]
        height, place, alike, ratio = max(turned)
    at_s = near_s + place / kinds[0].rate - reach_s
    beats = sum(len(one.at_s) for one in kinds)
    return ClickSum(at_s - kinds[0].middle_s * ratio, 1.0 + ratio, height, beats, alike)


def _by_kind(gathered: Gathered, kinds: list[str]) -> list[Gathered]:
    """One for each kind of click with beats enough to be alike; all together when none has."""
    masks = [np.array([kind == one for kind in kinds]) for one in sorted(set(kinds))]
    masks = [mask for mask in masks if int(mask.sum()) >= LEAST_ALIKE]
    if not masks:
        return [gathered]
    return [
        replace(gathered, **{name: getattr(gathered, name)[mask] for name in ("spectra", "power", "at_s", "inside")})
        for mask in masks
    ]


def _heights_near(
    gathered: Gathered, ratios: Array, sums: NDArray[np.floating], k: NDArray[np.int64], at: NDArray[np.int64]
) -> Array:
    """`_height` of one kind to the nearest point, at many places (ratio, point) of its sums."""
    slid = at[None, :] + np.round(np.outer(gathered.at_s, ratios[k]) * gathered.rate).astype(np.int64)
    each = gathered.power[np.arange(len(slid))[:, None], slid % gathered.power.shape[1]]
    return _unlikely(sums[k, at], each, CELLS)


def _height(kinds: list[Gathered], ratio: float, at: Array) -> tuple[float, float, float]:
    """(height, place, how alike the beats are by themselves) of the highest of some places in points, at one ratio."""
    height, alike = np.zeros(len(at)), np.zeros(len(at))
    for one in kinds:
        place = np.exp(2j * np.pi * np.outer(one.hz - one.hz[0], at / one.rate)) / len(one.hz)
        each = (one.spectra * turn(one.at_s, one.hz, ratio)) @ place.astype(np.complex64)
        slid = np.round(at[None, :] + ratio * one.rate * one.at_s[:, None]).astype(np.int64)
        usual = one.power[np.arange(len(slid))[:, None], slid % one.power.shape[1]]
        whole = np.abs(each.sum(axis=0)) ** 2
        height += _unlikely(whole, usual, CELLS)
        alike += _unlikely(whole, np.abs(each) ** 2, 1.0)
    best = int(np.argmax(height))
    highest, own = float(height[best]), float(alike[best])
    if len(kinds) > 1:
        # The sum of two such heights exceeds h by chance with probability (1 + h) exp(-h).
        highest, own = highest - float(np.log1p(highest)), own - float(np.log1p(own))
    return highest, float(at[best]), own


def _unlikely(sums: NDArray[np.floating], power: NDArray[np.floating], cells: float) -> Array:
    """The height of energies of sums, (places,), over those of the beats there, (beats, places), of `cells` values each."""
    energy = np.sum(power, axis=0) + 1e-30
    values = cells * np.sum(np.sqrt(power), axis=0) ** 2 / energy
    share = sums / energy / np.maximum(values, 1.0)
    out: Array = -(values - 1) * np.log(1 - np.minimum(share, MOST_ALIKE))
    return out

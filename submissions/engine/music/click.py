"""The click: sync marks, count-off, beats; every sample of it known to the ear.

Conventions: a layout holds times in seconds from zero (the first downbeat of bar 1; negative before it);
`Click.zero_s` is where zero lies in the rendered file. Times come from exact rationals and are rounded to a
sample once, at the end. Rate 48 000 Hz, mono, float32.

Two things make a click findable when it is far under the drums:
- the sync marks: a group of short linear chirps (1.5 to 6.5 kHz, 80 ms) at uneven distances. The group after the
  last bar is the first one played backwards in time, so that the two cannot be taken for each other;
- each beat's click carries a sign (+1 or -1, from a fixed shift register; ears cannot tell), so that summing
  over all beats has one peak, not one a beat or one a bar.
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .written import Beat, Part

RATE = 48_000
MARK_S = 0.080  # design: 4 x 80 ms
MARK_LOW_HZ, MARK_HIGH_HZ = 1_500.0, 6_500.0  # passes every phone's filters
MARK_OFFSETS_S = (0.0, 0.19, 0.43, 0.72)  # all six differences are different: one alignment only
MARK_GROUP_S = MARK_OFFSETS_S[-1] + MARK_S
MARK_GAINS = tuple(10 ** (db / 20) for db in (-9, -6, -3, 0))  # chosen: the start group grows, nobody is startled
LEAD_S = 0.5  # silence before the first mark: nothing starts at once
MARK_TO_COUNT_S = 1.0  # from the end of the start marks to whatever comes first: count-off or pickup
END_TO_MARK_S = 1.0  # from the end of the last bar to the end marks: ring-out must not cover them
TAIL_S = 0.5
MARK_PEAK = 10 ** (-15 / 20)  # chosen: audible through one earphone, far from full level
# Chosen so that a click file reads -28 LUFS in both ears (ITU-R BS.1770) at every tempo up to 160 and -26 at 240,
# under the -23 of EBU R 128, and no true peak passes -8 dBTP. The 400 ms gate keeps the figure free of the tempo.
CLICK_PEAK = {"down": 10 ** (-9 / 20), "beat": 10 ** (-12 / 20), "sub": 10 ** (-20 / 20)}
CLICK_S = 0.016
CLICK_SWEEP_HZ = {"down": (3_000.0, 2_200.0), "beat": (2_200.0, 1_600.0), "sub": (1_600.0, 1_200.0)}


@dataclass(frozen=True, slots=True)
class ClickBeat:
    """One clicked sound: at_s from zero, kind "down", "beat" or "sub", sign +1 or -1."""

    at_s: float
    kind: str
    sign: int
    counted: bool  # part of the count-off


@dataclass(frozen=True, slots=True)
class ClickLayout:
    """When everything in a click sounds, in seconds from zero."""

    bpm: float
    count_off_bars: int
    beats: tuple[ClickBeat, ...]
    marks_start_s: float  # first chirp of the start group
    marks_end_s: float  # first chirp of the end group
    end_s: float  # end of the last bar
    tempo_scale: float  # this click's tempo over the performance tempo


@dataclass(frozen=True)
class Click:
    """A rendered click, samples of shape (n,)."""

    samples: NDArray[np.float32]
    rate: int
    zero_s: float
    layout: ClickLayout


def beat_sign(index: int) -> int:
    """The sign of the index-th clicked beat since the start of the count-off (Galois register x^9 + x^5 + 1)."""
    return _signs()[index % 511]


@lru_cache(maxsize=1)
def _signs() -> tuple[int, ...]:
    # Of the 511 places to begin, this one has the lowest side peaks (0.22) over parts of 20 to 136 beats.
    state, out = 0xE, []
    for _ in range(511):
        out.append(1 if state & 1 else -1)
        state = (state >> 1) ^ (0x110 if state & 1 else 0)
    return tuple(out)


def mark_wave(rate: int = RATE, rising: bool = True) -> NDArray[np.float64]:
    """One chirp, peak 1: linear 1.5 to 6.5 kHz in 80 ms, 8 ms raised-cosine edges; falling for the end group."""
    n = round(MARK_S * rate)
    t = np.arange(n) / rate
    slope = (MARK_HIGH_HZ - MARK_LOW_HZ) / MARK_S
    wave = np.sin(2 * np.pi * (MARK_LOW_HZ * t + 0.5 * slope * t * t))
    edge = round(0.008 * rate)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    wave[:edge] *= ramp
    wave[-edge:] *= ramp[::-1]
    return wave if rising else wave[::-1].copy()


def mark_offsets_s(rising: bool = True) -> tuple[float, ...]:
    """Offsets of the four chirps from the first of their group; the end group is the start group in reverse."""
    if rising:
        return MARK_OFFSETS_S
    return tuple(MARK_OFFSETS_S[-1] - offset for offset in reversed(MARK_OFFSETS_S))


def mark_group(rate: int = RATE, rising: bool = True) -> NDArray[np.float64]:
    """A whole group of four chirps, growing (the end group: fading), peak 1, shape (round(MARK_GROUP_S * rate),)."""
    out = np.zeros(round(MARK_GROUP_S * rate))
    wave = mark_wave(rate, rising)
    for offset, gain in zip(mark_offsets_s(rising), MARK_GAINS if rising else MARK_GAINS[::-1], strict=True):
        start = round(offset * rate)
        out[start : start + len(wave)] += gain * wave
    return out


def click_wave(kind: str, rate: int = RATE) -> NDArray[np.float64]:
    """One click, peak about 1: 16 ms, sweeping down; 1 ms attack, exponential decay."""
    n = round(CLICK_S * rate)
    t = np.arange(n) / rate
    high, low = CLICK_SWEEP_HZ[kind]
    phase = 2 * np.pi * (high * t + 0.5 * (low - high) / CLICK_S * t * t)
    attack = np.clip(t / 0.001, 0, 1)
    tail = np.clip((CLICK_S - t) / 0.003, 0, 1)
    wave = np.sin(phase) * np.exp(-t / 0.006) * (0.5 - 0.5 * np.cos(np.pi * attack)) * tail
    unit: NDArray[np.float64] = wave / np.abs(wave).max()
    return unit


def click_layout(
    part: Part, count_off_bars: int = 2, bpm: float | Fraction | None = None, subdivide: bool = False
) -> ClickLayout:
    """Times of marks, count-off and beats for this part at bpm clicked beats a minute (None: performance tempo).

    The count-off is count_off_bars bars of bar 1's meter at bar 1's tempo, ending at zero; a pickup sounds inside it.
    Tempo changes keep their ratios at every bpm.
    """
    scale = 1.0 if bpm is None else float(bpm) / part.bpm
    first = part.bars_from_zero()[0]
    quarter_s = 60 / tempo_at_zero(part)
    in_first = [beat for beat in part.beats if beat.played_bar == part.beats[0].played_bar]
    beats: list[ClickBeat] = []
    for back in range(count_off_bars, 0, -1):
        for beat in in_first:
            at_s = float((beat.at_q - back * first.length_q) * quarter_s)
            beats.append(ClickBeat(at_s / scale, "down" if beat.downbeat else "beat", beat_sign(len(beats)), True))
    counted = len(beats)
    for n, beat in enumerate(part.beats):
        sign = beat_sign(counted + n)
        beats.append(ClickBeat(beat.at_s / scale, "down" if beat.downbeat else "beat", sign, False))
        if subdivide:
            after = part.beats[n + 1].at_s if n + 1 < len(part.beats) else part.end_s
            beats.extend(_subdivision(beat, after, scale, sign))
    pickup_s = max(0.0, -min(bar.at_s for bar in part.bars))
    lead_s = max(float(count_off_bars * first.length_q * quarter_s), pickup_s) / scale
    return ClickLayout(
        bpm=part.bpm * scale,
        count_off_bars=count_off_bars,
        beats=tuple(beats),
        marks_start_s=-on_sample(lead_s + MARK_TO_COUNT_S + MARK_GROUP_S),
        marks_end_s=on_sample(part.end_s / scale + END_TO_MARK_S),
        end_s=part.end_s / scale,
        tempo_scale=scale,
    )


def on_sample(at_s: float) -> float:
    """The nearest sample of 48 kHz: marks are then rendered exactly where the layout says, and zero is told without rounding."""
    return round(at_s * RATE) / RATE


def tempo_at_zero(part: Part) -> Fraction:
    """Quarter notes a minute at the first downbeat of bar 1; a pickup may have had its own."""
    before = [tempo.quarters_per_minute for tempo in part.tempi if tempo.at_q <= 0]
    return before[-1] if before else part.tempi[0].quarters_per_minute


def _subdivision(beat: Beat, after_s: float, scale: float, sign: int) -> list[ClickBeat]:
    """The quiet clicks between this beat and the next: thirds of a dotted beat, else halves."""
    pieces = 3 if beat.length_q.numerator % 3 == 0 else 2
    step = (after_s - beat.at_s) / pieces
    return [ClickBeat((beat.at_s + k * step) / scale, "sub", sign, False) for k in range(1, pieces)]


def render_click(layout: ClickLayout, rate: int = RATE, marks: bool = True) -> Click:
    """The click as samples; every event is rounded to its sample once."""
    zero = round((LEAD_S - layout.marks_start_s) * rate)
    zero_s = zero / rate
    out = np.zeros(round((zero_s + layout.marks_end_s + MARK_GROUP_S + TAIL_S) * rate))
    waves = {kind: click_wave(kind, rate) * peak for kind, peak in CLICK_PEAK.items()}
    for beat in layout.beats:
        start = zero + round(beat.at_s * rate)
        wave = waves[beat.kind]
        out[start : start + len(wave)] += beat.sign * wave
    if marks:
        for at_s, rising in ((layout.marks_start_s, True), (layout.marks_end_s, False)):
            start = zero + round(at_s * rate)
            group = mark_group(rate, rising) * MARK_PEAK
            out[start : start + len(group)] += group
    return Click(out.astype(np.float32), rate, zero_s, layout)

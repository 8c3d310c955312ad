"""The guide: the part in modelled drum sounds over its click, so that an ear can learn what the eye reads.

Conventions: stems are stereo, float32, shape (n, 2), on the click's own timeline (zero at Click.zero_s). Drums are
panned as the line stands, heard from the front. Nothing is random between two runs.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..ear.level.loudness import integrated_lufs
from .click import Click
from .sounds import FIELD, hit
from .written import Part, WrittenStroke

Stereo = NDArray[np.float32]

# Share of the way from left (-1) to right (+1); the line from the front: basses small to large, tenors round the player.
PLACES = {
    "bass-1": -0.6, "bass-2": -0.3, "bass-3": 0.0, "bass-4": 0.3, "bass-5": 0.6,
    "tenor-1": -0.15, "tenor-2": 0.15, "tenor-3": -0.45, "tenor-4": 0.45, "tenor-5": -0.05, "tenor-6": 0.05,
}  # fmt: skip
VARIANTS = 3  # different hits of one drum at one loudness, taken in turn: no machine-gun repeats
LEVELS = 10  # loudness steps of the pool
BUZZ_EVERY_S = 0.028  # bounces of a press roll run into each other below about 30 ms (Hirsh 1959: order needs 20 ms)
BUZZ_LEVEL = 0.55
PART_LUFS = -25.0  # 2 LU under the programme level of EBU R 128; the click in the mix lies 9 LU below it
CLICK_SHARE = 0.5  # of the click file's own level: the part leads
# Strokes are all peak: above the knee they are rounded, as a drum in a room is, and never pass knee + head = 0.6.
KNEE, HEAD = 0.3, 0.3


@dataclass(frozen=True)
class Guide:
    """The part over the click, and both alone; same length, same zero."""

    mix: Stereo
    part: Stereo
    click: Stereo
    rate: int
    zero_s: float


def render_guide(part: Part, click: Click) -> Guide:
    """The guide on this click's grid and tempo."""
    rate, scale = click.rate, click.layout.tempo_scale
    drums = np.zeros((len(click.samples), 2), np.float32)
    pool = _Pool(rate)
    for at_s, stroke, share in _sounding(part, scale):
        wave = pool.take("rim" if stroke.technique in ("rim", "cross") else stroke.drum, stroke.level * share)
        start = round((click.zero_s + at_s) * rate)
        stop = min(len(drums), start + len(wave))
        if 0 <= start < stop:
            left, right = _gains(stroke.drum)
            drums[start:stop, 0] += left * wave[: stop - start]
            drums[start:stop, 1] += right * wave[: stop - start]
    drums = _at_level(drums, rate)
    clicks = np.repeat(click.samples[:, None] * np.float32(CLICK_SHARE), 2, axis=1)
    return Guide(drums + clicks, drums, clicks, rate, click.zero_s)


def _at_level(drums: Stereo, rate: int) -> Stereo:
    """The same loudness for every part, sparse or dense, with the highest peaks rounded off."""
    lufs = integrated_lufs(drums, rate)
    if lufs is None:
        return drums
    louder: Stereo = drums * np.float32(10 ** ((PART_LUFS - lufs) / 20))
    high = np.abs(louder) > KNEE
    peaks = louder[high]
    louder[high] = np.sign(peaks) * (KNEE + HEAD * np.tanh((np.abs(peaks) - KNEE) / HEAD))
    return louder


def _sounding(part: Part, scale: float) -> list[tuple[float, WrittenStroke, float]]:
    """(seconds from zero, stroke, share of its loudness) of everything that sounds; graces keep their distance."""
    out: list[tuple[float, WrittenStroke, float]] = []
    graces: list[WrittenStroke] = []
    for stroke in part.strokes:
        if stroke.kind == "grace":
            graces.append(stroke)
            continue
        out += [(stroke.at_s / scale - (stroke.at_s - grace.at_s), grace, 1.0) for grace in graces]
        graces = []
        at_s = stroke.at_s / scale
        if stroke.kind != "buzz":
            out.append((at_s, stroke, 1.0))
            continue
        bounces = max(1, int(stroke.length_s / scale / BUZZ_EVERY_S))
        out += [(at_s + k * BUZZ_EVERY_S, stroke, 1.0 if k == 0 else BUZZ_LEVEL) for k in range(bounces)]
    return out


def _gains(drum: str) -> tuple[float, float]:
    """Left and right gains of equal power (the middle is 3 dB down in each)."""
    angle = (PLACES.get(drum, 0.0) + 1) * np.pi / 4
    return float(np.cos(angle)), float(np.sin(angle))


class _Pool:
    """Hits made once and taken in turn; the seed depends on drum, loudness and variant alone."""

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self.waves: dict[tuple[str, int, int], NDArray[np.float32]] = {}
        self.turns: dict[str, int] = {}

    def take(self, drum: str, level: float) -> NDArray[np.float32]:
        step = max(1, min(LEVELS, round(level * LEVELS)))
        turn = self.turns.get(drum, 0)
        self.turns[drum] = turn + 1
        key = (drum, step, turn % VARIANTS)
        if key not in self.waves:
            rng = np.random.default_rng([*drum.encode(), step, key[2]])
            self.waves[key] = hit(drum, step / LEVELS, FIELD, self.rate, rng)
        return self.waves[key]

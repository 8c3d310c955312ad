"""An invented player plays a part: strikes in click time, with the faults that were asked for.

Conventions: `at_s` is click time, seconds from zero. The timing model is one 1/f series mixed with white noise so
that neighbours correlate by the skill's lag-one figure (real drummers: 0.3, see spec.Skill).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..music.written import Part, WrittenStroke
from .spec import Faults, Skill

CLOSEST_SHARE = 0.35  # two strokes never come closer than this share of their written distance: hands keep order
STRUCK = {("cymbal", "muted"): "cymbal-choke"}  # a drum word and a technique that make another sound
TOGETHER_MS = 3.0  # two hands that strike two drums at once; common practice, no source
BUZZ_GAP_S = (0.014, 0.026)  # bounces of a press roll; common practice, no source


@dataclass(frozen=True, slots=True)
class Strike:
    """One contact of stick and drum. index points into the written part; None: not on the page."""

    at_s: float
    index: int | None
    kind: str  # a written kind, "bounce" inside a buzz, or "extra"
    drum: str
    level: float


def own_bias_s(skill: Skill, rng: np.random.Generator) -> float:
    """How far before or behind the click this player sits in this take."""
    return float(1e-3 * (skill.bias_ms + skill.bias_spread_ms * rng.standard_normal()))


def play(
    part: Part, skill: Skill, faults: Faults, rng: np.random.Generator, bias_s: float | None = None
) -> tuple[Strike, ...]:
    """Every strike of one go, in order of time. bias_s: the player's own; None draws one."""
    page = faults.other_part or part
    if faults.loose_ms is not None:
        skill = replace(skill, spread_ms=faults.loose_ms)
    times = _times(page, skill, own_bias_s(skill, rng) if bias_s is None else bias_s, rng)
    strikes: list[Strike] = []
    for index, stroke in enumerate(page.strokes):
        if rng.random() < skill.missed_share:
            continue
        level = _level(stroke, skill, rng)
        at_s = float(times[index])
        drum = STRUCK.get((stroke.drum, stroke.technique)) or ("rim" if stroke.technique == "rim" else stroke.drum)
        strikes.append(Strike(at_s, index, stroke.kind, drum, level))
        if stroke.kind == "buzz":
            strikes += _bounces(stroke, at_s, level, rng)
        elif rng.random() < skill.extra_share:
            strikes.append(Strike(at_s + rng.uniform(0.06, 0.2), None, "extra", drum, level * 0.7))
    strikes = _spoil(page, strikes, faults, rng)
    if faults.other_part is not None:
        strikes = [replace(strike, index=None) for strike in strikes]
    strikes = [replace(strike, at_s=bent(strike.at_s, part, faults)) for strike in strikes]
    if faults.stop_share is not None:
        strikes = [strike for strike in strikes if strike.at_s < faults.stop_share * part.end_s]
    return tuple(sorted(strikes, key=lambda strike: strike.at_s))


def _times(page: Part, skill: Skill, bias_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Click time of every written stroke as it was played, graces and rolls included."""
    written = np.array([stroke.at_s for stroke in page.strokes])
    times = written.copy()
    grace = np.array([stroke.kind == "grace" for stroke in page.strokes], bool)
    main = np.flatnonzero(~grace)
    moments, which = np.unique(written[main], return_inverse=True)
    together = np.bincount(which, minlength=len(moments))[which] > 1
    shared = deviations(moments, skill, rng)[which] if len(main) else np.zeros(0)
    times[main] += bias_s + shared + np.where(together, 1e-3 * TOGETHER_MS * rng.standard_normal(len(main)), 0.0)
    gaps = np.diff(written[main], prepend=-9.0)
    for n, gap in zip(main.tolist(), gaps.tolist(), strict=True):
        if page.strokes[n].kind != "diddle":
            continue
        most = 0.3 * gap
        times[n] += np.clip(1e-3 * skill.diddle_ms * rng.standard_normal(), -most, most)
    times[main] = _in_order(written[main], times[main])
    for n in range(len(written) - 1, -1, -1):
        if grace[n]:
            after = times[n + 1] if n + 1 < len(times) else times[n]
            times[n] = after - 1e-3 * rng.uniform(*skill.flam_ms)
    return times


def deviations(written_s: NDArray[np.float64], skill: Skill, rng: np.random.Generator) -> NDArray[np.float64]:
    """Deviations in seconds, mean about 0 and standard deviation about the skill's spread.

    In fast strokes the independent part shrinks: nobody misses every 32nd by a third of its length at random.
    """
    n = len(written_s)
    if n == 0:
        return np.zeros(0)
    slow = _pink(n, rng)
    corr = float(np.corrcoef(slow[:-1], slow[1:])[0, 1]) if n > 8 else 0.7
    share = float(np.clip(skill.lag_one / max(corr, skill.lag_one, 1e-6), 0.0, 1.0))
    white = rng.standard_normal(n)
    gap = np.minimum(np.diff(written_s, prepend=-9.0), np.diff(written_s, append=1e9))
    white *= np.minimum(1.0, gap / (4e-3 * skill.spread_ms))
    mixed = np.sqrt(share) * slow + np.sqrt(1 - share) * white
    return np.asarray(1e-3 * skill.spread_ms * mixed, dtype=np.float64)


def _pink(n: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """A 1/f series of n values, mean 0 and variance 1."""
    m = max(64, 2 * n)
    spectrum = rng.standard_normal(m // 2 + 1) + 1j * rng.standard_normal(m // 2 + 1)
    frequency = np.arange(m // 2 + 1, dtype=float)
    frequency[0] = 1.0
    spectrum /= np.sqrt(frequency)
    spectrum[0] = 0.0
    series = np.fft.irfft(spectrum, m)[:n]
    series -= series.mean()
    spread = float(series.std()) or 1.0
    return np.asarray(series / spread, dtype=np.float64)


def _in_order(written: NDArray[np.float64], times: NDArray[np.float64]) -> NDArray[np.float64]:
    """Push a stroke back where it would overtake the one before it; strokes written together stay free."""
    out = times.copy()
    for n in range(1, len(out)):
        gap = written[n] - written[n - 1]
        if gap > 0:
            out[n] = max(out[n], out[n - 1] + CLOSEST_SHARE * gap)
    return out


def _level(stroke: WrittenStroke, skill: Skill, rng: np.random.Generator) -> float:
    """Loudness 0..1 as played; `hit` squares it, so decibels are halved here."""
    softer_db = {"grace": rng.uniform(6.0, 14.0), "diddle": rng.uniform(0.0, 4.0)}.get(stroke.kind, 0.0)
    change_db = skill.level_db * rng.standard_normal() - softer_db
    return float(np.clip(stroke.level * 10 ** (change_db / 40), 0.12, 1.0))


def _bounces(stroke: WrittenStroke, at_s: float, level: float, rng: np.random.Generator) -> list[Strike]:
    """The bounces of a buzz after its first contact, to its written end."""
    out: list[Strike] = []
    now = at_s
    while True:
        now += rng.uniform(*BUZZ_GAP_S)
        if now >= at_s + stroke.length_s:
            return out
        out.append(Strike(now, None, "bounce", stroke.drum, level * rng.uniform(0.5, 0.9)))


def _spoil(page: Part, strikes: list[Strike], faults: Faults, rng: np.random.Generator) -> list[Strike]:
    """In spoiled bars every second stroke is gone and as many others fall where nothing is written."""
    if not faults.spoiled_bars:
        return strikes
    out: list[Strike] = []
    for strike in strikes:
        bar = page.strokes[strike.index].played_bar if strike.index is not None else -1
        if bar not in faults.spoiled_bars or rng.random() < 0.4:
            out.append(strike)
            continue
        if rng.random() < 0.8:
            out.append(replace(strike, at_s=strike.at_s + rng.uniform(0.08, 0.3), index=None, kind="extra"))
    return out


def bent(at_s: float, part: Part, faults: Faults) -> float:
    """Click time after wrong tempo, drift and a late start."""
    bars = part.bars_from_zero()
    late = sum(bar.length_s for bar in bars[: faults.late_bars])
    slow = at_s / faults.tempo_ratio
    if faults.drift and part.end_s > 0:
        slow -= 0.5 * faults.drift * slow * slow / part.end_s
    return slow + late

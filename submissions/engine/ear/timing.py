"""How the written strokes lie against the click: bias, spread, drift, bar by bar, count by count, hand by hand.

Conventions: `late_ms` is played minus written, late is positive; bars are printed numbers in played order.

Means and spreads leave out what lies further than OUTLIER_SPREADS from the middle, so that one bar played wrong
does not colour the whole take; such strokes count where they belong, in their bar.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..facts import PlayedStroke, StrokeFacts, TimingFacts, ZeroFacts
from ..music.written import Part, WrittenStroke
from .strokes.chance import beyond_chance
from .strokes.events import due_s, events_of, late_start_s
from .strokes.matching import MOST_REACH_S
from .votes.page import pair_up
from .votes.paths import behind_s

Array = NDArray[np.float64]
Row = tuple[str, float, float, int]  # name, mean late_ms, spread ms, strokes
Bars = tuple[int, ...]

OUTLIER_SPREADS = 3.5
MAD_TO_SD = 1.4826  # of a normal distribution
STRAY_S = 0.25  # three spreads of the loosest player that still plays the page
LEAST_SCALE_MS = 2.0  # under it the middle of a very even player is itself uncertain
KNOWS_BIAS = ("marks", "click")  # the other ways put zero where the strokes are
WRONG_TEMPO = 0.004  # beyond it deviations are told from the player's own line; twice what steady players stray
MISSED_MS, EXTRA_MS = 60.0, 40.0  # what a missing or an unwritten stroke counts as in its bar: a bad stumble
# Friberg & Sundberg 1995 (JASA 98, abstract): one displaced tone is noticed from 6 ms on where tones are less than
# 240 ms apart, and from 2.5 % of their distance above. Nothing under it is worth a player's practice.
NOTICE_MS, NOTICE_SHARE, NOTICE_KNEE_S = 6.0, 0.025, 0.240
NAMED_BARS = 2
CURVE_POINTS_S = 1.0


def measure_timing(part: Part, zero: ZeroFacts, strokes: StrokeFacts) -> TimingFacts:
    """Everything about the timing of the scored strokes; empty where fewer than two were matched."""
    played = [p for p in strokes.strokes if p.late_ms is not None and part.strokes[p.index].scored]
    by_click, click_spread = _by_the_click(part, zero, strokes)
    if len(played) < 2:
        tempo = zero.tempo_ratio if strokes.matched else None
        return TimingFacts(tempo_ratio=tempo, click_beyond_chance=by_click, click_spread_ms=click_spread)
    at = np.array([p.written_s for p in played])
    late = np.array([p.late_ms or 0.0 for p in played])
    slope, line = _line(at, late)
    rest = late - _own_time(zero, at, line)
    kept = within(rest)
    centre = float(rest[kept].mean())
    written = [part.strokes[p.index] for p in played]
    worst, best = _bars_to_name(part, strokes, {p.index: float(r) - centre for p, r in zip(played, rest, strict=True)})
    flam, flam_spread = _flams(strokes)
    beyond = _beyond_chance(part, zero, strokes)
    if by_click is None or click_spread is None or (beyond is not None and beyond >= by_click):
        click_spread = _click_spread(late, _strays(part, zero, strokes))
    return TimingFacts(
        bias_ms=_bias(zero, late[kept], line) if zero.source in KNOWS_BIAS else None,
        spread_ms=float(rest[kept].std()),
        click_spread_ms=click_spread,
        drift_ppm=1e3 * slope,
        tempo_ratio=zero.tempo_ratio,
        by_bar=_by_bar(part, strokes, late),
        by_count=_rows(written, late, lambda s: s.count),
        by_hand=_rows([s for s in written if s.hand], late[[bool(s.hand) for s in written]], lambda s: s.hand or ""),
        by_drum=_rows(written, late, lambda s: s.drum),
        worst_bars=worst,
        best_bars=best,
        diddle_ms=_diddle_unevenness(strokes),
        flam_ms=flam,
        flam_spread_ms=flam_spread,
        curve_ms=_curve(at, late),
        beyond_chance=beyond,
        click_beyond_chance=by_click,
    )


def _by_the_click(part: Part, zero: ZeroFacts, strokes: StrokeFacts) -> tuple[float | None, float | None]:
    """How much of the page is found over chance at the click's own tempo, or of what was heard is explained if that is less; spread, ms.

    Asked where marks or click know zero and the strokes chose another tempo: that of a loose player's few is a guess.
    """
    if zero.source not in KNOWS_BIAS or abs(zero.tempo_ratio - 1) <= WRONG_TEMPO or not strokes.heard_s:
        return None, None
    heard, kept = np.array(strokes.heard_s), replace(zero, tempo_ratio=1.0, path=())
    due = np.array([due_s(event.at_s, part, kept) for event in events_of(part)])
    mine, its = pair_up(heard, due, MOST_REACH_S)
    beyond, inside = beyond_chance(heard, due), np.count_nonzero((heard > due[0] - MOST_REACH_S) & (heard < due[-1] + MOST_REACH_S))
    if beyond is None or not len(mine):
        return None, None
    return min(beyond, len(mine) / int(inside)), float(1e3 * np.std(heard[mine] - due[its]))


def _click_spread(late_ms: Array, strays_ms: Array) -> float:
    """Spread about the click in which what lies far out counts, but no further than strokes that belong: looseness is made of it."""
    middle = float(np.median(late_ms))
    most = OUTLIER_SPREADS * max(MAD_TO_SD * float(np.median(np.abs(late_ms - middle))), LEAST_SCALE_MS)
    return float(np.clip(np.concatenate([late_ms, strays_ms]), middle - most, middle + most).std())


def _strays(part: Part, zero: ZeroFacts, strokes: StrokeFacts) -> Array:
    """How late strokes are that came too far from their place to be paired with it, ms: written and missed, heard and
    unwritten, nearer to each other than to any other written place. Left out, they would make the loosest look even."""
    scored = [p for p in strokes.strokes if part.strokes[p.index].scored]
    gone = [p.written_s for p in scored if p.played_s is None] if strokes.extra_s else []
    if not gone:
        return np.zeros(0)
    at = np.unique([p.written_s for p in scored])
    free = ((np.array(strokes.extra_s) - (zero.zero_s or 0.0)) / zero.clock_ratio - late_start_s(part, zero)).tolist()
    out: list[float] = []
    for written_s in gone:
        nearest = min(free, key=lambda heard: abs(heard - written_s), default=None)
        others = np.abs(at - written_s)
        room = float(np.min(others[others > 0], initial=2 * STRAY_S)) / 2
        if nearest is not None and abs(nearest - written_s) <= room:
            out.append(1e3 * (nearest - written_s))
            free.remove(nearest)
    return np.array(out)


def _beyond_chance(part: Part, zero: ZeroFacts, strokes: StrokeFacts) -> float | None:
    """How much more of the page is found than chance finds, where the strokes chose a tempo or a place to be found at."""
    if (zero.sure and abs(zero.tempo_ratio - 1) <= WRONG_TEMPO) or not strokes.heard_s:
        return None
    late = [p.played_s - due_s(p.written_s, part, zero) for p in strokes.strokes if p.played_s is not None]
    due = np.array([due_s(event.at_s, part, zero) for event in events_of(part)]) + float(np.median(late))
    return beyond_chance(np.array(strokes.heard_s), due)


def _own_time(zero: ZeroFacts, at_s: Array, line_ms: Array) -> Array:
    """What the player's own time makes of the deviations, ms: how even somebody is does not hang on where they drift."""
    if zero.path:
        return 1e3 * np.array([behind_s(at, zero.path) for at in at_s.tolist()])
    return line_ms if abs(zero.tempo_ratio - 1) > WRONG_TEMPO else np.zeros(len(at_s))


def _bias(zero: ZeroFacts, late_ms: Array, line_ms: Array) -> float:
    """How late a player is as a whole; of one who keeps another tempo a mean says nothing, so how late they began."""
    return float(line_ms[0] if abs(zero.tempo_ratio - 1) > WRONG_TEMPO else late_ms.mean())


def within(late: Array) -> NDArray[np.bool_]:
    """Which deviations belong to the playing rather than to a stumble, shape (n,)."""
    middle = np.median(late)
    scale = max(MAD_TO_SD * float(np.median(np.abs(late - middle))), LEAST_SCALE_MS)
    kept: NDArray[np.bool_] = np.abs(late - middle) <= OUTLIER_SPREADS * scale
    return kept


def notice_ms(gap_s: float) -> float:
    """The smallest shift of one stroke that a listener can notice where strokes are gap_s apart."""
    return NOTICE_MS if gap_s < NOTICE_KNEE_S else 1e3 * NOTICE_SHARE * gap_s


def _line(at_s: Array, late_ms: Array) -> tuple[float, Array]:
    """Slope in ms a second and values of a straight line through the deviations, stumbles left out."""
    kept = np.ones(len(at_s), bool)
    slope, base = 0.0, float(late_ms.mean())
    for _ in range(3):
        if np.count_nonzero(kept) < 3 or float(np.ptp(at_s[kept])) <= 0:
            break
        slope, base = (float(v) for v in np.polyfit(at_s[kept], late_ms[kept], 1))
        kept = within(late_ms - slope * at_s - base)
    return slope, slope * at_s + base


def _rows(written: list[WrittenStroke], late: Array, key: Callable[[WrittenStroke], str]) -> tuple[Row, ...]:
    """(key, mean, spread, strokes) in order of first appearance."""
    groups: dict[str, list[float]] = {}
    for stroke, value in zip(written, late.tolist(), strict=True):
        groups.setdefault(key(stroke), []).append(value)
    return tuple((name, *_mean_spread(values), len(values)) for name, values in groups.items())


def _mean_spread(values: Iterable[float]) -> tuple[float, float]:
    array = np.array(list(values))
    kept = array[within(array)]
    return float(kept.mean()), float(kept.std())


def _by_bar(part: Part, strokes: StrokeFacts, late: Array) -> tuple[tuple[int, float, float, int], ...]:
    bars: dict[int, list[float]] = {}
    for p in strokes.strokes:
        if p.late_ms is not None and part.strokes[p.index].scored:
            bars.setdefault(part.strokes[p.index].played_bar, []).append(p.late_ms)
    return tuple((part.bars[n].number, *_mean_spread(values), len(values)) for n, values in sorted(bars.items()))


def _bars_to_name(part: Part, strokes: StrokeFacts, rest_ms: dict[int, float]) -> tuple[Bars, Bars]:
    """The bars to practise and the best ones, by root mean square deviation, missing and unwritten strokes in it."""
    squares: dict[int, list[float]] = {}
    whole: dict[int, bool] = {}
    for p in strokes.strokes:
        written = part.strokes[p.index]
        if not written.scored:
            continue
        bar = written.played_bar
        missed = p.played_s is None
        squares.setdefault(bar, []).append((MISSED_MS if missed else rest_ms.get(p.index, 0.0)) ** 2)
        whole[bar] = whole.get(bar, True) and not missed
    for bar in _bars_of_extras(part, strokes):
        if bar in squares:
            squares[bar][0] += EXTRA_MS**2
            whole[bar] = False
    badness = {bar: float(np.sqrt(np.mean(values))) for bar, values in squares.items()}
    floor = {bar: notice_ms(part.bars[bar].length_s / max(len(squares[bar]), 1)) for bar in badness}
    worst = sorted((bar for bar in badness if badness[bar] > floor[bar]), key=lambda bar: -badness[bar])
    best = sorted((bar for bar in badness if whole[bar] and len(squares[bar]) > 2), key=lambda bar: badness[bar])
    named = _printed(part, worst)
    return named, tuple(n for n in _printed(part, best) if n not in named)


def _printed(part: Part, bars: list[int]) -> tuple[int, ...]:
    numbers: list[int] = []
    for bar in bars:
        if part.bars[bar].number not in numbers:
            numbers.append(part.bars[bar].number)
    return tuple(numbers[:NAMED_BARS])


def _bars_of_extras(part: Part, strokes: StrokeFacts) -> list[int]:
    """The played bar of each unwritten stroke, by the matched strokes around it."""
    pairs = sorted((p.played_s, p.written_s) for p in strokes.strokes if p.played_s is not None)
    if len(pairs) < 2:
        return []
    file_s, page_s = np.array(pairs).T
    starts = np.array([bar.at_s for bar in part.bars])
    inside = [at for at in strokes.extra_s if file_s[0] - 0.5 < at < file_s[-1] + 0.5]
    places = np.interp(inside, file_s, page_s)
    return [int(n) for n in np.clip(np.searchsorted(starts, places, side="right") - 1, 0, len(starts) - 1)]


def _diddle_unevenness(strokes: StrokeFacts) -> float | None:
    """Standard deviation of the distance from a stroke to the diddle after it, against the written one, ms."""
    pairs = _neighbours(strokes, "diddle")
    off = [1e3 * ((b.played_s or 0.0) - (a.played_s or 0.0) - (b.written_s - a.written_s)) for a, b in pairs]
    return float(np.std(off)) if len(off) >= 4 else None


def _flams(strokes: StrokeFacts) -> tuple[float | None, float | None]:
    """Mean and spread of the gap from grace to stroke, ms."""
    gaps = []
    for grace, main in pairwise(strokes.strokes):
        if grace.kind == "grace" and main.kind != "grace" and None not in (grace.played_s, main.played_s):
            gaps.append(1e3 * ((main.played_s or 0.0) - (grace.played_s or 0.0)))
    if len(gaps) < 3:
        return None, None
    return float(np.mean(gaps)), float(np.std(gaps))


def _neighbours(strokes: StrokeFacts, kind: str) -> list[tuple[PlayedStroke, PlayedStroke]]:
    """Pairs of played strokes next to each other on the page, the second of this kind."""
    main = [p for p in strokes.strokes if p.kind != "grace"]
    pairs = pairwise(main)
    return [(a, b) for a, b in pairs if b.kind == kind and a.played_s is not None and b.played_s is not None]


def _curve(at_s: Array, late_ms: Array) -> tuple[tuple[float, float], ...]:
    """The player's own time: (seconds from zero, mean late_ms around it), once a second of music."""
    wanted = np.arange(at_s[0], at_s[-1] + CURVE_POINTS_S, CURVE_POINTS_S)
    middle = np.median(late_ms)
    scale = max(MAD_TO_SD * float(np.median(np.abs(late_ms - middle))), LEAST_SCALE_MS)
    near = np.exp(-0.5 * ((wanted[:, None] - at_s[None, :]) / CURVE_POINTS_S) ** 2) + 1e-9
    clipped = np.clip(late_ms, middle - 3 * scale, middle + 3 * scale)
    values = near @ clipped / near.sum(axis=1)
    return tuple((float(t), float(v)) for t, v in zip(wanted, values, strict=True))

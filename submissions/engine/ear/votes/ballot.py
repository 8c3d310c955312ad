"""Where zero lies by the written strokes alone: every heard time minus every written time votes.

Conventions: written times are seconds from zero at the performance tempo; heard times are seconds of file time;
`stretch` is file seconds a written second (1 / tempo ratio times the clock ratio). A hypothesis says
heard = zero + stretch * written. Its `gain` is a log likelihood, in nats, over the hypothesis that nothing heard
has anything to do with the page: a written stroke sounds with probability HIT around its place, everything else
comes at random at the rate of the whole take.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..struck.onsets import Onsets
from .histogram import BUZZ_RATE, HIT, WIDE_TEMPO, Histogram
from .means import heard_late, median, robust_mean, standard_error
from .page import WINDOW_S, Page, pair_up, strongest

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

COUNT_HIT = 0.8  # share of a count-off's beats that are heard
COUNT_COST = 3.0  # nats: most takes have no count-off
LATE_BARS = 4
LATE_COST = 4.0  # nats: most players come in when they have counted
FREE_COST = 4.0  # nats: a line fitted to the strokes always lies somewhat better than one that is given
TEMPO_COST = 5.0  # nats: who plays to a click plays its tempo
NEARLY_TEMPO = 0.004  # a tempo this near to the written one is a line through a player's wander
SAME_TEMPO = 4e-4  # tempi closer than this are one: clocks and rounding
LEAST_HIT = 0.5  # a phone that hears fewer strokes than are written has missed some, whatever the place; half at most
EDGE_COST = 7.0  # nats: beginning late or stopping early is one event, however many strokes it takes away
GOOD_SUPPORT = 0.75  # share of written strokes found above which no other tempo is looked for
FAIR_BOTH = 0.6  # ... or share of the page found and share of what was heard explained, both
SETTLED_NATS = (
    0.3  # a written stroke over chance at the rate of all that was heard; other parts and tempi stay under 0.2
)
LEAST_KIND = 5  # strokes of either kind, before their mean levels are compared
AGREEING_ERRORS = 2.0  # standard errors by which the same strokes must rise further, for their level to count in full
LEVEL_SD_DB = 3.0  # no kind of sound is steadier than hands
CANDIDATES = 14
KEPT = 8


@dataclass(frozen=True)
class Hypothesis:
    """One way the page may lie on the recording."""

    zero_s: float
    stretch: float
    gain: float
    matched: int
    support: float  # share of written strokes heard
    explained: float  # share of heard strokes within the part's span that are written
    counted: int  # beats of a count-off heard before it
    late_bars: int  # whole bars between the end of that count-off and bar 1 as played
    spread_s: float
    sd_s: float


def weigh(onsets: Onsets, page: Page, zero_s: float, stretch: float, rate: float | None = None) -> Hypothesis:
    """The hypothesis near (zero_s, stretch) that makes the robust mean deviation nought, and its gain.

    rate: strokes a second that come at random; None takes all that was heard, and listens to no count-off.
    """
    rate_known, heard = rate is not None, onsets.times_s
    spread, hit = 0.02, float(np.clip(len(heard) / len(page), LEAST_HIT, HIT))
    for _ in range(3):
        due = zero_s + stretch * page.at_s
        mine, its = pair_up(heard, due)
        if len(mine) < 3:
            return Hypothesis(zero_s, stretch, float(np.log(1 - hit)) * len(page), len(mine), 0.0, 0.0, 0, 0, spread, 0.05)
        shift, spread = robust_mean(heard[mine] - due[its])
        zero_s += shift
    due = zero_s + stretch * page.at_s
    mine, its = pair_up(heard, due)
    off = heard[mine] - due[its]
    wide, spread = max(spread, 0.004), float(np.clip(spread, 0.004, 0.03))
    rate = rate or max(1.0, len(heard) / max(1.0, heard[-1] - heard[0]))
    gain = float(np.sum(_hit_gain(off, spread, hit, rate))) - _missing_cost(its, len(page), hit)
    gain += _level_gain(onsets.level_db[mine], page.level[its])
    others = (heard > due[0] - WINDOW_S) & (heard < due[-1] + WINDOW_S)
    others[mine] = False
    gain += _own_gain(onsets, mine, others)
    gain -= _tempo_cost(stretch, page.bpm)
    free = np.ones(len(heard), bool)
    free[mine] = False
    buzzed = _inside(heard, zero_s + stretch * page.buzz_s) & free
    long = float(np.sum(page.buzz_s[:, 1] - page.buzz_s[:, 0])) * stretch
    gain += float(buzzed.sum()) * np.log((BUZZ_RATE + rate) / rate) - BUZZ_RATE * long
    before = heard[free & (heard < due[0] - WINDOW_S)]
    count_gain, counted, late = 0.0, 0, 0
    if rate_known:
        count_gain, counted, late = max(
            _count_off(before, zero_s - bars * stretch * page.bar_s, stretch, page, spread, rate, bars)
            for bars in range(LATE_BARS + 1)
        )
    inside = (heard > due[0] - WINDOW_S) & (heard < due[-1] + WINDOW_S)
    explained = (len(mine) + int(buzzed.sum())) / max(1, int(inside.sum()))
    share = len(mine) / len(page)
    sd = standard_error(off, wide, 1 - share, given=abs(stretch - 1) < SAME_TEMPO)
    gain = float(gain + count_gain)
    explained = min(1.0, explained)
    return Hypothesis(zero_s, stretch, gain, len(mine), share, explained, counted, late, wide, sd)


def _tempo_cost(stretch: float, bpm: float) -> float:
    """Nats against another tempo than the written one; a click of whole beats a minute is likelier than no click."""
    if abs(stretch - 1) < SAME_TEMPO:
        return 0.0
    on_ladder = abs(bpm / stretch - round(bpm / stretch)) < 1e-6
    return TEMPO_COST + (0.0 if on_ladder else FREE_COST)


def _hit_gain(late: Array, spread: float, share: float, rate: float) -> Array:
    """Nats for each stroke heard near its place; a small part of them lies anywhere in the window."""
    outlier = 0.1 * spread / WINDOW_S
    density = np.exp(-0.5 * (late / spread) ** 2) / (np.sqrt(2 * np.pi) * spread)
    gain: Array = np.log(share * (density * (1 - outlier) + outlier / (2 * WINDOW_S)) / rate)
    return gain


def _inside(times: Array, spans: Array) -> NDArray[np.bool_]:
    """Which of the sorted times lie in one of the spans (k, 2)."""
    out = np.zeros(len(times), bool)
    for begin, end in spans:
        out[np.searchsorted(times, begin - 0.02) : np.searchsorted(times, end + 0.02)] = True
    return out


def _count_off(
    before: Array, zero_s: float, stretch: float, page: Page, spread: float, rate: float, bars: int
) -> tuple[float, int, int]:
    """(nats, beats heard, bars) of a count-off into zero_s: one sound a beat and little else until the first stroke.

    bars: how many of them then pass before the playing begins.
    """
    due = zero_s + stretch * page.count_s
    if len(due) < 2 or not len(before):
        return 0.0, 0, 0
    beat = median(np.diff(due))
    inside = before[before > due[0] - 0.5 * beat]
    mine, its = pair_up(inside, due)
    others = len(inside) - len(mine)
    gain = float(np.sum(_hit_gain(inside[mine] - due[its], max(spread, 0.012), COUNT_HIT, rate)))
    gain += (len(due) - len(its)) * float(np.log(1 - COUNT_HIT)) - 1.5 * others - COUNT_COST
    gain -= LATE_COST if bars else 0.0
    return (gain, len(mine), bars) if gain > 0 else (0.0, 0, 0)


def _missing_cost(found: Ints, count: int, hit: float) -> float:
    """Strokes missed one by one cost one by one; a late beginning or an early stop is one event each."""
    each = -float(np.log(1 - hit))
    if not len(found):
        return each * count
    head, tail = int(found[0]), count - 1 - int(found[-1])
    inner = int(found[-1] - found[0]) + 1 - len(found)
    return min(each * head, EDGE_COST) + min(each * tail, EDGE_COST) + each * inner


def _level_gain(heard_db: Array, written: Array) -> float:
    """What the accents say: the log likelihood of the best line from written level to heard level."""
    if len(written) < 12 or np.ptp(written) < 0.05:
        return 0.0
    # The correlation coefficient; numpy's own costs several times as much for a few hundred values.
    heard, due = heard_db - heard_db.mean(), written - written.mean()
    r = float(heard @ due) / float(np.sqrt((heard @ heard) * (due @ due)) + 1e-30)
    return -0.5 * len(written) * float(np.log(1 - min(r, 0.98) ** 2)) if r > 0 else 0.0


def _own_gain(onsets: Onsets, mine: Ints, others: NDArray[np.bool_]) -> float:
    """What it says that strokes on the page are louder than what else was heard meanwhile: neighbours, echoes, clicks.

    The log likelihood of two kinds of sound, each about its own mean level, over one kind; nothing where the page's are
    not the louder ones. It counts as far as their rises agree, because the late sound of a crash may be louder than
    its attack, but it does not rise as far.
    """
    own, rest = onsets.level_db[mine], onsets.level_db[others]
    if min(len(own), len(rest)) < LEAST_KIND or own.mean() <= rest.mean():
        return 0.0
    n = len(own) + len(rest)
    within = max((len(own) * own.var() + len(rest) * rest.var()) / n, LEVEL_SD_DB**2)
    between = len(own) * len(rest) / n**2 * float(own.mean() - rest.mean()) ** 2
    rises, usual = onsets.strengths[mine], onsets.strengths[others]
    error = float(np.sqrt(rises.var() / len(rises) + usual.var() / len(usual))) + 1e-9
    agrees = float(np.clip((rises.mean() - usual.mean()) / error / AGREEING_ERRORS, 0.0, 1.0))
    return agrees * 0.5 * n * float(np.log1p(between / within))


def vote(onsets: Onsets, page: Page, known: Hypothesis | None = None) -> list[Hypothesis]:
    """Hypotheses by falling gain, at most KEPT; known: one of an earlier vote, whose tempo is the only other one tried."""
    if len(page) < 3 or len(onsets) < 3:
        return []
    onsets = strongest(onsets, page)
    heard = onsets.times_s
    histogram = Histogram(heard, page, WIDE_TEMPO[1])

    def tried(stretch: float, count: int = CANDIDATES) -> list[Hypothesis]:
        return [weigh(onsets, page, zero, stretch) for zero in histogram.peaks(stretch, count)]

    found = tried(1.0)
    if known is not None:
        found.append(weigh(onsets, page, known.zero_s, known.stretch))
    for stretches, straight in histogram.tempi() if known is None else ():
        if any(_settled(h, page) for h in found):
            break
        for k in np.argsort(histogram.heights(stretches))[::-1][:4]:
            more = tried(float(stretches[k]), 4)
            found += more if straight else [_straighten(onsets, page, h) for h in more]
    found = distinct(found)
    if abs(found[0].stretch - 1) > SAME_TEMPO:
        found = distinct([*found, _straighten(onsets, page, found[0])])
    rate = _random_rate(heard, found[0])
    weighed = [weigh(onsets, page, h.zero_s, h.stretch, rate) for h in found[:KEPT]]
    return distinct([_unhide(onsets, page, h) for h in weighed])


def _unhide(onsets: Onsets, page: Page, one: Hypothesis) -> Hypothesis:
    """The hypothesis without what its soft attacks are heard late by."""
    due = one.zero_s + one.stretch * page.at_s
    mine, its = pair_up(onsets.times_s, due)
    if len(mine) < 3 or len(onsets.attack_db) < len(onsets):
        return one
    late_s, sd_s = heard_late(onsets.times_s[mine] - due[its], onsets.attack_db[mine], one.spread_s)
    return replace(one, zero_s=one.zero_s - late_s, sd_s=float(np.hypot(one.sd_s, sd_s)))


def _settled(one: Hypothesis, page: Page) -> bool:
    """Whether no other tempo need be tried: much is found, and it lies where it is written.

    A dense page has a stroke near everything that is heard, but chance hits spread over the whole window and bring
    no nats.
    """
    enough = one.support >= GOOD_SUPPORT or min(one.support, one.explained) > FAIR_BOTH
    return enough and one.gain > SETTLED_NATS * len(page)


def _random_rate(heard: Array, best: Hypothesis) -> float:
    """Strokes a second that the best hypothesis leaves unexplained."""
    span = max(1.0, float(heard[-1] - heard[0]))
    return max(1.0, (1 - best.explained) * len(heard) / span)


def _straighten(onsets: Onsets, page: Page, first: Hypothesis) -> Hypothesis:
    """The hypothesis with its stretch fitted too (a line through the deviations, outliers weighted down)."""
    zero, stretch = first.zero_s, first.stretch
    for _ in range(4):
        due = zero + stretch * page.at_s
        mine, its = pair_up(onsets.times_s, due)
        if len(mine) < 8:
            return first
        late, at = onsets.times_s[mine] - due[its], page.at_s[its]
        _, spread = robust_mean(late)
        weight = np.minimum(1.0, 2.0 * spread / np.maximum(np.abs(late), 1e-9))
        slope, shift = np.polyfit(at, late, 1, w=np.sqrt(weight))
        zero, stretch = zero + float(shift), stretch + float(slope)
    if abs(stretch - 1) < NEARLY_TEMPO:
        return weigh(onsets, page, first.zero_s, 1.0)
    return weigh(onsets, page, zero, stretch)


def distinct(found: list[Hypothesis], apart_s: float = 0.030) -> list[Hypothesis]:
    """By falling gain, without those that another one already stands for."""
    kept: list[Hypothesis] = []
    for one in sorted(found, key=lambda h: -h.gain):
        if all(abs(one.zero_s - other.zero_s) > apart_s for other in kept):
            kept.append(one)
    return kept[:CANDIDATES]

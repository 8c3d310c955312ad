"""Whether a zero that the strokes gave or contradict, or that a faint click gave, may be called sure.

Conventions: as in `votes.ballot`.
"""

import numpy as np
from numpy.typing import NDArray

from ..facts import ZeroFacts
from ..music.click import ClickLayout
from .clicks.ours import REACH_S
from .clicks.search import FAR_CLOCK, FAR_HEIGHT, FoundClick
from .strokes.chance import LEAST_BEYOND_CHANCE
from .timing import KNOWS_BIAS
from .votes.ballot import SAME_TEMPO, Hypothesis
from .votes.known import SURE_BOTH, SURE_GAP, SURE_SUPPORT, know_place
from .votes.page import Page, pair_up

Array = NDArray[np.float64]

SURE_BEAT = 0.2  # of a beat: the strokes then tell which beat of a stranger's click zero is
FOOTLESS_SD_S = 2e-3  # between the two that a stranger's click is timed to: 0.45 ms with a foot, 4 ms without
USUAL_REACH_S = 0.045  # one and a half times a beginner's usual push
LEAST_HEAD = 8
HEAD_S = 0.045  # nine in ten strokes of a beginner lie as near to their own middle
HEAD_SHARE, REST_SHARE = 0.7, 0.6  # found by chance on a page of sixteenths: six in ten
LEAST_STROKES = 8


def is_certain(click: FoundClick, ballot: list[Hypothesis]) -> bool:
    """Whether our click shows as no chance could anywhere, or strokes that know their place put zero there too.

    Where the strokes do not know it (a short page that repeats), a faint sum may be the best of many looked at.
    """
    if click.height >= FAR_HEIGHT:
        return True
    return know_place(ballot) and abs(ballot[0].zero_s - click.zero_s) < REACH_S


def is_chance(click: FoundClick, ballot: list[Hypothesis], bar_s: float) -> bool:
    """Whether a faint sum is refuted by strokes that know their place: they lie off every bar of it, or it has players
    sit out bars that their own recording does not hold from the count-off on."""
    if click.height >= FAR_HEIGHT or not know_place(ballot):
        return False
    late_s = ballot[0].zero_s - click.zero_s
    bars = round(late_s / bar_s)
    return abs(late_s - bars * bar_s) > REACH_S or (bars > 0 and click.zero_s < 0)


def is_nearer(layout: ClickLayout, ballot: list[Hypothesis]) -> bool:
    """Whether strokes that tell a tempo lie nearer to this layout's than to the written one.

    A third of a second missing between two mark groups has the length of a tempo one beat a minute away.
    """
    if not ballot or ballot[0].support <= SURE_SUPPORT:
        return True
    return abs(ballot[0].stretch * layout.tempo_scale - 1) < abs(ballot[0].stretch - 1)


def tells_tempo(ballot: list[Hypothesis]) -> bool:
    """Whether the strokes, where any tell something, fit the page at their tempo both ways: one mark group knows no
    tempo, and other dense pages fit this one by chance to six strokes in ten at some tempo."""
    return not ballot or min(ballot[0].support, ballot[0].explained) > SURE_BOTH


def is_off_beat(click: FoundClick, ballot: list[Hypothesis], beat_s: float) -> bool:
    """Whether a stranger's click is refuted: strokes that keep its tempo lie, wherever they may lie, off its beats.

    Strokes that sound the same can fall together by chance, at any place and clock; nobody plays that far from a click.
    What begins so softly that it has no foot is more often such a chance, and has to lie where players usually do.
    """
    if click.ours or not ballot or ballot[0].support <= SURE_SUPPORT or abs(ballot[0].stretch - 1) > SAME_TEMPO:
        return False
    footless = click.sd_s > FOOTLESS_SD_S
    if not footless and not know_place(ballot):
        return False
    allowed = [h for h in ballot if ballot[0].gain - h.gain < SURE_GAP]
    beats = [(h.zero_s - click.zero_s) / beat_s for h in allowed]
    reach = min((USUAL_REACH_S if footless else REACH_S) / beat_s, SURE_BEAT)
    is_odd = footless and abs(click.ratio - 1) > FAR_CLOCK
    return is_odd or all(abs(at - round(at)) > reach for at in beats)


def lies_by_chance(facts: ZeroFacts, beyond_chance: float | None) -> bool:
    """Whether a zero that strokes alone gave at a tempo of their choosing lies there no better than chance would put it."""
    return facts.source not in KNOWS_BIAS and beyond_chance is not None and beyond_chance < LEAST_BEYOND_CHANCE


def begins_there(facts: ZeroFacts, heard: Array, page: Page) -> bool:
    """Whether the first quarter of the page is found as the rest is; where a stretch of the recording is missing, the
    rest alone tells a zero that is too early."""
    count = len(page) // 4
    if facts.zero_s is None or facts.path or count < LEAST_HEAD:
        return True
    start_s = facts.zero_s + facts.clock_ratio * facts.late_bars * page.bar_s
    due = start_s + facts.clock_ratio / facts.tempo_ratio * page.at_s
    mine, its = pair_up(heard, due)
    if len(mine) < LEAST_STROKES:
        return True
    late = heard[mine] - due[its]
    found = np.zeros(len(page), bool)
    found[its] = np.abs(late - np.median(late)) < HEAD_S
    rest = float(found[count:].mean())
    return rest < REST_SHARE or float(found[:count].mean()) > HEAD_SHARE * rest

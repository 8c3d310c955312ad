"""Where zero lies in a take, by four ways in order of trust: sync marks, click, count-off, written strokes.

Conventions: seconds of file time unless a name says otherwise; `ratio` is file seconds a click second. A way is
believed only when something independent of it agrees; what cannot be decided is reported as not sure.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..facts import ZeroFacts
from ..music.click import ClickLayout, click_layout
from ..music.written import Part
from .baseband import transform
from .clicks.search import FoundClick, confirm_ours, find_click, find_ours
from .marks.believed import Marks, any_plain, believe_pair, believe_single, beside_click, in_tempo, other_tempo
from .marks.groups import search_marks
from .marks.one_group import by_end_group, with_clock
from .struck.onsets import Onsets
from .trust import (
    LEAST_STROKES,
    SURE_BEAT,
    USUAL_REACH_S,
    begins_there,
    is_certain,
    is_chance,
    is_nearer,
    is_off_beat,
    tells_tempo,
)
from .votes.ballot import Hypothesis, vote
from .votes.histogram import NEAR_TEMPO
from .votes.known import SURE_GAP, SURE_SD_S, SURE_SUPPORT, gap, is_sure
from .votes.page import Page, only, page_of, pair_up, strongest
from .votes.paths import OWN_AWAY_S, WIDE_PUSH_S, beats_tempo, begin_with_click, follow_path

COUNTED_BEATS = 3  # heard, to call a count-off one
CLICK_ONSET_S = 0.006  # an onset this near to a click is the click ...
STROKE_OVER_CLICK = 1.6  # ... unless it is louder than the click by this much (4 dB)
CLICK_PEAK_S = 0.012
STROKE_PEAK_S = 0.030  # the longest drum of the line has had its first swing
BAR_OFF_S = 0.120  # who begins bars late still begins on the beat, as well as players do
OTHER_TEMPO = 0.01
FAINTEST_STRANGE_DB = 40.0  # made takes: such clicks were found down to 30 dB under the drums, chance ones lay at 31 to 71


@dataclass(frozen=True)
class ClickHeard:
    """The click as the phone heard it."""

    times_s: tuple[float, ...]  # file time of each click, first sample
    under_drums_db: float | None
    ours: bool


@dataclass(frozen=True)
class Alignment:
    """Zero, and the click where one was heard."""

    zero: ZeroFacts
    click: ClickHeard | None = None


def find_zero(mono: NDArray[np.floating], rate: int, part: Part, layout: ClickLayout, onsets: Onsets) -> ZeroFacts:
    """Where bar 1 begins in mono, shape (n,); see `align`."""
    return align(mono, rate, part, layout, onsets).zero


def align(mono: NDArray[np.floating], rate: int, part: Part, layout: ClickLayout, onsets: Onsets) -> Alignment:
    """Zero by the most trusted way that the sound allows, and the click where it was heard."""
    if len(mono) < rate // 2 or not np.any(mono):
        return Alignment(ZeroFacts())
    spectrum = transform(mono, rate)
    page = page_of(part, layout)
    ballot = vote(onsets, page)
    starts, ends = search_marks(spectrum)
    layouts = _layouts(layout, part, ballot, other_tempo(layout, starts, ends))
    click: FoundClick | None = None
    marks, used = None, layout
    for used in layouts:
        if used is layout or (in_tempo(used, ballot) and is_nearer(used, ballot)):
            marks = believe_pair(mono, rate, used, starts, ends)
        if marks:
            click = confirm_ours(spectrum, used, marks.zero_s)
            break
    for used in () if marks else layouts:
        is_told = used is layout or tells_tempo(ballot)
        marks = believe_single(mono, rate, used, part, [*starts, *ends], ballot) if is_told else None
        if marks and marks.start_s is not None:
            click = confirm_ours(spectrum, used, marks.zero_s)
            marks = with_clock(marks, click, used)
        elif marks:
            click = find_ours(spectrum, used, part, ballot, onsets.times_s)
            marks = by_end_group(marks, click, used)
        else:
            click = find_click(mono, rate, spectrum, used, part, ballot, onsets.times_s)
            bar_s = part.bars_from_zero()[0].length_s / used.tempo_scale
            if click is not None and click.ours:
                click = None if is_chance(click, ballot, bar_s) else click
            elif click is not None and (
                is_off_beat(click, ballot, 60.0 / used.bpm) or _too_faint(click, mono, rate, onsets, page, ballot)
            ):
                click = None
        if marks or click:
            break
    else:
        used = used if marks else layout
    alone = onsets
    if click is not None:
        alone = _strokes_alone(onsets, click, mono, rate)
        if ballot and len(alone) < len(onsets):
            ballot = vote(alone, page, ballot[0]) or ballot
    facts = _leave(_facts(marks, click, ballot, part, used), strongest(alone, page).times_s, page, ballot)
    if marks is None and facts.sure and facts.source != "click" and any_plain(mono, rate, [*starts, *ends]):
        facts = replace(facts, sure=False)
    is_whole = (marks and None not in (marks.start_s, marks.end_s)) or (click and click.whole)
    if facts.sure and not is_whole and not begins_there(facts, strongest(alone, page).times_s, page):
        facts = replace(facts, sure=False)
    return Alignment(facts, _heard(click, mono, rate, alone, page, ballot))


def _layouts(layout: ClickLayout, part: Part, ballot: list[Hypothesis], scales: list[float]) -> list[ClickLayout]:
    """The layout, then those of other tempi that marks or strokes speak for: whole beats a minute only."""
    out = [layout]
    if ballot and abs(ballot[0].stretch - 1) > OTHER_TEMPO:
        scales = [*scales, 1 / ballot[0].stretch / layout.tempo_scale]
    for scale in scales:
        bpm = round(layout.bpm * scale)
        if abs(layout.bpm * scale / bpm - 1) < 0.004 and all(abs(bpm - known.bpm) > 0.5 for known in out):
            divided = any(beat.kind == "sub" for beat in layout.beats)
            out.append(click_layout(part, layout.count_off_bars, bpm, divided))
    return out[:3]


def _strokes_alone(onsets: Onsets, click: FoundClick, mono: NDArray[np.floating], rate: int) -> Onsets:
    """The onsets without those that are nothing but a click."""
    times = np.array(click.times_s)
    if not len(times) or not len(onsets):
        return onsets
    right = np.clip(np.searchsorted(times, onsets.times_s), 1, len(times) - 1)
    gap = np.minimum(np.abs(onsets.times_s - times[right - 1]), np.abs(onsets.times_s - times[right]))
    keep = (gap > CLICK_ONSET_S) | (_peaks(mono, rate, onsets.times_s, CLICK_PEAK_S) > STROKE_OVER_CLICK * click.peak)
    return only(onsets, keep)


def _peaks(mono: NDArray[np.floating], rate: int, times_s: NDArray[np.float64], length_s: float) -> NDArray[np.float64]:
    """The largest sample within length_s after each time."""
    count = round(length_s * rate)
    starts = np.clip(np.round(times_s * rate).astype(np.int64), 0, max(0, len(mono) - count))
    windows = np.lib.stride_tricks.sliding_window_view(mono, count)[starts]
    return np.asarray(np.abs(windows).max(axis=1), dtype=np.float64)


def _heard(
    click: FoundClick | None,
    mono: NDArray[np.floating],
    rate: int,
    strokes: Onsets,
    page: Page,
    ballot: list[Hypothesis],
) -> ClickHeard | None:
    """The click's times, and its peak under that of a middling stroke of the part, as both are in the sound."""
    if click is None:
        return None
    if ballot and ballot[0].matched >= LEAST_STROKES:
        # Talk, bleed and what else was heard is none of the drums.
        mine, _ = pair_up(strokes.times_s, ballot[0].zero_s + ballot[0].stretch * page.at_s)
        peaks = _peaks(mono, rate, strokes.times_s[mine], STROKE_PEAK_S)
    else:
        peaks = _peaks(mono, rate, strokes.times_s, STROKE_PEAK_S)
    under = 20 * float(np.log10(np.median(peaks) / click.peak)) if len(peaks) and click.peak > 0 else None
    inside = tuple(at for at in click.times_s if 0 <= at < len(mono) / rate)
    return ClickHeard(inside, under, click.ours)


def _too_faint(
    click: FoundClick,
    mono: NDArray[np.floating],
    rate: int,
    strokes: Onsets,
    page: Page,
    ballot: list[Hypothesis],
) -> bool:
    """Whether a stranger's click is fainter than any that can be told from strokes that fall together."""
    heard = _heard(click, mono, rate, strokes, page, ballot)
    return heard is not None and heard.under_drums_db is not None and heard.under_drums_db > FAINTEST_STRANGE_DB


def _facts(
    marks: Marks | None, click: FoundClick | None, ballot: list[Hypothesis], part: Part, layout: ClickLayout
) -> ZeroFacts:
    """What is reported, from the most trusted way down."""
    if marks is not None:
        marks = beside_click(marks) if click is not None and click.ours else marks
        facts = ZeroFacts(marks.zero_s, "marks", marks.sd_s, marks.ratio, marks.clock_known, sure=marks.sure)
        facts = replace(facts, marks_start_s=marks.start_s, marks_end_s=marks.end_s)
        return _with_strokes(facts, ballot, part, layout)
    if click is not None and click.ours:
        sure = click.whole is not False and is_certain(click, ballot)
        facts = ZeroFacts(click.zero_s, "click", click.sd_s, click.ratio, click.clock_known, sure=sure)
        return _with_strokes(facts, ballot, part, layout)
    if click is not None and ballot:
        return _by_strange_click(click, ballot, part, layout)
    return _by_strokes(ballot, part, layout)


def _with_strokes(facts: ZeroFacts, ballot: list[Hypothesis], part: Part, layout: ClickLayout) -> ZeroFacts:
    """What the strokes say where zero is known: tempo, and whole bars between where bar 1 is due and was played."""
    if not ballot or facts.zero_s is None:
        return replace(facts, tempo_ratio=layout.tempo_scale)
    best = ballot[0]
    bar_s = part.bars_from_zero()[0].length_s / layout.tempo_scale
    late = best.zero_s - facts.zero_s
    bars = round(late / bar_s)
    whole = bars > 0 and abs(late - bars * bar_s) < BAR_OFF_S
    near = [h for h in ballot if abs(h.zero_s - facts.zero_s) < BAR_OFF_S]
    if near and best.gain - near[0].gain < SURE_GAP:
        whole = False
    return replace(facts, tempo_ratio=facts.clock_ratio / best.stretch, late_bars=bars if whole else 0)


def _by_strange_click(click: FoundClick, ballot: list[Hypothesis], part: Part, layout: ClickLayout) -> ZeroFacts:
    """A stranger's click tells where beats are; which of them is zero, the strokes tell."""
    by_strokes = _by_strokes(ballot, part, layout)
    if by_strokes.zero_s is None:
        return by_strokes
    beat_s = 60.0 / layout.bpm * click.ratio
    beats = (by_strokes.zero_s - click.zero_s) / beat_s
    which = abs(beats - round(beats)) < SURE_BEAT
    usual = abs(beats - round(beats)) * beat_s < USUAL_REACH_S
    beats = round(beats)
    return replace(
        by_strokes,
        zero_s=click.zero_s + beats * beat_s,
        source="click",
        sd_s=click.sd_s,
        clock_ratio=click.ratio,
        clock_known=click.clock_known,
        tempo_ratio=click.ratio / ballot[0].stretch,
        sure=which and usual and gap(ballot) > SURE_GAP and ballot[0].support > SURE_SUPPORT,
    )


def _by_strokes(ballot: list[Hypothesis], part: Part, layout: ClickLayout) -> ZeroFacts:
    """Zero as the place that makes the mean deviation nought."""
    if not ballot or ballot[0].matched < 3:
        return ZeroFacts()
    best = ballot[0]
    second = ballot[1] if len(ballot) > 1 else None
    share = max(0.0, second.gain / best.gain) if second is not None and best.gain > 0 else 0.0
    counted = best.counted >= COUNTED_BEATS
    per_bar = max(1, sum(beat.counted for beat in layout.beats) // max(1, layout.count_off_bars))
    bar_s = part.bars_from_zero()[0].length_s * best.stretch
    return ZeroFacts(
        best.zero_s - best.late_bars * bar_s,
        "count-off" if counted else "written",
        best.sd_s,
        runner_up_s=second.zero_s if second is not None else None,
        runner_up_share=min(share, 1.0),
        tempo_ratio=1 / best.stretch,
        count_off_bars=round(best.counted / per_bar) if counted else 0,
        late_bars=best.late_bars,
        sure=gap(ballot) > SURE_GAP and is_sure(best),
    )


def _leave(facts: ZeroFacts, heard: NDArray[np.float64], page: Page, ballot: list[Hypothesis]) -> ZeroFacts:
    """The facts with the path of a player who leaves the click, instead of a tempo that is the mean of many."""
    if facts.zero_s is None or not ballot:
        return facts
    best = ballot[0]
    if facts.source in ("marks", "click"):
        path = follow_path(heard, page, facts.zero_s + facts.late_bars * page.bar_s, facts.clock_ratio)
        if path is None or not path.leaves():
            return facts
        if not beats_tempo(path, heard, page, best.zero_s, best.stretch, facts.clock_ratio):
            return facts
        return replace(facts, path=path.knots, tempo_ratio=1.0)
    path = follow_path(heard, page, best.zero_s, best.stretch, WIDE_PUSH_S)
    if path is None or not path.leaves(OWN_AWAY_S) or abs(best.stretch - 1) > NEAR_TEMPO:
        return facts
    if not beats_tempo(path, heard, page, best.zero_s, best.stretch, 1.0):
        return facts
    zero_s, sd_s, path = begin_with_click(path, facts.zero_s, best.stretch)
    sd_s = float(np.hypot(facts.sd_s or 0.0, sd_s))
    return replace(
        facts, zero_s=zero_s, sd_s=sd_s, sure=facts.sure and sd_s < SURE_SD_S, path=path.knots, tempo_ratio=1.0
    )

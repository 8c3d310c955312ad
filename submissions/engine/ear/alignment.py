"""Where zero lies in a take, by four ways in order of trust: sync marks, click, count-off, written strokes.

Conventions: seconds of file time unless a name says otherwise; `ratio` is file seconds a click second. A way is
believed only when something independent of it agrees; what cannot be decided is reported as not sure.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..facts import ZeroFacts
from ..music.click import END_TO_MARK_S, ClickBeat, ClickLayout
from ..music.written import Part
from .baseband import transform
from .believed_marks import Marks, any_plain, believe_pair, believe_single, other_tempo
from .click_search import FoundClick, confirm_ours, find_click
from .marks import search_marks
from .onsets import Onsets
from .page import only, page_of
from .votes import Hypothesis, vote

SURE_GAP = 8.0  # nats between the best and the next hypothesis
SURE_SUPPORT = 0.5
COUNTED_BEATS = 3  # heard, to call a count-off one
CLICK_ONSET_S = 0.006  # an onset this near to a click is the click ...
STROKE_OVER_CLICK = 1.6  # ... unless it is louder than the click by this much (4 dB)
BAR_OFF_S = 0.120  # who begins bars late still begins on the beat, as well as players do
OTHER_TEMPO = 0.01


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
        marks = believe_pair(mono, rate, used, starts, ends)
        if marks:
            click = confirm_ours(spectrum, used, marks.zero_s)
            break
    for used in () if marks else layouts:
        marks = believe_single(mono, rate, used, part, [*starts, *ends], ballot)
        if marks:
            click = confirm_ours(spectrum, used, marks.zero_s)
        else:
            click = find_click(mono, rate, spectrum, used, part, ballot, onsets.times_s)
        if marks or click:
            break
    else:
        used = used if marks else layout
    if click is not None:
        ballot = vote(_strokes_alone(onsets, click, mono, rate), page) or ballot
    facts = _facts(marks, click, ballot, part, used)
    if marks is None and facts.sure and facts.source != "click" and any_plain(mono, rate, [*starts, *ends]):
        facts = replace(facts, sure=False)
    return Alignment(facts, _heard(click, mono, rate, onsets))


def _layouts(layout: ClickLayout, part: Part, ballot: list[Hypothesis], scales: list[float]) -> list[ClickLayout]:
    """The layout, then those of other tempi that marks or strokes speak for: whole beats a minute only."""
    out = [layout]
    if ballot and abs(ballot[0].stretch - 1) > OTHER_TEMPO:
        scales = [*scales, 1 / ballot[0].stretch / layout.tempo_scale]
    for scale in scales:
        bpm = round(layout.bpm * scale)
        if abs(layout.bpm * scale / bpm - 1) < 0.004 and all(abs(bpm - known.bpm) > 0.5 for known in out):
            out.append(at_tempo(layout, bpm / layout.bpm))
    return out[:3]


def at_tempo(layout: ClickLayout, scale: float) -> ClickLayout:
    """The layout of the same click at `scale` times its tempo; the marks keep their distance to the beats."""
    beats = tuple(ClickBeat(beat.at_s / scale, beat.kind, beat.sign, beat.counted) for beat in layout.beats)
    lead = layout.marks_start_s - layout.beats[0].at_s
    return replace(
        layout,
        bpm=layout.bpm * scale,
        beats=beats,
        marks_start_s=beats[0].at_s + lead,
        marks_end_s=layout.end_s / scale + END_TO_MARK_S,
        end_s=layout.end_s / scale,
        tempo_scale=layout.tempo_scale * scale,
    )


def _strokes_alone(onsets: Onsets, click: FoundClick, mono: NDArray[np.floating], rate: int) -> Onsets:
    """The onsets without those that are nothing but a click."""
    times = np.array(click.times_s)
    if not len(times) or not len(onsets):
        return onsets
    right = np.clip(np.searchsorted(times, onsets.times_s), 1, len(times) - 1)
    gap = np.minimum(np.abs(onsets.times_s - times[right - 1]), np.abs(onsets.times_s - times[right]))
    keep = (gap > CLICK_ONSET_S) | (_peaks(mono, rate, onsets) > STROKE_OVER_CLICK * click.peak)
    return only(onsets, keep)


def _peaks(mono: NDArray[np.floating], rate: int, onsets: Onsets) -> NDArray[np.float64]:
    """The largest sample within 12 ms of each onset."""
    count = round(0.012 * rate)
    starts = np.clip(np.round(onsets.times_s * rate).astype(np.int64), 0, max(0, len(mono) - count))
    windows = np.lib.stride_tricks.sliding_window_view(mono, count)[starts]
    return np.asarray(np.abs(windows).max(axis=1), dtype=np.float64)


def _heard(click: FoundClick | None, mono: NDArray[np.floating], rate: int, onsets: Onsets) -> ClickHeard | None:
    if click is None:
        return None
    peaks = _peaks(mono, rate, _strokes_alone(onsets, click, mono, rate))
    under = 20 * float(np.log10(np.median(peaks) / click.peak)) if len(peaks) and click.peak > 0 else None
    inside = tuple(at for at in click.times_s if 0 <= at < len(mono) / rate)
    return ClickHeard(inside, under, click.ours)


def _facts(
    marks: Marks | None, click: FoundClick | None, ballot: list[Hypothesis], part: Part, layout: ClickLayout
) -> ZeroFacts:
    """What is reported, from the most trusted way down."""
    if marks is not None:
        facts = ZeroFacts(marks.zero_s, "marks", marks.sd_s, marks.ratio, marks.clock_known, sure=True)
        facts = replace(facts, marks_start_s=marks.start_s, marks_end_s=marks.end_s)
        return _with_strokes(facts, ballot, part, layout)
    if click is not None and click.ours:
        facts = ZeroFacts(click.zero_s, "click", click.sd_s, click.ratio, click.clock_known, sure=True)
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
    beats = round((by_strokes.zero_s - click.zero_s) / beat_s)
    return replace(
        by_strokes,
        zero_s=click.zero_s + beats * beat_s,
        source="click",
        sd_s=click.sd_s,
        clock_ratio=click.ratio,
        clock_known=click.clock_known,
        tempo_ratio=click.ratio / ballot[0].stretch,
    )


def _by_strokes(ballot: list[Hypothesis], part: Part, layout: ClickLayout) -> ZeroFacts:
    """Zero as the place that makes the mean deviation nought."""
    if not ballot or ballot[0].matched < 3:
        return ZeroFacts()
    best = ballot[0]
    second = ballot[1] if len(ballot) > 1 else None
    gap = best.gain - second.gain if second is not None else best.gain
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
        sure=gap > SURE_GAP and best.support > SURE_SUPPORT,
    )

"""Where zero lies in a take, by four ways in order of trust: sync marks, click, count-off, written strokes.

Conventions: seconds of file time unless a name says otherwise; `ratio` is file seconds a click second. A way is
believed only when something independent of it agrees; what cannot be decided is reported as not sure.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..facts import ZeroFacts
from ..music.click import RATE, ClickLayout
from ..music.written import Part
from .baseband import transform
from .clicks import ClickSum, matched, prepare, search_click
from .marks import MarkGroup, refine, search_marks
from .onsets import Onsets
from .votes import Hypothesis, vote

BELIEVED_ALONE = 26.0  # height of a mark that needs no second one: noise makes it once in 2e11 places
BELIEVED_PAIR = 15.0  # each of two groups at the layout's own distance
MOST_PPM = 260e-6
CLICK_HEIGHT = 22.0
SURE_GAP = 8.0  # nats between the best and the next hypothesis


@dataclass(frozen=True)
class ClickHeard:
    """The click as the phone heard it."""

    times_s: tuple[float, ...]  # file time of each click, first sample
    under_drums_db: float | None


@dataclass(frozen=True)
class Alignment:
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
    ballot = vote(onsets, part)
    by_marks = _by_marks(mono, rate, layout, search_marks(spectrum, True), search_marks(spectrum, False), ballot)
    band = prepare(spectrum)
    answers = matched(band)
    if by_marks is not None:
        click = search_click(band, answers, layout, by_marks.zero_s or 0.0, 0.02)
        heard = _heard(layout, click) if click is not None and click.height > CLICK_HEIGHT else None
        return Alignment(_with_ballot(by_marks, ballot, part), heard)
    best: ClickSum | None = None
    for hypothesis in ballot[:4]:
        click = search_click(band, answers, layout, hypothesis.zero_s)
        if click is not None and (best is None or click.height > best.height):
            best = click
    if best is not None and best.height > CLICK_HEIGHT:
        facts = ZeroFacts(best.zero_s, "click", best.sd_s, best.ratio, True, sure=True)
        return Alignment(_with_ballot(facts, ballot, part), _heard(layout, best))
    return Alignment(_by_strokes(ballot))


def _heard(layout: ClickLayout, click: ClickSum) -> ClickHeard:
    times = tuple(click.zero_s + click.ratio * beat.at_s for beat in layout.beats)
    return ClickHeard(times, None)


def _on_sample(at_s: float) -> float:
    """A click file's events lie on whole samples counted from zero."""
    return round(at_s * RATE) / RATE


def _by_marks(
    mono: NDArray[np.floating],
    rate: int,
    layout: ClickLayout,
    starts: list[MarkGroup],
    ends: list[MarkGroup],
    ballot: list[Hypothesis],
) -> ZeroFacts | None:
    """Zero and clock from marks that can be believed, else None."""
    due_start, due_end = _on_sample(layout.marks_start_s), _on_sample(layout.marks_end_s)
    best: tuple[float, MarkGroup, MarkGroup] | None = None
    for start in starts:
        for end in ends:
            ratio = (end.at_s - start.at_s) / (due_end - due_start)
            if abs(ratio - 1) < MOST_PPM + 1e-3 / due_end and min(start.height, end.height) > BELIEVED_PAIR:
                score = start.height + end.height
                if best is None or score > best[0]:
                    best = (score, start, end)
    if best is not None:
        rough = (best[2].at_s - best[1].at_s) / (due_end - due_start)
        first, last = refine(mono, rate, best[1], rough), refine(mono, rate, best[2], rough)
        ratio = (last.at_s - first.at_s) / (due_end - due_start)
        zero = first.at_s - ratio * due_start
        sd = float(np.hypot(first.sd_s, 20e-6))
        return ZeroFacts(zero, "marks", sd, ratio, True, marks_start_s=first.at_s, marks_end_s=last.at_s, sure=True)
    singles = [(g, due_start) for g in starts] + [(g, due_end) for g in ends]
    for group, due in sorted(singles, key=lambda pair: -pair[0].height):
        if group.height < BELIEVED_ALONE:
            break
        near = [h for h in ballot if abs(h.zero_s - (group.at_s - due)) < 0.08 and h.support > 0.3]
        if near:
            fine = refine(mono, rate, group)
            facts = ZeroFacts(fine.at_s - due, "marks", float(np.hypot(fine.sd_s, 50e-6 * abs(due))), sure=True)
            if group.rising:
                return replace(facts, marks_start_s=fine.at_s)
            return replace(facts, marks_end_s=fine.at_s)
    return None


def _with_ballot(facts: ZeroFacts, ballot: list[Hypothesis], part: Part) -> ZeroFacts:
    """What the strokes say on top: tempo, and whole bars between where bar 1 is due and where it was played."""
    if not ballot or facts.zero_s is None:
        return facts
    best = ballot[0]
    bar_s = part.bars_from_zero()[0].length_s
    late = best.zero_s - facts.zero_s
    bars = round(late / bar_s)
    whole = bars > 0 and abs(late - bars * bar_s) < 0.08
    return replace(facts, tempo_ratio=facts.clock_ratio / best.stretch, late_bars=bars if whole else 0)


def _by_strokes(ballot: list[Hypothesis]) -> ZeroFacts:
    if not ballot or ballot[0].matched < 3:
        return ZeroFacts()
    best = ballot[0]
    second = ballot[1] if len(ballot) > 1 else None
    share = max(0.0, second.gain / best.gain) if second is not None and best.gain > 0 else 0.0
    gap = best.gain - second.gain if second is not None else best.gain
    return ZeroFacts(
        best.zero_s,
        "written",
        best.sd_s,
        runner_up_s=second.zero_s if second is not None else None,
        runner_up_share=min(share, 1.0),
        tempo_ratio=1 / best.stretch,
        sure=gap > SURE_GAP and best.support > 0.5,
    )

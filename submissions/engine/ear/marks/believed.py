"""Which of the places where marks may be are marks: both groups must agree, or one must agree with the page.

Conventions: as in `groups`. A matched filter always has a strongest place; with headphones on it can lie anywhere. So
a pair of groups like those of the click is believed at the distance that the layout gives (or, when the take was made to another tempo of the ladder,
at a distance that such a tempo gives and the strokes confirm). A single group is believed where the strokes confirm
it. A plain one, all of whose chirps stand out, is no accident: it is believed too where the strokes
begin whole bars after it, or keep another tempo from it on, or tell nothing; and where they contradict it, nothing
that they say is sure.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from ...music.click import ClickLayout, on_sample
from ...music.written import Part
from ..votes.ballot import Hypothesis
from .arrivals import vertex
from .groups import Arrival, MarkGroup, apart_s, first_arrival, refine

ALONE_HEIGHT = 26.0  # noise reaches it once in 2e11 places
PAIR_HEIGHT = 11.0  # each of two at the right distance: a window of 50 ms for the second leaves 300 places
PAIR_SUM = 34.0
MOST_PPM = 260e-6
SAME_TEMPO = 0.003  # of strokes and marks
NEAR_TEMPO = 0.01  # ... where the marks' distance gives the tempo: a player without the click in the ear strays
NEAR_S = 0.080  # how far the strokes may lie from the marks' zero: push or drag
CONFIRMING = 0.5  # share of written strokes that a confirming hypothesis finds
PLAIN_HEIGHT = 40.0  # drums, voices and hum stay under 25 in made takes without marks
LIKE = 0.5  # of the chirps to a group's: groups show 0.9 and more, a chirp on another one's place 0.2 and less
MATE_LIKE = 0.35  # ... in noise, where the other group of the pair is plainly one and the distance is the click's; nothing is
# asked of one so high there: a coder may leave its loudest chirp alone, and another chirp's place is not at that distance
FAINT_SHARE = 0.05  # noise of a group's answer under its top: fainter than 26 dB, and other tops begin to compete
MATE_BEFORE_S, MATE_AFTER_S = 0.0005, 0.005  # of the clearer answer, about its first arrival
LEAST_MOVE_S = 0.0003  # nearer tops are a pair's, see `arrivals`
LATE_BARS = 8
ANOTHER_GO = 0.5  # of the highest pair's height: marks of several goes are about as loud
PATH_SD_S = 37e-6  # a phone's own filters and first reflections: 97 % of 220 made takes lie within two
HEADPHONES_SD_S = 34e-6  # more, where the click is heard too: marks that leaked with it were filtered by what played them
CLOCK_SD = 40e-6  # of two devices' quartz against each other, when only one group tells


@dataclass(frozen=True)
class Marks:
    """Marks that are believed, and what they say."""

    zero_s: float
    sd_s: float
    ratio: float
    clock_known: bool
    start_s: float | None
    end_s: float | None
    sure: bool = True  # not where a start and an end group, both plain, stand at no click's distance


def believe_pair(
    mono: NDArray[np.floating], rate: int, layout: ClickLayout, starts: list[MarkGroup], ends: list[MarkGroup]
) -> Marks | None:
    """Both groups at this layout's own distance, else None."""
    due_start, due_end = on_sample(layout.marks_start_s), on_sample(layout.marks_end_s)
    length = due_end - due_start
    pairs = [
        (start, end)
        for start in starts
        for end in ends
        if abs((end.at_s - start.at_s) / length - 1) < MOST_PPM + 0.002 / length
        and min(start.height, end.height) > PAIR_HEIGHT
        and start.height + end.height > PAIR_SUM
    ]
    fine: dict[int, Arrival] = {}
    good: list[tuple[MarkGroup, MarkGroup]] = []
    for pair in sorted(pairs, key=_height, reverse=True):
        if good and _height(pair) < ANOTHER_GO * _height(good[0]):
            break
        for group in pair:
            fine[id(group)] = fine.get(id(group)) or refine(mono, rate, group)
        weaker, stronger = sorted((fine[id(group)].group for group in pair), key=_likeness)
        if stronger.likeness > LIKE and (weaker.likeness > MATE_LIKE or weaker.height > PLAIN_HEIGHT):
            good.append(pair)
    if not good:
        return None
    latest = max(start.at_s for start, _ in good)  # of several goes, the last
    start, end = max((pair for pair in good if pair[0].at_s > latest - 0.05), key=_height)
    first, last = as_mates(fine[id(start)], fine[id(end)])
    first, last = first_arrival(first), first_arrival(last)
    apart = apart_s(first, last)
    ratio = apart / length
    if abs(ratio - 1) > MOST_PPM + 0.0005 / length:
        return None
    # Either group tells zero, the distance being known far better than their first arrivals are.
    told = np.array([first.group.at_s - ratio * due_start, last.group.at_s - ratio * due_end])
    sds = np.array([first.group.sd_s, last.group.sd_s])
    weights = sds**-2 / np.sum(sds**-2)
    if apart == last.group.at_s - first.group.at_s:  # the answers are unlike: the second tells the clock and no more
        weights = np.array([1.0, 0.0])
    sd = float(np.sqrt(weights**2 @ sds**2 + weights @ (told - weights @ told) ** 2 + PATH_SD_S**2))
    return Marks(float(weights @ told), sd, ratio, True, first.group.at_s, last.group.at_s)


def as_mates(first: Arrival, last: Arrival) -> tuple[Arrival, Arrival]:
    """The two refined groups of a pair, the fainter one's peak where the clearer one's whole answer fits it best.

    What a coder leaves of a faint group stands out before its first arrival; that both came the same way tells which.
    """
    shares = [one.noise / (float(np.abs(one.response).max()) + 1e-30) for one in (first, last)]
    if max(shares) < FAINT_SHARE:
        return first, last
    clear, faint = (first, last) if shares[0] < shares[1] else (last, first)
    centre = round((clear.group.at_s - clear.begin_s) * clear.rate)
    low = max(0, centre - round(MATE_BEFORE_S * clear.rate))
    way = clear.response[low : centre + round(MATE_AFTER_S * clear.rate)]
    at = int(np.argmax(np.abs(signal.fftconvolve(faint.response, np.conj(way[::-1]), "valid")))) + centre - low
    near = np.abs(faint.response[max(0, at - faint.rate // 10_000) : at + faint.rate // 10_000 + 1])
    top = max(0, at - faint.rate // 10_000) + int(np.argmax(near))
    moved_s = faint.begin_s + (top + vertex(np.abs(faint.response), top)) / faint.rate
    if abs(moved_s - faint.group.at_s) < LEAST_MOVE_S:
        return first, last
    moved = replace(faint, group=replace(faint.group, at_s=moved_s))
    return (first, moved) if faint is last else (moved, last)


def beside_click(marks: Marks) -> Marks:
    """The marks of a take in which our click is heard too: they may have come through the same headphones."""
    return replace(marks, sd_s=float(np.hypot(marks.sd_s, HEADPHONES_SD_S)))


def believe_single(
    mono: NDArray[np.floating],
    rate: int,
    layout: ClickLayout,
    part: Part,
    groups: list[MarkGroup],
    ballot: list[Hypothesis],
) -> Marks | None:
    """One of the groups (start and end together), where the strokes confirm the zero that it gives, else None."""
    bar_s = part.bars_from_zero()[0].length_s / layout.tempo_scale
    known = []
    for group in sorted(groups, key=lambda one: -one.height):
        if group.height < ALONE_HEIGHT:
            break
        due = on_sample(layout.marks_start_s if group.rising else layout.marks_end_s)
        fine = refine(mono, rate, group).group
        if fine.likeness > LIKE:
            known.append((fine, due))
    torn = any(g.rising and is_plain(g) for g, _ in known) and any(not g.rising and is_plain(g) for g, _ in known)
    if torn:  # they disagree, or they would be a pair: bar 1 lies beside the start group
        known = [(g, due) for g, due in known if g.rising and _hinted(g.at_s - due, ballot)] or known
    for fine, due in known:
        if _confirmed(fine.at_s - due, layout, ballot) or (
            is_plain(fine) and (torn or _not_denied(fine.at_s - due, layout, ballot, bar_s))
        ):
            first = first_arrival(refine(mono, rate, fine)).group
            sd = float(np.hypot(first.sd_s, np.hypot(PATH_SD_S, CLOCK_SD * abs(due))))
            start_s, end_s = (first.at_s, None) if first.rising else (None, first.at_s)
            return Marks(first.at_s - first.clock * due, sd, first.clock, False, start_s, end_s, sure=not torn)
    return None


def is_plain(fine: MarkGroup) -> bool:
    """Whether a refined group is one for certain, whatever the strokes say."""
    return fine.height > PLAIN_HEIGHT and fine.likeness > LIKE


def any_plain(mono: NDArray[np.floating], rate: int, groups: list[MarkGroup]) -> bool:
    """Whether one of the groups is one for certain."""
    return any(is_plain(refine(mono, rate, group).group) for group in groups if group.height > PLAIN_HEIGHT)


def _likeness(group: MarkGroup) -> float:
    return group.likeness


def _height(pair: tuple[MarkGroup, MarkGroup]) -> float:
    return pair[0].height + pair[1].height


def _confirmed(zero_s: float, layout: ClickLayout, ballot: list[Hypothesis]) -> bool:
    """Whether the strokes, at this layout's tempo, lie about there or whole bars later nearly as well as anywhere."""
    best = max((h.support for h in ballot), default=0.0)
    return any(
        abs(h.zero_s - zero_s) < NEAR_S
        and h.support > max(CONFIRMING, 0.8 * best)
        and abs(h.stretch * layout.tempo_scale - 1) < SAME_TEMPO
        for h in ballot
    )


def _hinted(zero_s: float, ballot: list[Hypothesis]) -> bool:
    """Whether any place that the strokes propose is this one."""
    return any(abs(h.zero_s - zero_s) < NEAR_S for h in ballot)


def in_tempo(layout: ClickLayout, ballot: list[Hypothesis]) -> bool:
    """Whether the strokes go at this layout's tempo, or tell nothing.

    A recording with a stretch missing, or with the groups of two goes, holds a distance that some tempo explains.
    """
    best = max((h.support for h in ballot), default=0.0)
    good = [h for h in ballot if h.support > max(CONFIRMING, 0.8 * best)]
    return not good or any(abs(h.stretch * layout.tempo_scale - 1) < NEAR_TEMPO for h in good)


def _not_denied(zero_s: float, layout: ClickLayout, ballot: list[Hypothesis], bar_s: float) -> bool:
    """Whether the strokes begin whole bars after zero_s, or at it in a tempo of their own, or tell nothing."""
    best = max((h.support for h in ballot), default=0.0)
    if best < CONFIRMING:
        return True
    good = [h for h in ballot if h.support > max(CONFIRMING, 0.8 * best)]
    for one in good:
        bars = round((one.zero_s - zero_s) / bar_s)
        in_time = abs(one.stretch * layout.tempo_scale - 1) < SAME_TEMPO
        if (bars == 0 or (in_time and 0 < bars <= LATE_BARS)) and abs(one.zero_s - zero_s - bars * bar_s) < NEAR_S:
            return True
    return False


def other_tempo(layout: ClickLayout, starts: list[MarkGroup], ends: list[MarkGroup]) -> list[float]:
    """Tempo scales (this layout is 1) at which two plain groups would have their distance."""
    fixed = (layout.marks_end_s - layout.end_s) + (-layout.marks_start_s + layout.beats[0].at_s)
    moving = layout.end_s - layout.beats[0].at_s
    scales = []
    for start in starts:
        for end in ends:
            room = end.at_s - start.at_s - fixed
            if min(start.height, end.height) > ALONE_HEIGHT and room > 0.5 * moving:
                scales.append(moving / room)
    return scales

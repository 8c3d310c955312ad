"""Which click the phone heard, if any: ours first, then a stranger's; at this tempo or at another of the ladder.

Conventions: as in `ours`. Where to look is proposed by the written strokes, by onsets that fall on beats, and by
whole bars before the playing (who begins late is late by bars). Every place costs some chance of a false find, so
the less likely a place is, the more its click must show.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...music.click import ClickBeat, ClickLayout, on_sample
from ...music.written import Part
from ..baseband import Spectrum
from ..votes.ballot import Hypothesis
from ..votes.known import know_place
from .beat_sums import LEAST_BEATS, RATIO_REACH
from .combs import prepare_comb, refine_comb, search_comb
from .exact import UNCLEAR_SD_S, refine_click
from .ours import REACH_S, ClickBand, ClickSum, prepare, search_click
from .places import by_pairs, on_beats

Array = NDArray[np.float64]

FIRST_HEIGHT = 17.0  # at the zero the strokes like best: 180 searches of takes without a click stayed under 17.6 ...
# ... most of them at odd places and clocks; this at the other zeros that strokes propose, and whole bars away.
NEAR_HEIGHT = 19.0
USUAL_PUSH_S = 0.030  # a beginner's
USUAL_CLOCK = 80e-6  # of two devices' quartz against each other
FAR_HEIGHT = 24.0  # anywhere else ...
FAR_CLOCK = 125e-6  # ... and there a clock that is odd too is not looked for
SAME_SHARE = 0.7  # of the greatest height: an earlier go's click is as good as the last one's, and the last one counts
BEAT_REACH_S = 0.012  # onsets on beats are clicks themselves: their zero is known that well
LATE_BARS = 4
LOOKS_BACK = 4  # each a tenth of a second: longer than any room is heard under drums
ANYWHERE = 5.0  # nats more: a place looked for in half a minute is the best of some 160 as wide as one that was proposed
SAME_PLACE_S = 0.020
PROPOSED = 5
PROPOSED_NATS = 30.0  # what lies farther behind the best is proposed by nothing
COUNTED_EXCESS = 14.0  # a stranger's click in the count-off alone; sticks by a player stayed under 10.1
LEAST_COUNTED = 6
COUNT_PROPOSED = 2  # places at which the count-off's click alone is looked for
COUNT_NATS = 8.0  # ... where the strokes do not tell them apart
COUNT_HEIGHT = 20.0  # eight beats can be alike by chance: takes without a click reached 17.7 ...
COUNT_WITH_REST = 16.0  # ... but not where the beats after them say the same
HEAD_SHARE = 0.2  # of the part, and the count-off before it
HEAD_DUE, HEAD_LEAST = 16.0, 8.0  # heights: by chance the best of the places within HEAD_REACH_S has 4, 8 once in 50
HEAD_REACH_S = 0.004
NOT_ALIKE = 3.0  # more for beats that are not alike by themselves: 100 takes without our click stayed under 16 at the first zero
MORE_HEIGHT = 11.0  # ... and elsewhere: a stranger's click reached 20 so; of our own, heard some beats off its place, what
# stood over 30 had its true place higher, bars away
LEAST_ALIKE = 5.0  # one loud beat with its top there stands out of its quiet and is like no other; of 80 clicks 36 dB under
# the drums one had 7.9 and all others 13 and more, and suppressed noise without a click reached heights of 59 with 0.7
LEAST_HEIGHT = 20.0  # beats that are alike must stand out of their quiet too: the ring of crashes agrees with itself at a
# clock of its choosing (alike 22, height 14); of 60 clicks 36 dB under the drums none had a height under 42
FIRST_LEAST = 0.1  # of the whole height: direct sound of half the late sound's size, or nearly that, has a quarter
OTHER_SHARE = 0.8  # of the height: as much may stand at another beat, where few beats are clean
CLOCK_SD = 40e-6  # of two devices' quartz against each other, where the click does not tell


@dataclass(frozen=True)
class FoundClick:
    """A click in the sound: zero in file time, and every beat's time."""

    zero_s: float
    ratio: float
    sd_s: float
    peak: float  # of the loudest beat, in the sound's own units
    ours: bool
    times_s: tuple[float, ...]
    clock_known: bool = True  # a count-off alone is too short to tell
    height: float = np.inf  # of what its beats are alike by themselves, see `ours`; a stranger's has none
    whole: bool | None = None  # its first beats stand on its grid too, nothing is missing in between; None: too faint


def find_click(
    mono: NDArray[np.floating],
    rate: int,
    spectrum: Spectrum,
    layout: ClickLayout,
    part: Part,
    ballot: list[Hypothesis],
    heard_s: Array,
) -> FoundClick | None:
    """The click of this layout in mono, ours or a stranger's, or None."""
    ours = find_ours(spectrum, layout, part, ballot, heard_s)
    return ours if ours is not None else find_strange(mono, rate, spectrum, layout, ballot)


def find_ours(
    spectrum: Spectrum, layout: ClickLayout, part: Part, ballot: list[Hypothesis], heard_s: Array
) -> FoundClick | None:
    """Our own click, by the sum over its beats."""
    band = prepare(spectrum, layout)
    found = _search(band, layout, part, ballot, heard_s)
    if found is not None:
        timed = time_ours(spectrum, band, layout, found)
        return replace(timed, whole=timed.sd_s < UNCLEAR_SD_S and _begins_with(band, layout, found))
    counted = replace(layout, beats=tuple(beat for beat in layout.beats if beat.counted))
    near = [one.zero_s for one in ballot[:COUNT_PROPOSED] if ballot[0].gain - one.gain < COUNT_NATS]
    near = [at for at in near if sum(at + beat.at_s > 0 for beat in counted.beats) >= LEAST_BEATS]
    clear = prepare(spectrum, counted, under_drums=False) if near else band
    sums = [(zero, search_click(clear, counted, zero)) for zero in near]
    believed = [one for zero, one in sums if one is not None and _is_count(band, layout, one, zero)]
    if not believed:
        return None
    found = max(believed, key=lambda one: one.height)
    whole = _confirm(band, layout, found.zero_s)
    # A bar away half of a count-off's beats are still on beats: alone it is certain only where it is loud.
    certain = None if found.alike > FAR_HEIGHT or whole is not None else False
    if len(counted.beats) < LEAST_COUNTED or (whole is not None and _confirm(band, _playing(layout), found.zero_s)):
        return replace(time_ours(spectrum, band, layout, whole or found), whole=certain)
    middle_s = sum(beat.at_s for beat in counted.beats) / len(counted.beats)
    fixed = replace(found, zero_s=found.zero_s + (found.ratio - 1) * middle_s, ratio=1.0)
    timed = time_ours(spectrum, clear, counted, fixed)
    sd_s = float(np.hypot(timed.sd_s, CLOCK_SD * abs(middle_s)))
    return replace(timed, sd_s=sd_s, clock_known=False, whole=certain)


def _is_count(band: ClickBand, layout: ClickLayout, found: ClickSum, near_s: float) -> bool:
    """Whether a sum over the count-off's beats is a click, by itself or with what the other beats say there."""
    height = found.alike - _oddness(found, near_s)
    if height > COUNT_HEIGHT or height <= COUNT_WITH_REST:
        return height > COUNT_HEIGHT
    rest = search_click(band, _playing(layout), found.zero_s, HEAD_REACH_S, asked=1)
    return rest is not None and rest.height > HEAD_LEAST


def _begins_with(band: ClickBand, layout: ClickLayout, found: ClickSum) -> bool | None:
    """Whether the beats up to a fifth of the part are heard where the sum of all says; None: too faint to tell."""
    first = replace(layout, beats=tuple(beat for beat in layout.beats if beat.at_s < HEAD_SHARE * layout.end_s))
    due_height = found.alike * len(first.beats) / len(layout.beats)
    head = search_click(band, first, found.zero_s, HEAD_REACH_S, asked=1)
    return None if head is None or due_height < HEAD_DUE else head.height > HEAD_LEAST


def _playing(layout: ClickLayout) -> ClickLayout:
    """The layout without its count-off."""
    return replace(layout, beats=tuple(beat for beat in layout.beats if not beat.counted))


def confirm_ours(spectrum: Spectrum, layout: ClickLayout, zero_s: float) -> FoundClick | None:
    """Our own click where zero is known already (by marks), or None when it cannot be heard."""
    band = prepare(spectrum, layout)
    found = _confirm(band, layout, zero_s)
    return time_ours(spectrum, band, layout, found) if found is not None else None


def _confirm(band: ClickBand, layout: ClickLayout, zero_s: float) -> ClickSum | None:
    found = search_click(band, layout, zero_s, BEAT_REACH_S)
    return found if found is not None and found.height > FIRST_HEIGHT else None


def time_ours(spectrum: Spectrum, band: ClickBand, layout: ClickLayout, found: ClickSum) -> FoundClick:
    """The found sum with its first arrival; one far before it must be a click by itself, or strokes lie there.

    In a long room the highest sum may lie two looks back behind the first arrival, where the strokes have died away.
    """
    start = found
    for _ in range(LOOKS_BACK):
        arrival = refine_click(spectrum, layout, start)
        if start.zero_s - arrival.zero_s <= BEAT_REACH_S:
            break
        there = search_click(band, layout, arrival.zero_s, HEAD_REACH_S, asked=1)
        if there is None or there.height < max(HEAD_LEAST, FIRST_LEAST * found.height):
            arrival = refine_click(spectrum, layout, start, BEAT_REACH_S)
            break
        start = replace(start, zero_s=arrival.zero_s, ratio=arrival.ratio)
    times = tuple(arrival.zero_s + arrival.ratio * on_sample(beat.at_s) for beat in layout.beats)
    return FoundClick(arrival.zero_s, arrival.ratio, arrival.sd_s, arrival.peak, True, times, height=found.alike)


def _search(
    band: ClickBand, layout: ClickLayout, part: Part, ballot: list[Hypothesis], heard_s: Array
) -> ClickSum | None:
    """The believed sum with the latest zero among those nearly as high as the highest.

    Where strokes that know it put zero, what stands out of the quiet is believed; elsewhere beats must be alike themselves.
    """
    believed: list[ClickSum] = []
    looked: list[float] = []

    def look(
        near_s: float, needed: float, more: float, reach_s: float = REACH_S, clock: float = FAR_CLOCK
    ) -> None:
        if any(abs(near_s - other) < REACH_S - reach_s + SAME_PLACE_S for other in looked):
            return
        if reach_s == REACH_S:
            looked.append(near_s)
        found = search_click(band, layout, near_s, reach_s, clock)
        if found is None or found.alike < LEAST_ALIKE or found.height < LEAST_HEIGHT:
            return
        if max(found.alike, found.height - more) > needed + _oddness(found, near_s):
            believed.append(found)

    near = [one for one in ballot[:PROPOSED] if ballot[0].gain - one.gain < PROPOSED_NATS]
    known = know_place(ballot)  # another part lies somewhere, whole beats away: a few beats' signs agree there by chance
    for rank, hypothesis in enumerate(near):
        needed, more = (NEAR_HEIGHT, np.inf) if rank else (FIRST_HEIGHT, NOT_ALIKE if known else np.inf)
        look(hypothesis.zero_s, needed, more, clock=RATIO_REACH)
    if not believed:
        for near_s in on_beats(heard_s, layout):
            look(near_s, FAR_HEIGHT, np.inf, BEAT_REACH_S)
    if not believed and (len(ballot) < 2 or ballot[0].gain - ballot[1].gain < COUNT_NATS):
        look(by_pairs(band, layout), FAR_HEIGHT + ANYWHERE, np.inf)
    if not believed and ballot:
        bar_s = part.bars_from_zero()[0].length_s / layout.tempo_scale
        for bars in (*range(-LATE_BARS, 0), 1):
            look(ballot[0].zero_s + bars * bar_s, NEAR_HEIGHT, MORE_HEIGHT if known else np.inf)
    if not believed:
        return None
    highest = max(c.height for c in believed)
    latest = max((c for c in believed if c.height >= SAME_SHARE * highest), key=lambda c: c.zero_s)
    # Far places were looked at for usual clocks only; where a click is, its own clock is looked for too.
    again = search_click(band, layout, latest.zero_s, BEAT_REACH_S)
    if again is not None and again.height > latest.height:
        latest = again
    return latest if latest.alike > FAR_HEIGHT else _on_its_beat(band, layout, latest, part)


def _on_its_beat(band: ClickBand, layout: ClickLayout, found: ClickSum, part: Part) -> ClickSum | None:
    """The sum as many beats or bars away as makes it highest, or None where another place is nearly as high.

    Where few beats are clean, they may carry the right signs by chance, some beats away from where they belong; and a
    stranger's click, which has no signs, may stand as high as ours.
    """
    bar_s = part.bars_from_zero()[0].length_s / layout.tempo_scale
    beat_s = layout.beats[1].at_s - layout.beats[0].at_s
    beats = round(bar_s / beat_s)
    away = [k * beat_s for k in range(-beats, beats + 1) if k]
    away += [k * bar_s for k in range(-LATE_BARS, LATE_BARS + 1) if abs(k) > 1]
    sums = [search_click(band, layout, found.zero_s + s, BEAT_REACH_S, FAR_CLOCK, asked=1) for s in away]
    best, *others = sorted([found, *(one for one in sums if one is not None)], key=lambda one: -one.height)
    plain = replace(layout, beats=tuple(replace(beat, sign=1) for beat in layout.beats))
    unsigned = search_click(band, plain, best.zero_s, BEAT_REACH_S, asked=1)
    heights = [one.height for one in (*others, unsigned) if one is not None]
    return best if not heights or max(heights) < OTHER_SHARE * best.height else None


def _oddness(found: ClickSum, near_s: float) -> float:
    """Nats against a click far from what the strokes propose, or of a clock that quartz hardly has."""
    off = (found.zero_s - near_s) / USUAL_PUSH_S
    ppm = (found.ratio - 1.0) / USUAL_CLOCK
    return 0.5 * (off * off + ppm * ppm)


def find_strange(
    mono: NDArray[np.floating], rate: int, spectrum: Spectrum, layout: ClickLayout, ballot: list[Hypothesis]
) -> FoundClick | None:
    """A click of unknown sound on the beats of this layout; zero is its beat nearest to the strokes' zero."""
    if not ballot:
        return None
    band = prepare_comb(spectrum)
    beat_s = 60.0 / layout.bpm
    near_s = ballot[0].zero_s
    comb = search_comb(band, layout.beats, near_s, beat_s)
    if comb is not None:
        comb = refine_comb(mono, rate, layout.beats, comb)
        if comb.found:
            return _strange(layout.beats, comb.zero_s, comb.ratio, comb.sd_s, comb.peak)
    counted = tuple(beat for beat in layout.beats if beat.counted)
    if len(counted) < LEAST_COUNTED:
        return None
    comb = search_comb(band, counted, near_s, beat_s)
    if comb is None or comb.excess < COUNTED_EXCESS:
        return None
    comb = refine_comb(mono, rate, counted, comb)
    return replace(_strange(counted, comb.zero_s, 1.0, comb.sd_s, comb.peak), clock_known=False)


def _strange(beats: tuple[ClickBeat, ...], zero_s: float, ratio: float, sd_s: float, peak: float) -> FoundClick:
    return FoundClick(zero_s, ratio, sd_s, peak, False, tuple(zero_s + ratio * beat.at_s for beat in beats))

"""Played bars on the line of time: numbers, lengths, pickup, zero, tempo and clicked beats.

Conventions: quarters from zero, exact; seconds are exact rationals too until a value leaves this room. Zero is the
downbeat of the first full bar in played order; a pickup before it is negative.
"""

import re
from bisect import bisect_right
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from ..grid import beats_of, count_name
from ..written import Bar, Beat, Tempo
from .order import order_problems, played_order
from .raw import RawBar, RawPart, Signs

ASSUMED_TEMPO = Fraction(120)  # the tempo of a MIDI file that gives none
ROUNDING = Fraction(1, 16)  # quarters: less than this too much or too little in a bar is a program's rounding
Column = tuple[RawBar, ...]  # the same bar in all parts


class Clock:
    """Seconds at a place in quarters, from a list of tempi in order of place."""

    def __init__(self, tempi: list[Tempo]) -> None:
        self.places = [tempo.at_q for tempo in tempi]
        self.tempi = tempi
        self._at = [Fraction(0)]
        for before, after in pairwise(tempi):
            self._at.append(self._at[-1] + (after.at_q - before.at_q) * 60 / before.quarters_per_minute)
        self._zero = Fraction(0)
        self._zero = self.seconds(Fraction(0))

    def seconds(self, at_q: Fraction) -> Fraction:
        """Exact seconds from zero."""
        n = max(0, bisect_right(self.places, at_q) - 1)
        return self._at[n] + (at_q - self.places[n]) * 60 / self.tempi[n].quarters_per_minute - self._zero

    def tempo_before(self, at_q: Fraction) -> Fraction:
        """Quarters a minute just before at_q."""
        n = max(0, bisect_right(self.places, at_q) - 1)
        return self.tempi[n - 1 if n and self.places[n] == at_q else n].quarters_per_minute


@dataclass(frozen=True, slots=True)
class PlayedBar:
    index: int  # of the printed bar
    time: int  # which time through
    at_q: Fraction
    length_q: Fraction
    offset: Fraction  # quarters into its meter at which it begins (pickups and later halves of a split bar)
    number: int


@dataclass(slots=True)
class Timeline:
    """What all parts of a score share. raw are the bars of the part that carries the meters."""

    played: list[PlayedBar]
    bars: tuple[Bar, ...]
    beats: tuple[Beat, ...]
    tempi: tuple[Tempo, ...]
    clock: Clock
    raw: list[RawBar]
    warnings: list[str] = field(default_factory=list)

    @property
    def end_q(self) -> Fraction:
        last = self.played[-1]
        return last.at_q + last.length_q

    def count(self, played_bar: int, at: Fraction) -> str:
        bar = self.played[played_bar]
        return count_name(self.raw[bar.index].meter, at + bar.offset)


def make_timeline(parts: list[RawPart]) -> Timeline:
    """The time of all parts together: signs, tempi and lengths of bars are taken from whichever part has them."""
    columns: list[Column] = list(zip(*(part.bars for part in parts), strict=True))
    lead = parts[0].bars
    warnings: list[str] = []
    signs = _at_their_bars([_joined(column) for column in columns])
    for part in parts:
        number_bars(part.bars)
    lengths = [_length(index, columns, signs, warnings) for index in range(len(columns))]
    steps = played_order(signs)
    for index, element, says in order_problems(signs, steps):
        for bar in columns[index]:
            bar.unread.append((element, says))
    played = _place(lead, lengths, [(step.index, step.time) for step in steps])
    tempi = _tempi(columns, played, warnings)
    clock = Clock(tempi)
    bars = tuple(_bar(bar, lead[bar.index], clock) for bar in played)
    return Timeline(played, bars, _beats(lead, played, clock), tuple(tempi), clock, lead, warnings)


def number_bars(bars: list[RawBar]) -> None:
    """Printed numbers. A later half of a split bar ("X1", or implicit) keeps the number of the bar before."""
    number = 0
    for index, bar in enumerate(bars):
        own = re.match(r"[0-9]{1,6}", bar.label)
        if own is not None and not (bar.implicit and index and int(own.group(0)) == 0):
            number = int(own.group(0))
        elif not bar.implicit and not bar.label:
            number += 1
        bar.number = number


def _joined(column: Column) -> Signs:
    signs = Signs()
    for bar in column:
        signs.join(bar.signs)
    return signs


def _at_their_bars(signs: list[Signs]) -> list[Signs]:
    """Signs that a program writes on the far side of a barline, moved to the bar they are meant for."""
    for before, after in pairwise(signs):
        after.forward = after.forward or before.forward_after
        before.ending_stop = before.ending_stop or after.ending_stop_before
        if after.backward_before:
            before.backward, before.times = True, before.times or after.times
            before.after_jump = before.after_jump or after.after_jump
    return signs


def _filled(column: Column) -> Fraction:
    return max(bar.filled for bar in column)


def _length(index: int, columns: list[Column], signs: list[Signs], warnings: list[str]) -> Fraction:
    """Quarters of a printed bar, as long as its notes and rests; a short one without a reason on the page is told."""
    bar, filled = columns[index][0], _filled(columns[index])
    full = bar.meter.length
    if full is None:
        return filled or Fraction(4)
    if filled == 0 or abs(filled - full) < ROUNDING:
        return full
    if filled > full:
        return _too_long(columns[index], filled, full, warnings)
    if not _short_for_a_reason(index, columns, signs):
        warnings.append(
            f"bar {bar.number}: its notes and rests last {filled} of {full} quarters; the bar is taken as that short"
        )
    return filled


def _too_long(column: Column, filled: Fraction, full: Fraction, warnings: list[str]) -> Fraction:
    """Quarters of a bar that holds too much. Another part that fits, or strokes that all fit, prove a slip of the file."""
    number = column[0].number
    struck = max((note.at + note.length for bar in column for note in bar.notes if not note.rest), default=Fraction(0))
    if struck <= full or any(bar.filled == full for bar in column):
        warnings.append(f"bar {number}: a voice lasts {filled} quarters and the meter {full}; the meter is believed")
        return full
    warnings.append(f"bar {number}: its notes last {filled} quarters and the meter {full}; the notes are believed")
    return filled


def _short_for_a_reason(index: int, columns: list[Column], signs: list[Signs]) -> bool:
    """A pickup, a half of a split bar, or the short bar before a repeat or at the end that a pickup completes."""
    if index == 0 or index + 1 == len(columns) or columns[index][0].implicit or columns[index + 1][0].implicit:
        return True
    here = signs[index]
    if here.backward or here.dacapo or here.dalsegno is not None or here.ending_stop or signs[index + 1].forward:
        return True
    return any(_completes(columns, first) for first in (index - 1, index))


def _completes(columns: list[Column], first: int) -> bool:
    """Whether two short bars, one after the other, make one whole bar of the same meter."""
    one, other = columns[first], columns[first + 1]
    full = one[0].meter.length
    return (
        full is not None
        and one[0].meter == other[0].meter
        and 0 < _filled(one) < full
        and _filled(one) + _filled(other) == full
    )


def _place(lead: list[RawBar], lengths: list[Fraction], steps: list[tuple[int, int]]) -> list[PlayedBar]:
    placed: list[PlayedBar] = []
    at = Fraction(0)
    zero: Fraction | None = None
    for n, (index, time) in enumerate(steps):
        before = placed[-1] if placed else None
        following = steps[n + 1][0] if n + 1 < len(steps) else None
        offset = (
            _first_offset(lead, lengths, index, following) if before is None else _offset(lead, lengths, index, before)
        )
        pickup = before is None and (offset > 0 or _whole_bar_zero(lead, index, following))
        if zero is None and not pickup:
            zero = at
        placed.append(PlayedBar(index, time, at, lengths[index], offset, lead[index].number))
        at += lengths[index]
    zero = zero or Fraction(0)
    return [PlayedBar(b.index, b.time, b.at_q - zero, b.length_q, b.offset, b.number) for b in placed]


def _whole_bar_zero(lead: list[RawBar], index: int, following: int | None) -> bool:
    """A whole bar that the page calls 0 stands before bar 1."""
    return following is not None and lead[index].implicit and lead[index].label == "0"


def _first_offset(lead: list[RawBar], lengths: list[Fraction], index: int, following: int | None) -> Fraction:
    """How far into its meter the first bar begins: a short first bar is a pickup, unless the next one completes it."""
    full, length = lead[index].meter.length, lengths[index]
    if full is None or length >= full or following is None:
        return Fraction(0)
    completed = (
        lead[following].implicit and lead[following].meter == lead[index].meter and length + lengths[following] == full
    )
    return Fraction(0) if completed else full - length


def _offset(lead: list[RawBar], lengths: list[Fraction], index: int, before: PlayedBar) -> Fraction:
    """How far into its meter a later bar begins: where the short bar before it stopped, or as a pickup."""
    full, length = lead[index].meter.length, lengths[index]
    if full is None or length >= full:
        return Fraction(0)
    reached = before.offset + before.length_q
    same_meter = lead[before.index].meter == lead[index].meter
    if same_meter and 0 < reached < full and reached + length <= full:
        return reached
    return full - length if lead[index].implicit or index == 0 else Fraction(0)


def _tempi(columns: list[Column], played: list[PlayedBar], warnings: list[str]) -> list[Tempo]:
    found: dict[Fraction, Fraction] = {}
    for bar in played:
        for raw in columns[bar.index]:
            for tempo in raw.tempi:
                found[bar.at_q + min(tempo.at, bar.length_q)] = tempo.quarters_per_minute
    start = played[0].at_q
    if not found:
        warnings.append("the score gives no tempo; 120 quarters a minute is assumed")
    elif min(found) > start:
        warnings.append(
            "the score gives no tempo at its beginning; 120 quarters a minute is assumed up to the first one"
        )
    found.setdefault(start, ASSUMED_TEMPO)
    out: list[Tempo] = []
    for at in sorted(found):
        if not out or out[-1].quarters_per_minute != found[at]:
            out.append(Tempo(at, found[at]))
    return out


def _bar(bar: PlayedBar, raw: RawBar, clock: Clock) -> Bar:
    start, end = clock.seconds(bar.at_q), clock.seconds(bar.at_q + bar.length_q)
    beats = raw.meter.beats or max(1, int(bar.length_q))
    return Bar(bar.number, bar.at_q, bar.length_q, float(start), float(end - start), beats, raw.meter.beat_type)


def _beats(lead: list[RawBar], played: list[PlayedBar], clock: Clock) -> tuple[Beat, ...]:
    out: list[Beat] = []
    for n, bar in enumerate(played):
        if bar.at_q < 0:
            continue
        for at, number, length in beats_of(lead[bar.index].meter, bar.length_q, bar.offset):
            place = bar.at_q + at
            out.append(Beat(place, float(clock.seconds(place)), bar.number, n, number, number == 1, length))
    return tuple(out)

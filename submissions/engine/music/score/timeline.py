"""Played bars on the line of time: numbers, lengths, pickup, zero, tempo and clicked beats.

Conventions: quarters from zero, exact; seconds are exact rationals too until a value leaves this room.
"""

from bisect import bisect_right
from dataclasses import dataclass, field
from fractions import Fraction

from ..grid import beats_of, count_name
from ..written import Bar, Beat, Tempo
from .order import played_order
from .raw import RawBar, RawPart, Signs
from .tree import whole

ASSUMED_TEMPO = Fraction(120)  # the MIDI standard's tempo where none is given


class Clock:
    """Seconds at a place in quarters, from a list of tempi in order of place."""

    def __init__(self, tempi: list[Tempo]) -> None:
        self.places = [tempo.at_q for tempo in tempi]
        self.tempi = tempi
        self._at = [Fraction(0)]
        for before, after in zip(tempi, tempi[1:], strict=False):
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
    offset: Fraction  # quarters into its meter at which it begins (pickups and halves of a split bar)
    number: int


@dataclass(slots=True)
class Timeline:
    played: list[PlayedBar]
    bars: tuple[Bar, ...]
    beats: tuple[Beat, ...]
    tempi: tuple[Tempo, ...]
    clock: Clock
    raw: list[RawBar]  # the bars of the part that carries the meters
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
    columns = list(zip(*(part.bars for part in parts), strict=True))
    lead = parts[0].bars
    warnings: list[str] = []
    signs = [_joined(column) for column in columns]
    number_bars(lead)
    lengths = _lengths(columns, signs, warnings)
    played = _place(lead, lengths, [(step.index, step.time) for step in played_order(signs)])
    tempi = _tempi(columns, played, warnings)
    clock = Clock(tempi)
    bars = tuple(_bar(bar, lead[bar.index], clock) for bar in played)
    return Timeline(played, bars, _beats(lead, played, clock), tuple(tempi), clock, lead, warnings)


def number_bars(bars: list[RawBar]) -> None:
    """Printed numbers: a bar without a number of its own (a split half, "X1") keeps that of the bar before."""
    number = 0
    for index, bar in enumerate(bars):
        own = whole(bar.label)
        if own is not None and not (bar.implicit and index and own == 0):
            number = own
        elif index and not bar.implicit and own is None:
            number += 0
        bar.number = number


def _joined(column: tuple[RawBar, ...]) -> Signs:
    signs = Signs()
    for bar in column:
        signs.join(bar.signs)
    return signs


def _lengths(columns: list[tuple[RawBar, ...]], signs: list[Signs], warnings: list[str]) -> list[Fraction]:
    """Quarters of each printed bar. A short bar is believed where the page gives a reason, else it is filled up."""
    out: list[Fraction] = []
    for index, column in enumerate(columns):
        bar = column[0]
        filled, full = max(b.filled for b in column), bar.meter.length
        if full is None or filled == full:
            length = filled if filled else Fraction(4)
        elif filled == 0:
            length = full
        elif filled > full:
            warnings.append(f"bar {bar.number}: its notes last {filled} quarters and the meter {full}; the notes are believed")
            length = filled
        elif _short_for_a_reason(index, columns, signs):
            length = filled
        else:
            warnings.append(f"bar {bar.number}: its notes last {filled} of {full} quarters; the rest is taken as silence")
            length = full
        out.append(length)
    return out


def _short_for_a_reason(index: int, columns: list[tuple[RawBar, ...]], signs: list[Signs]) -> bool:
    """A pickup, a half of a split bar, or the short bar before a repeat or at the end that a pickup completes."""
    following = columns[index + 1][0] if index + 1 < len(columns) else None
    return (
        index == 0
        or columns[index][0].implicit
        or signs[index].backward
        or following is None
        or following.implicit
        or signs[index + 1].forward
        or signs[index].dacapo
        or signs[index].dalsegno is not None
    )


def _place(lead: list[RawBar], lengths: list[Fraction], steps: list[tuple[int, int]]) -> list[PlayedBar]:
    placed: list[PlayedBar] = []
    at = Fraction(0)
    for n, (index, time) in enumerate(steps):
        offset = _offset(lead, lengths, index, placed[-1] if placed else None, steps[n + 1][0] if n + 1 < len(steps) else None)
        placed.append(PlayedBar(index, time, at, lengths[index], offset, lead[index].number))
        at += lengths[index]
    zero = next((bar.at_q for bar in placed if bar.offset == 0), Fraction(0))
    return [PlayedBar(b.index, b.time, b.at_q - zero, b.length_q, b.offset, b.number) for b in placed]


def _offset(lead: list[RawBar], lengths: list[Fraction], index: int, before: PlayedBar | None, after: int | None) -> Fraction:
    """How far into its meter a bar begins: 0 but for pickups and the later halves of split bars."""
    full, length = lead[index].meter.length, lengths[index]
    if full is None or length > full:
        return Fraction(0)
    if before is None:
        completed = after is not None and lead[after].implicit and length + lengths[after] == full
        if length == full and lead[index].implicit and lead[index].label == "0":
            return Fraction(0) if after is None else full  # a whole bar numbered 0 before bar 1
        return Fraction(0) if completed or length == full or after is None else full - length
    if length == full:
        return Fraction(0)
    reached = before.offset + before.length_q
    if (lead[index].implicit or index == 0) and reached + length <= full and reached < full:
        return reached
    return full - length if lead[index].implicit or index == 0 else Fraction(0)


def _tempi(columns: list[tuple[RawBar, ...]], played: list[PlayedBar], warnings: list[str]) -> list[Tempo]:
    found: dict[Fraction, Fraction] = {}
    for bar in played:
        for raw in columns[bar.index]:
            for tempo in raw.tempi:
                if tempo.at <= bar.length_q:
                    found[bar.at_q + tempo.at] = tempo.quarters_per_minute
    start = played[0].at_q
    if not found:
        warnings.append("the score gives no tempo; 120 quarters a minute is assumed")
    elif min(found) > start:
        warnings.append("the score gives no tempo at its beginning; 120 quarters a minute is assumed up to the first one")
    found.setdefault(start, ASSUMED_TEMPO)
    return [Tempo(at, found[at]) for at in sorted(found)]


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

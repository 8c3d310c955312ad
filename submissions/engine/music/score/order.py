"""The way through the piece: repeats, endings and jumps unrolled into played order.

Conventions of the trade: a jump (D.C., D.S.) is taken once, after the repeats before it are done; after a jump repeats are
not taken again (unless after-jump says so) and the last ending is played; Fine and "to coda" count only after a jump.
"""

from dataclasses import dataclass

from ...errors import ScoreError
from .raw import Signs

MAX_PLAYED_BARS = 4_000  # two hours at 120; more is a mistake or an attack


@dataclass(frozen=True, slots=True)
class Ending:
    first: int
    last: int
    numbers: frozenset[int]
    passes: int  # of the group it belongs to


@dataclass(frozen=True, slots=True)
class Step:
    """One played bar: its index on the page and which time through it is."""

    index: int
    time: int


def played_order(bars: list[Signs]) -> list[Step]:
    """Indices of the printed bars in the order they are played."""
    return _Way(bars).walk()


def endings_of(bars: list[Signs]) -> list[Ending]:
    """The endings in printed order, with the number of passes of their group."""
    spans: list[tuple[int, int, frozenset[int]]] = []
    start: int | None = None
    for index, signs in enumerate(bars):
        if signs.ending_start:
            if start is not None:
                spans.append((start, index - 1, bars[start].ending_start))
            start = index
        if start is not None and (signs.ending_stop or signs.backward):
            spans.append((start, index, bars[start].ending_start))
            start = None
    if start is not None:
        spans.append((start, len(bars) - 1, bars[start].ending_start))
    return [Ending(*span, _passes(_group(spans, n), bars)) for n, span in enumerate(spans)]


def _group(spans: list[tuple[int, int, frozenset[int]]], n: int) -> list[tuple[int, int, frozenset[int]]]:
    low = high = n
    while low > 0 and spans[low - 1][1] + 1 == spans[low][0] and min(spans[low][2]) > 1:
        low -= 1
    while high + 1 < len(spans) and spans[high][1] + 1 == spans[high + 1][0] and min(spans[high + 1][2]) > 1:
        high += 1
    return spans[low : high + 1]


def _passes(group: list[tuple[int, int, frozenset[int]]], bars: list[Signs]) -> int:
    """Passes of a group of endings: its highest number, and one more where a lone ending leads back."""
    highest = max(max(span[2]) for span in group)
    return highest + 1 if len(group) == 1 and bars[group[0][1]].backward else highest


class _Way:
    def __init__(self, bars: list[Signs]) -> None:
        self.bars = bars
        self.ending_at = {i: ending for ending in endings_of(bars) for i in range(ending.first, ending.last + 1)}
        self.steps: list[Step] = []
        self.counts: dict[int, int] = {}
        self.start, self.passing = 0, 1
        self.jumped = self.in_coda = False

    def walk(self) -> list[Step]:
        index = 0
        while index < len(self.bars):
            index = self._next(index)
        return self.steps

    def _next(self, index: int) -> int:
        signs = self.bars[index]
        if signs.forward and index != self.start:
            self.start, self.passing = index, 1
        ending = self.ending_at.get(index)
        if ending is not None and self._pass(ending) not in ending.numbers:
            last = ending.last + 1
            if self._pass(ending) >= ending.passes and self.ending_at.get(last) is None:
                self.start, self.passing = last, 1
            return last
        self.steps.append(Step(index, self._count(index)))
        if len(self.steps) > MAX_PLAYED_BARS:
            raise ScoreError(f"With its repeats the score is longer than {MAX_PLAYED_BARS} bars.")
        return self._after(index, signs, ending)

    def _count(self, index: int) -> int:
        self.counts[index] = self.counts.get(index, 0) + 1
        return self.counts[index]

    def _pass(self, ending: Ending) -> int:
        return ending.passes if self._straight_on and not self.bars[ending.last].after_jump else self.passing

    @property
    def _straight_on(self) -> bool:
        """After a jump repeats are not taken again; those of the coda are new and are."""
        return self.jumped and not self.in_coda

    def _after(self, index: int, signs: Signs, ending: Ending | None) -> int:
        if self.jumped and signs.fine:
            return len(self.bars)
        if self.jumped and not self.in_coda and signs.tocoda is not None:
            coda = self._find("coda", signs.tocoda, after=index)
            if coda is not None:
                self.in_coda, self.start, self.passing = True, coda, 1
                return coda
        if signs.backward:
            passes = ending.passes if ending is not None else (signs.times or 2)
            if self.passing < passes and (not self._straight_on or signs.after_jump):
                self.passing += 1
                return self.start
        if signs.backward or (ending is not None and index == ending.last):
            self.start, self.passing = index + 1, 1
        if not self.jumped:
            target = 0 if signs.dacapo else None
            if signs.dalsegno is not None:
                target = self._find("segno", signs.dalsegno)
            if target is not None:
                self.jumped, self.start, self.passing = True, target, 1
                return target
        return index + 1

    def _find(self, name: str, label: str, after: int = -1) -> int | None:
        """The bar with this sign: the same label where there is one, else any such sign."""
        places = [i for i, signs in enumerate(self.bars) if getattr(signs, name) is not None and i > after]
        same = [i for i in places if getattr(self.bars[i], name) == label]
        found = same or places
        return found[0] if found else None

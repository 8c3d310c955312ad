"""The way through the piece: repeats, endings and jumps unrolled into played order.

Conventions of the trade: each jump (D.C., D.S.) is taken once, after the repeat that ends with it is done; on the way back
to it repeats are not taken again (unless after-jump says so) and the last ending is played; Fine and "to coda" count only
after a jump.
"""

from dataclasses import dataclass, replace

from ...errors import ScoreError
from .raw import Signs

MAX_PLAYED_BARS = 4_000  # two hours at 120; more is a mistake or an attack
Span = tuple[int, int, frozenset[int]]


@dataclass(frozen=True, slots=True)
class Ending:
    first: int
    last: int
    numbers: frozenset[int]
    passes: int  # of the group it belongs to
    group_first: int


@dataclass(frozen=True, slots=True)
class Step:
    """One played bar: its index on the page and which time through it is."""

    index: int
    time: int


def played_order(bars: list[Signs]) -> list[Step]:
    """Indices of the printed bars in the order they are played."""
    return _Way(with_jumps(bars)).walk()


def order_problems(bars: list[Signs], steps: list[Step]) -> list[tuple[int, str, str]]:
    """What in the signs leads nowhere: (index of bar, element, sentence)."""
    out: list[tuple[int, str, str]] = []
    signs = with_jumps(bars)
    for index, here in enumerate(signs):
        if here.dalsegno is not None and not any(bar.segno is not None for bar in signs):
            out.append((index, "dalsegno", "D.S. leads to a segno that is nowhere; it is not followed"))
        if here.tocoda is not None and not any(bar.coda is not None for bar in signs[index + 1 :]):
            out.append((index, "tocoda", "“to coda” leads to a coda that is nowhere; it is not followed"))
    reached = {step.index for step in steps}
    for index in range(len(bars)):
        if index not in reached:
            out.append(
                (index, "repeat", "this bar is never reached by the repeats as written; strokes there are missing")
            )
    return out


def with_jumps(bars: list[Signs]) -> list[Signs]:
    """The same signs, with the first of two coda signs taken for "to coda" where no words say which is which."""
    codas = [index for index, signs in enumerate(bars) if signs.coda is not None]
    if any(signs.tocoda is not None for signs in bars) or len(codas) != 2:
        return bars
    out = list(bars)
    out[codas[0]] = replace(bars[codas[0]], coda=None, tocoda=bars[codas[1]].coda)
    return out


def endings_of(bars: list[Signs]) -> list[Ending]:
    """The endings in printed order, with the number of passes of their group."""
    spans: list[Span] = []
    start: int | None = None
    for index, signs in enumerate(bars):
        if start is not None and (signs.ending_start or signs.forward):
            spans.append((start, index - 1, bars[start].ending_start))
            start = None
        if signs.ending_start:
            start = index
        if start is not None and (signs.ending_stop or signs.backward):
            spans.append((start, index, bars[start].ending_start))
            start = None
    if start is not None:
        spans.append((start, len(bars) - 1, bars[start].ending_start))
    groups = [_group(spans, n) for n in range(len(spans))]
    return [Ending(*span, _passes(group, bars), group[0][0]) for span, group in zip(spans, groups, strict=True)]


def _group(spans: list[Span], n: int) -> list[Span]:
    """The endings of the same repeat: neighbours on the page; a new first ending begins a new group."""
    low = high = n
    while low > 0 and spans[low - 1][1] + 1 == spans[low][0] and min(spans[low][2]) > 1:
        low -= 1
    while high + 1 < len(spans) and spans[high][1] + 1 == spans[high + 1][0] and min(spans[high + 1][2]) > 1:
        high += 1
    return spans[low : high + 1]


def _passes(group: list[Span], bars: list[Signs]) -> int:
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
        self.jumps: set[int] = set()  # bars whose jump has been taken
        self.codas: set[int] = set()
        self.way_back = -1  # bars up to this one are played again after a jump

    def walk(self) -> list[Step]:
        index = 0
        while index < len(self.bars):
            index = self._next(index)
        return self.steps

    def _next(self, index: int) -> int:
        signs = self.bars[index]
        if signs.forward and index != self.start:
            self._begin(index)
        ending = self.ending_at.get(index)
        if ending is not None and self._pass(ending) not in ending.numbers:
            last = ending.last + 1
            if self._pass(ending) >= ending.passes and self.ending_at.get(last) is None:
                self._begin(last)
            return last
        self.counts[index] = self.counts.get(index, 0) + 1
        self.steps.append(Step(index, self.counts[index]))
        if len(self.steps) > MAX_PLAYED_BARS:
            raise ScoreError(f"With its repeats the score is longer than {MAX_PLAYED_BARS} bars.")
        return self._after(index, signs, ending)

    def _begin(self, index: int) -> None:
        """A repeat, or what comes after one, begins here."""
        self.start, self.passing = index, 1

    def _pass(self, ending: Ending) -> int:
        again = ending.group_first <= self.way_back and not self.bars[ending.last].after_jump
        return ending.passes if again else self.passing

    def _after(self, index: int, signs: Signs, ending: Ending | None) -> int:
        if self.jumps and signs.fine:
            return len(self.bars)
        coda = self._coda(index, signs)
        if coda is not None:
            return coda
        if signs.backward:
            passes = ending.passes if ending is not None else (signs.times or 2)
            if self.passing < passes and (index > self.way_back or signs.after_jump):
                self.passing += 1
                return self.start
        if signs.backward or (ending is not None and index == ending.last):
            self._begin(index + 1)
        target = self._jump(index, signs)
        return index + 1 if target is None else target

    def _coda(self, index: int, signs: Signs) -> int | None:
        if not self.jumps or signs.tocoda is None or index in self.codas:
            return None
        coda = self._find("coda", signs.tocoda, after=index)
        if coda is not None:
            self.codas.add(index)
            self.way_back = -1
            self._begin(coda)
        return coda

    def _jump(self, index: int, signs: Signs) -> int | None:
        if index in self.jumps or (signs.jump_only and self.counts[index] not in signs.jump_only):
            return None
        target = 0 if signs.dacapo else None
        if signs.dalsegno is not None:
            target = self._find("segno", signs.dalsegno)
        if target is not None:
            self.jumps.add(index)
            self.way_back = index
            self._begin(target)
        return target

    def _find(self, name: str, label: str, after: int = -1) -> int | None:
        """The bar with this sign: the same label where there is one, else any such sign."""
        places = [i for i, signs in enumerate(self.bars) if getattr(signs, name) is not None and i > after]
        same = [i for i in places if getattr(self.bars[i], name) == label]
        found = same or places
        return found[0] if found else None

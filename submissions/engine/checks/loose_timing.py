"""Is the playing so far from even that a line would not sound together?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.ladder import ladder, performance_bpm
from ..music.written import Part
from . import drifts, wrong_tempo

CODE = "loose-timing"
LIMIT_MS = 35.0  # people playing to a metronome show about 18 ms; twice that is heard as apart (a project choice)


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    spread = _spread_ms(facts, part)
    if spread is None or spread <= LIMIT_MS:
        return
    yield Finding(
        CODE,
        Level.LOOK,
        f"The strokes lie {spread:.0f} ms around the beat; up to {LIMIT_MS:.0f} ms sits well in a line.",
        _practice(sorted(facts.timing.worst_bars), part),
    )


def _spread_ms(facts: TakeFacts, part: Part | None) -> float | None:
    """The spread about the player's own time where they surely have one; who only wanders is that far from the click."""
    timing = facts.timing
    if wrong_tempo.keeps_to_the_click(facts):
        return timing.click_spread_ms
    own = [*drifts.check(facts, part), *wrong_tempo.check(facts, part)]
    if timing.spread_ms is None or any(finding.level is Level.REDO for finding in own):
        return timing.spread_ms
    if abs(facts.zero.tempo_ratio - 1) > wrong_tempo.LIMIT:
        return timing.spread_ms
    return max(timing.spread_ms, timing.click_spread_ms or 0.0)


def _practice(bars: list[int], part: Part | None) -> str:
    """What to practise, and at the lowest step of the part's own ladder: eighty is slow for quick music only."""
    if part is None or not bars:
        return "Practise slowly first, then climb the ladder."
    where = f"bars {bars[0]} and {bars[-1]}" if len(bars) > 1 else f"bar {bars[0]}"
    slow = ladder(performance_bpm(part))[0]
    return f"Practise {where} slowly first, at about {float(slow):.0f}, then climb the ladder."

"""Is the playing so far from even that a line would not sound together?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.ladder import ladder, performance_bpm
from ..music.written import Part

CODE = "loose-timing"
LIMIT_MS = 35.0  # people playing to a metronome show about 18 ms; twice that is heard as apart (a project choice)


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    spread = facts.timing.spread_ms
    if spread is None or spread <= LIMIT_MS:
        return
    yield Finding(
        CODE,
        Level.LOOK,
        f"The strokes lie {spread:.0f} ms around the beat; up to {LIMIT_MS:.0f} ms sits well in a line.",
        _practice(sorted(facts.timing.worst_bars), part),
    )


def _practice(bars: list[int], part: Part | None) -> str:
    """What to practise, and at the lowest step of the part's own ladder: eighty is slow for quick music only."""
    if part is None or not bars:
        return "Practise slowly first, then climb the ladder."
    where = f"bars {bars[0]} and {bars[-1]}" if len(bars) > 1 else f"bar {bars[0]}"
    slow = ladder(performance_bpm(part))[0]
    return f"Practise {where} slowly first, at about {float(slow):.0f}, then climb the ladder."

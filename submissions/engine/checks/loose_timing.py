"""Is the playing so far from even that a line would not sound together?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "loose-timing"
LIMIT_MS = 35.0  # people playing to a metronome show about 18 ms; twice that is heard as apart (a project choice)


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    spread = facts.timing.spread_ms
    if spread is None or spread <= LIMIT_MS:
        return
    bars = " and ".join(str(bar) for bar in facts.timing.worst_bars)
    yield Finding(
        CODE,
        Level.LOOK,
        f"The strokes lie {spread:.0f} ms around the beat; up to {LIMIT_MS:.0f} ms sits well in a line.",
        f"Practise bars {bars} slowly first, about 80, then climb the ladder." if bars else "Practise slowly first, about 80, then climb the ladder.",
    )

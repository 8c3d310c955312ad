"""Does the playing begin whole bars after it should?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "starts-late"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    bars = facts.zero.late_bars
    if bars:
        way = "late" if bars > 0 else "early"
        yield Finding(
            CODE,
            Level.LOOK,
            f"The playing begins {abs(bars)} bar{'s' if abs(bars) > 1 else ''} {way} against the click.",
            "Count the count-off aloud once with the click and come in on the next downbeat. The leader can also have this take moved.",
        )

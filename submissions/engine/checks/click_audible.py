"""Can the click be heard in the take?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "click-audible"
# A line of twenty such takes adds its clicks in step (+26 dB) but its drums only in power (+13 dB): a click that
# lies 26 dB under one player's drums lies 13 dB under the line's. Computed; the two levels are the project's choice.
LIMIT_REDO_DB = 8.0
LIMIT_LOOK_DB = 26.0
DO = "Use wired headphones or earphones, closed ones if you have them, keep the click only as loud as you need, and keep the phone away from them."


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    under = facts.level.click_under_drums_db
    if under is None or under > LIMIT_LOOK_DB:
        return
    if under < LIMIT_REDO_DB:
        yield Finding(CODE, Level.REDO, f"The click is nearly as loud as the drums ({under:.0f} dB under them).", DO)
    else:
        yield Finding(CODE, Level.LOOK, f"The click can be heard ({under:.0f} dB under the drums).", DO)

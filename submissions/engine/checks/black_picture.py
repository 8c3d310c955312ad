"""Is the picture black, for all or part of the take?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "black-picture"
SOME = 0.05  # chosen: one black frame at the start or end of a take is a fade, not a fault
MOST = 0.5


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    share = facts.picture.black_share
    if not facts.container.has_picture or share <= SOME:
        return
    says = "The picture is black." if share > 0.95 else f"The picture is black for {100 * share:.0f} % of the take."
    yield Finding(
        CODE,
        Level.REDO if share > MOST else Level.LOOK,
        says,
        "Make sure that nothing covers the lens and that the screen stays on while you film, then record again.",
    )

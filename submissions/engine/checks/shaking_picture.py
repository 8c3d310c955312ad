"""Does the camera stand still?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "shaking-picture"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.picture.shaking and not facts.picture.covered:
        yield Finding(
            CODE,
            Level.LOOK,
            "The whole picture shakes while you play.",
            "Put the phone on a shelf or a stand that the drum does not touch, and record again if there is time.",
        )

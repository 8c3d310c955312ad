"""Is this the same performance as another take of the call?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "copy-of-a-take"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.copy_of:
        yield Finding(
            CODE,
            Level.LOOK,
            f"This is the same performance as {facts.copy_of}.",
            "If you sent the wrong file, send the right one. If you meant to send it twice, withdraw one of them.",
        )

"""Is there any sound in the sound track?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "silent"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.container.has_sound and facts.level.silent:
        yield Finding(
            CODE,
            Level.REDO,
            "The file has a sound track, but nothing can be heard in it.",
            "Check that the microphone is not covered or switched off for the camera, record ten seconds, listen, then record again.",
        )

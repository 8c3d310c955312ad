"""Does the file carry any sound?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "no-audio"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.unreadable is None and not facts.container.has_sound:
        yield Finding(
            CODE,
            Level.REDO,
            "This video has no sound at all.",
            "Allow the camera app to use the microphone, film a few seconds, listen to them, then record again.",
        )

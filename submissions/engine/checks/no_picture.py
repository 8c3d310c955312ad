"""Does the file carry a picture that can be decoded?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "no-picture"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.unreadable is None and not facts.container.has_picture:
        yield Finding(
            CODE,
            Level.REDO,
            "This file has sound but no picture.",
            "Send the video itself, not a sound recording made from it.",
        )

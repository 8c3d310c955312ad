"""Can the file be read, from its start to its end?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "unreadable"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.unreadable is not None:
        yield Finding(
            CODE,
            Level.REDO,
            facts.unreadable,
            "Send the video as your camera app saved it. If it does not play on your own device either, record again.",
        )
    elif facts.container.cut_off:
        yield Finding(
            CODE,
            Level.REDO,
            "This file ends in the middle: the rest of it did not arrive or was never saved.",
            "Check that the video plays to its end on your device, then send it once more.",
            (facts.container.duration_s,),
        )

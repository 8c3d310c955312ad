"""Was the phone held upright, or is the picture framed in black bars?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "portrait"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    container = facts.container
    if container.has_picture and container.width and container.height and container.width < container.height:
        yield Finding(
            CODE,
            Level.LOOK,
            f"The picture is upright ({container.width} x {container.height}); the finished picture is wide.",
            "Turn the phone on its side before you start filming. An editor may be able to crop this take.",
        )
    elif container.has_picture and facts.picture.letterboxed:
        yield Finding(
            CODE,
            Level.LOOK,
            "The picture has black bars burnt into it.",
            "Send the video as the camera saved it, not a copy that another app has framed.",
        )

"""Is there enough light, and nothing over the lens?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "dark-picture"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    picture = facts.picture
    if not facts.container.has_picture or picture.black_share > 0.5:
        return
    if picture.covered:
        yield Finding(
            CODE,
            Level.REDO,
            "Something covers the lens: the picture shows nothing but one plain patch.",
            "Clear the lens, look at the screen before you start, and record again.",
        )
    elif picture.dark:
        yield Finding(
            CODE,
            Level.LOOK,
            "The picture is so dark that hands and sticks are hard to see.",
            "Put a lamp behind the camera or stand facing a window, and record again if there is time.",
        )

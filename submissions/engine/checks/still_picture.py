"""Is the picture one still image for the whole take?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "still-picture"


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    picture = facts.picture
    if facts.container.has_picture and picture.still and not picture.covered and picture.black_share < 1.0:
        yield Finding(
            CODE,
            Level.REDO,
            "The picture is one still image: nobody can be seen playing.",
            "Film yourself playing, and send that video unchanged.",
        )

"""Is the picture large enough for a chair in the finished video?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "small-picture"
SMALL_LINES = 360  # computed: nine chairs, three by three, give each a third of 1080 lines
TINY_LINES = 144  # chosen: with 36 chairs each has 180 lines; under 144 (the smallest usual size) a stick is a smear in any layout


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    width, height = facts.container.width, facts.container.height
    if not facts.container.has_picture or not width or not height or min(width, height) >= SMALL_LINES:
        return
    yield Finding(
        CODE,
        Level.LOOK if min(width, height) >= TINY_LINES else Level.REDO,
        f"The picture is only {width} x {height} pixels.",
        "Set the camera to 1080p (at least 720p), and send the file itself: messaging apps make videos smaller.",
    )

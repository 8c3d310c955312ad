"""Is the picture large enough for a chair in the finished video?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "small-picture"
SMALL_LINES = 480  # chosen: a quarter of a 1080-line picture needs 540; 480 still looks clean there
TINY_LINES = 240  # chosen: below it a face or a stick is a smear in any layout


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

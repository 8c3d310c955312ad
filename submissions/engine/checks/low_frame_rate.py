"""Are there enough pictures a second to follow a stick?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "low-frame-rate"
# The slowest usual rate is 24000/1001; a phone that shows every picture a quarter longer half of the time, as they do in
# dim light, still comes to 21.3, and such takes are made in every living room.
LOW_FPS = 20.5
HOPELESS_FPS = 12.0  # chosen: below it each stroke shows in one picture or none


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    fps = facts.container.fps
    if facts.container.cut_off:
        return  # the end of a broken file lacks pictures that later ones lean on; it has to be sent again anyway
    if not facts.container.has_picture or facts.picture.still or fps is None or fps >= LOW_FPS:
        return
    yield Finding(
        CODE,
        Level.LOOK if fps >= HOPELESS_FPS else Level.REDO,
        f"The video has only {fps:.1f} pictures a second, so strokes are seen in jumps.",
        "Set the camera to 30 pictures a second and turn on more light: phones slow down in the dark.",
    )

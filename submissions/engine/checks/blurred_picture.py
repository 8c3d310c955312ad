"""Is the picture in focus?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "blurred-picture"
SHARP_ENOUGH = 0.45  # measured on rehearsal pictures, see the confusion page: sharp ones lie above, blurred ones below


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    picture = facts.picture
    if picture.sharpness is None or picture.covered or picture.dark or picture.sharpness >= SHARP_ENOUGH:
        return
    yield Finding(
        CODE,
        Level.LOOK,
        "The picture is out of focus.",
        "Wipe the lens, touch the drum on the screen so that the camera focuses on it, and record again if there is time.",
    )

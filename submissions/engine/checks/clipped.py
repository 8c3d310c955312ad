"""Are the tops of the strokes cut off?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "clipped"
LIMIT_REDO = 0.30  # chosen on generated takes: above it the cut is heard on most strokes
LIMIT_LOOK = 0.08  # chosen likewise: only the loudest accents are cut
DO = "Move the phone further away (three to five metres) or lay a thin cloth over its microphone, and record again."


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    share, places = facts.level.clipped_share, facts.level.clipped_at_s
    if share >= LIMIT_LOOK and not facts.level.clipped_sure:
        yield Finding(CODE, Level.LOOK, f"The loudest strokes ({share:.0%}) may be cut off at the top, or held down by the phone.", DO, places)
    elif share >= LIMIT_REDO:
        yield Finding(CODE, Level.REDO, f"The microphone was overloaded: {share:.0%} of the strokes are cut off at the top.", DO, places)
    elif share >= LIMIT_LOOK:
        yield Finding(CODE, Level.LOOK, f"The loudest strokes ({share:.0%}) are cut off at the top.", DO, places)

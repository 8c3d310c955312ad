"""Is this the part that was asked for?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "not-this-part"
# Both directions count: a dense wrong part covers most strokes of a sparse one, and the other way round.
LIMIT_FOUND = 0.55  # chosen on generated takes: beginners find more, other parts fewer
LIMIT_EXPLAINED = 0.50  # likewise, of the strokes heard between the first and the last written one
MIN_HEARD = 4


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    strokes = facts.strokes
    if part is None or not strokes.written or facts.level.silent or not facts.container.has_sound:
        return
    if len(strokes.heard_s) < MIN_HEARD:
        yield Finding(
            CODE,
            Level.REDO,
            "Hardly any drum strokes were heard.",
            f"Check that the file is the right one: it should hold the {part.name} part, {strokes.written} strokes.",
        )
        return
    found = strokes.matched / strokes.written
    if found < LIMIT_FOUND * _played_share(facts) or strokes.explained_share < LIMIT_EXPLAINED:
        yield Finding(
            CODE,
            Level.REDO,
            f"What was played does not fit this part: {found:.0%} of the written strokes were found, "
            f"and the part explains {strokes.explained_share:.0%} of what was heard.",
            "Check that you sent the right file and chose the right part and segment; if you did, practise with the guide and record again.",
        )


def _played_share(facts: TakeFacts) -> float:
    """The share of the written strokes up to the last one that was played: a take that stops is `incomplete`, not another part."""
    strokes = facts.strokes.strokes
    played = [n for n, stroke in enumerate(strokes) if stroke.played_s is not None]
    return (played[-1] + 1) / len(strokes) if played else 1.0

"""Does the picture stand still while strokes are heard?

A picture may well stand still before and after the playing; only what is frozen under strokes is a fault.
"""

from collections.abc import Iterator

from ..facts import Span, TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "frozen-picture"
FEWEST_STROKES = 3  # chosen: one or two strokes in a standing picture may be hidden behind the drum
LONG_S = 3.0  # chosen: an editor can hide a shorter stop by showing another chair


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    if facts.picture.still or facts.picture.covered or not facts.container.has_picture:
        return
    bad = [span for span in facts.picture.frozen if _strokes_in(facts, span) >= FEWEST_STROKES]
    if bad:
        longest = max(span.end_s - span.start_s for span in bad)
        yield Finding(
            CODE,
            Level.REDO if longest >= LONG_S else Level.LOOK,
            f"The picture stands still for up to {longest:.1f} s while the playing goes on.",
            "Close other apps, free some storage on the phone, and record again.",
            tuple(span.start_s for span in bad),
        )


def _strokes_in(facts: TakeFacts, span: Span) -> int:
    return sum(span.start_s < at < span.end_s for at in facts.strokes.heard_s)

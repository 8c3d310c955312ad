"""Does the frame rate vary, and does it ever stop?

Phones vary it as they like, and every export here works from packet times; only real stops need a person's eye.
"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "variable-frame-rate"
STOP_S = 0.25  # chosen: as long as a sixteenth note at 60 beats a minute; strokes vanish in it


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    container = facts.container
    if not container.has_picture or facts.picture.still or not container.variable_fps:
        return
    gap = container.largest_gap_s or 0.0
    at_s = (container.largest_gap_at_s,) if container.largest_gap_at_s is not None else ()
    if gap > STOP_S:
        yield Finding(
            CODE,
            Level.LOOK,
            f"The picture stops for {gap:.2f} s at one place.",
            "Close other apps and record again if the stop falls into the playing.",
            at_s,
        )
    else:
        yield Finding(
            CODE,
            Level.NOTE,
            "The time between pictures varies, as phones often do; it is evened out for the editor.",
            "Nothing to do.",
            at_s,
        )

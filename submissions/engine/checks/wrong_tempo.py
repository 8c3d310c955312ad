"""Was it played at the tempo of the click?"""

from collections.abc import Iterator

from ..ear.strokes.chance import LEAST_BEYOND_CHANCE
from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "wrong-tempo"
FITS = 0.8  # both shares: nothing but the part at that tempo gives as much
SURELY_BEYOND_CHANCE = 0.60  # Landis & Koch 1977: over 0.6 a kappa is substantial
LIMIT = 0.015  # chosen: 1.5 % over 16 bars is a whole sixteenth away; a steady player to a click stays within 0.2 %


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    ratio = facts.zero.tempo_ratio
    if part is None or facts.zero.zero_s is None or abs(ratio - 1) <= LIMIT or is_chance(facts) or keeps_to_the_click(facts):
        return  # of what lies there by chance `not-this-part` speaks
    yield Finding(
        CODE,
        Level.REDO if _certain(facts) else Level.LOOK,
        f"This was played at about {part.bpm * ratio:.0f} beats a minute; the segment goes at {part.bpm:.0f}.",
        _what_to_do(part, ratio),
    )


def is_chance(facts: TakeFacts) -> bool:
    """Whether the page lies at another tempo no better than it would on anything."""
    beyond = facts.timing.beyond_chance
    return abs(facts.zero.tempo_ratio - 1) > LIMIT and beyond is not None and beyond < LEAST_BEYOND_CHANCE


def keeps_to_the_click(facts: TakeFacts) -> bool:
    """Whether the page surely lies at the click's own tempo after all, and better than at the one that the strokes chose."""
    by_click, own = facts.timing.click_beyond_chance, facts.timing.beyond_chance
    return by_click is not None and by_click >= SURELY_BEYOND_CHANCE and (own is None or own < by_click)


def _what_to_do(part: Part, ratio: float) -> str:
    """Who was too fast need not be told that the click may be too fast for them."""
    if ratio > 1:
        return f"Use the click marked {part.bpm:.0f}, listen to it all the way through, and record again."
    return f"Use the click marked {part.bpm:.0f} and record again. If that is too fast still, climb the practice ladder first."


def _certain(facts: TakeFacts) -> bool:
    """Whether the other tempo is known, not guessed at: nobody is sent back for a guess.

    Marks and click tell where bar 1 begins, not how fast somebody plays: then the strokes must tell it.
    """
    strokes, zero = facts.strokes, facts.zero
    by_strokes = zero.sure and zero.source not in ("marks", "click")
    return by_strokes or min(strokes.matched / max(1, strokes.written), strokes.explained_share) >= FITS

"""The words that a part gives its own sheet: tempo, what the heads and rolls mean, rudiments, crossings, demand.

Suggestions (rudiments, demand) are what the desk reads; an organizer's call may replace them through SheetText.
"""

from dataclasses import replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from .demand import crossings, demand
from .ladder import bpm_name, performance_bpm
from .rudiments import Suggestion, suggest
from .sheet import SheetText
from .written import Part

BEAT_WORDS = {
    Fraction(3, 2): "dotted quarters",
    Fraction(1): "quarters",
    Fraction(1, 2): "eighths",
    Fraction(2): "halves",
    Fraction(3, 4): "dotted eighths",
}
HEAD_WORDS = (("rim", "x is on the rim"), ("cross", "circled x or + is cross-stick"), ("shot", "diamond is a rim shot"))
CREATOR_WORDS = {"composer": "Composed by", "arranger": "Arranged by"}
MOST_PLACES = 8  # places named after a word; more is no longer read


def words_of(part: Part, count_off_bars: int) -> SheetText:
    """The words that the part itself gives; a call adds credit, rights statement and the organizer's tips."""
    bars = "1 bar" if count_off_bars == 1 else f"{count_off_bars} bars"
    unit = BEAT_WORDS.get(part.beats[0].length_q, "beats")
    return SheetText(
        title=part.title,
        part=part_word(part),
        tempo=f"{bpm_name(performance_bpm(part))} {unit} a minute, count-off {bars}",
        tips=part.tips,
        unread=tuple(unread.says for unread in part.unread),
        heads=tuple(says for technique, says in HEAD_WORDS if any(s.technique == technique for s in part.strokes)),
        rolls=_rolls(part),
        rudiments=tuple(_rudiment(found) for found in suggest(part)),
        crossings=_crossings(part),
        demand=demand(part).says if part.strokes else "",
    )


def credited(words: SheetText, tree: Element) -> SheetText:
    """The same words; credit and rights taken from the score's own identification where the call gives none."""
    found = [
        (creator.get("type", ""), (creator.text or "").strip()) for creator in tree.iterfind("identification/creator")
    ]
    named = [f"{CREATOR_WORDS.get(kind, '')} {name}".strip() for kind, name in found if name and kind != "lyricist"]
    rights = " ".join((right.text or "").strip() for right in tree.iterfind("identification/rights"))
    return replace(words, credit=words.credit or ", ".join(dict.fromkeys(named)), rights=words.rights or rights.strip())


def part_word(part: Part) -> str:
    """ "Snare", "Bass 3": the part as players call it; a whole bass line keeps its own name."""
    if part.instrument == "bass" and part.drum != "all":
        return f"Bass {part.drum}"
    return part.name or part.instrument.capitalize()


def _rolls(part: Part) -> tuple[str, ...]:
    """How the rolls this player has were read, each way once; what the organizer set stands with its bar and count."""
    own = {(stroke.bar, stroke.count) for stroke in part.strokes}
    return tuple(
        dict.fromkeys(
            f"bar {roll.bar} on {roll.count}: {roll.says}" if roll.corrected else roll.says
            for roll in part.rolls
            if (roll.bar, roll.count) in own or (roll.corrected and roll.kind == "release")
        )
    )


def _crossings(part: Part) -> tuple[str, ...]:
    """Counts on which a hand crosses over, bar by bar."""
    counts: dict[int, list[str]] = {}
    for stroke in (part.strokes[n] for n in crossings(part)):
        counts.setdefault(stroke.bar, []).append(stroke.count)
    return _places([f"bar {bar} on {', '.join(dict.fromkeys(found))}" for bar, found in counts.items()])


def _rudiment(found: Suggestion) -> str:
    number = f" ({found.rudiment.number})" if found.rudiment.number else ""
    word = "bar" if len(found.bars) == 1 else "bars"
    return f"{found.rudiment.name}{number} in {word} {', '.join(_places([str(bar) for bar in found.bars]))}"


def _places(places: list[str]) -> tuple[str, ...]:
    once = list(dict.fromkeys(places))
    return tuple(once[:MOST_PLACES] + (["and more"] if len(once) > MOST_PLACES else []))

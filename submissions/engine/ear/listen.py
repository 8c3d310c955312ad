"""The ear's order of work: find what was struck, find zero, test every written stroke, then say how it lies."""

from dataclasses import dataclass, field, replace

from ..facts import LevelFacts, Sound, StrokeFacts, TimingFacts, ZeroFacts
from ..music.click import click_layout
from ..music.written import Part
from .alignment import align
from .level.measure import measure_level
from .strokes.search import find_strokes
from .struck import novelty as novelties
from .struck import onsets
from .timing import measure_timing
from .trust import lies_by_chance


@dataclass(frozen=True, slots=True)
class EarFacts:
    """All that was heard in a take."""

    zero: ZeroFacts = field(default_factory=ZeroFacts)
    strokes: StrokeFacts = field(default_factory=StrokeFacts)
    timing: TimingFacts = field(default_factory=TimingFacts)
    level: LevelFacts = field(default_factory=LevelFacts)


def listen(sound: Sound, part: Part | None, count_off_bars: int = 2) -> EarFacts:
    """What the sound holds of this part; part None measures the level and the strokes that stand on their own."""
    mono = sound.mono
    novelty = novelties.measure_novelty(mono, sound.rate)
    struck = onsets.stand_out(mono, sound.rate, novelty)
    if part is None or not part.strokes or not part.bars_from_zero():
        heard = tuple(struck.times_s.tolist())
        return EarFacts(strokes=StrokeFacts(heard_s=heard), level=measure_level(sound, heard, None, novelty))
    layout = click_layout(part, count_off_bars)
    found = align(mono, sound.rate, part, layout, struck)
    strokes = find_strokes(mono, sound.rate, part, found.zero, layout, novelty, struck)
    under_db = found.click.under_drums_db if found.click is not None else None
    played = [stroke.played_s for stroke in strokes.strokes if stroke.played_s is not None]
    playing_s = (min(played), max(played)) if played else None
    level = measure_level(sound, strokes.heard_s, under_db, novelty, playing_s)
    timing = measure_timing(part, found.zero, strokes)
    zero = replace(found.zero, sure=False) if lies_by_chance(found.zero, timing.beyond_chance) else found.zero
    return EarFacts(zero, strokes, timing, level)

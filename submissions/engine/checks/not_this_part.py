"""Is this the part that was asked for?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part
from .click_audible import LIMIT_REDO_DB
from .loose_timing import LIMIT_MS as LOOSE_MS
from .noisy import LIMIT_HIDING_DB
from .wrong_tempo import LIMIT as TEMPO_LIMIT
from .wrong_tempo import is_chance, keeps_to_the_click

CODE = "not-this-part"
# Both directions count, so the two shares are multiplied: a dense wrong part covers most strokes of a sparse one, and
# the other way round. Chosen on generated and sampled takes: the right part gives 0.6 and more (0.9 as a rule, less for
# ringing crashes and beginners), another part on the same grid of sixteenths up to 0.5, up to 0.65 where its place is unsure.
LIMIT_REDO = 0.50
LIMIT_LOOK_UNSURE = 0.70
# The same product asked of clear strokes only (see ear/strokes/clear.py): right parts give 0.9 and more, whoever plays and in
# whatever room; another part of the same density on the same sixteenths, which covers 0.5 to 0.8 of everything, up to 0.75.
LIMIT_CLEAR = 0.80
# Who plays another part of a like density strikes clearly where nothing is written (0.85 and less of it explained); where
# hardly anything clear is left over, the strokes that were not found were not heard.
LIMIT_LEFT_OVER = 0.93
# A beginner's thick page in a ringing room has left 0.87: a person looks before anybody is sent back.
LIMIT_SURE_LEFT_OVER = 0.75
MOST_COUNTED_BARS = 2  # a count-off's usual length, common practice
MIN_HEARD = 4
MIN_AMISS = 4  # strokes missing or not written: fewer are slips, however few strokes the part has
# Peak over a noise that can be heard: noise alone measures 16 to 25 (its own peaks, gusts of wind), anything struck more.
LIMIT_DROWNED_DB, LIMIT_HEARD_DB = 28.0, -60.0
# A low drum whose strokes stand so little over a noise may go unheard: a person looks. Talk in a room stands 45 and more.
LIMIT_MAY_HIDE_DB = 40.0
# Players who can be told to be loose lie 35 to 60 ms around the beat; a part that lies wider at a tempo of its own is a doubt.
LOOSEST_MS = 60.0
# Who is loose at an unsure place, or at a tempo a hundredth off the click's, must lie on the page better than chance puts it
# there: parts themselves show 0.45 and more, at a sure zero 0.7.
LEAST_WIDE_BEYOND_CHANCE = 0.45


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    strokes = facts.strokes
    if part is None or not strokes.written or facts.level.silent or not facts.container.has_sound:
        return
    if len(strokes.heard_s) < MIN_HEARD:
        if _drowned(facts):
            return  # Nothing can be said of the part; `noisy` says why.
        yield Finding(
            CODE,
            # Crashes that swell have no attack to be found by, and noise hides low drums: no fault of the player's.
            Level.LOOK if part.instrument == "cymbals" or _may_be_hidden(facts) else Level.REDO,
            "Hardly any drum strokes were heard.",
            f"Check that the file is the right one: it should hold the {part.name} part, {strokes.written} strokes.",
        )
        return
    if keeps_to_the_click(facts):
        return  # `loose-timing` speaks of what kept the strokes from being paired.
    found = min(1.0, strokes.matched / strokes.written / _played_share(facts))
    loosest = (facts.timing.spread_ms or 0.0) > LOOSEST_MS
    if found >= LIMIT_REDO and _may_be_clicks(facts, part) and not loosest:
        return  # `click-audible` says what to do.
    fit = found * strokes.explained_share
    doubtful = _clearly_another(facts) or is_chance(facts) or _lies_anywhere(facts) or (loosest and abs(facts.zero.tempo_ratio - 1) > TEMPO_LIMIT)
    if fit >= LIMIT_REDO and not doubtful and (facts.zero.sure or fit >= LIMIT_LOOK_UNSURE):
        return
    if is_chance(facts) and fit >= LIMIT_REDO and not _clearly_another(facts):
        says = "What was played does not seem to be this part: at no tempo does it lie on the page better than chance would put it."
    else:
        says = (
            f"What was played does not seem to be this part: {found:.0%} of the written strokes were found, "
            f"and the part explains {strokes.explained_share:.0%} of what was heard."
        )
    yield Finding(
        CODE,
        _level(facts, fit),
        says,
        "Check that you sent the right file and chose the right part and segment; if you did, practise with the guide and record again.",
    )


def _may_be_clicks(facts: TakeFacts, part: Part) -> bool:
    """Whether what the part does not explain may all be a click as loud as the drums."""
    under = facts.level.click_under_drums_db
    clicked = len(part.beats) + MOST_COUNTED_BARS * sum(beat.played_bar == part.beats[0].played_bar for beat in part.beats)
    return under is not None and under < LIMIT_REDO_DB and len(facts.strokes.extra_s) <= clicked


def _drowned(facts: TakeFacts) -> bool:
    """Whether noise is all that can be heard, or hides what else was struck."""
    level = facts.level
    hidden = bool(facts.strokes.heard_s) and level.strokes_over_noise_db < LIMIT_HIDING_DB
    return level.noise_db > LIMIT_HEARD_DB and (hidden or level.peak_db - level.noise_db < LIMIT_DROWNED_DB)


def _may_be_hidden(facts: TakeFacts) -> bool:
    return facts.level.noise_db > LIMIT_HEARD_DB and facts.level.peak_db - facts.level.noise_db < LIMIT_MAY_HIDE_DB


def _clearly_another(facts: TakeFacts) -> bool:
    """Whether clear strokes tell another part, in both directions."""
    strokes = facts.strokes
    if strokes.written - strokes.matched + len(strokes.extra_s) < MIN_AMISS:
        return False
    clear = strokes.clear_found_share * strokes.clear_explained_share
    return clear < LIMIT_CLEAR and strokes.clear_explained_share < LIMIT_LEFT_OVER


def _lies_anywhere(facts: TakeFacts) -> bool:
    """Whether an unsure place, or a tempo near the click's, was chosen out of many at which the page would lie as well."""
    beyond = facts.timing.beyond_chance  # None where nothing was chosen
    wide = (facts.timing.spread_ms or 0.0) > LOOSE_MS
    return wide and beyond is not None and beyond < LEAST_WIDE_BEYOND_CHANCE


def _level(facts: TakeFacts, fit: float) -> Level:
    """Sent back where it is certain: not for strokes that noise hides, nor for doubts about the place alone, nor for strokes
    that are left over at a place that is not the right one for certain."""
    if facts.level.strokes_over_noise_db < LIMIT_HIDING_DB:
        return Level.LOOK
    left_over = facts.zero.sure and facts.strokes.clear_explained_share < LIMIT_SURE_LEFT_OVER
    return Level.REDO if fit < LIMIT_REDO or left_over else Level.LOOK


def _played_share(facts: TakeFacts) -> float:
    """The share of the written strokes up to the last one that was played: a take that stops is `incomplete`, not another part."""
    strokes = facts.strokes.strokes
    played = [n for n, stroke in enumerate(strokes) if stroke.played_s is not None]
    return (played[-1] + 1) / len(strokes) if played else 1.0

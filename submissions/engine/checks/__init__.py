"""What is asked of every take: one question a file, all in one visible list."""

from collections.abc import Callable, Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part
from . import (
    black_picture,
    blurred_picture,
    click_audible,
    clipped,
    copy_of_a_take,
    dark_picture,
    drifts,
    frozen_picture,
    incomplete,
    loose_timing,
    low_frame_rate,
    no_audio,
    no_picture,
    noisy,
    not_this_part,
    portrait,
    shaking_picture,
    silent,
    small_picture,
    sound_picture_apart,
    starts_late,
    still_picture,
    too_quiet,
    unreadable,
    unsure_of_zero,
    variable_frame_rate,
    wrong_tempo,
)

Check = Callable[[TakeFacts, Part | None], Iterator[Finding]]

# In the order in which a person should read them: the file, the sound, the part, the playing, the picture.
CHECKS: tuple[tuple[str, Check], ...] = (
    (unreadable.CODE, unreadable.check),
    (no_audio.CODE, no_audio.check),
    (silent.CODE, silent.check),
    (no_picture.CODE, no_picture.check),
    (copy_of_a_take.CODE, copy_of_a_take.check),
    (not_this_part.CODE, not_this_part.check),
    (wrong_tempo.CODE, wrong_tempo.check),
    (incomplete.CODE, incomplete.check),
    (starts_late.CODE, starts_late.check),
    (drifts.CODE, drifts.check),
    (unsure_of_zero.CODE, unsure_of_zero.check),
    (loose_timing.CODE, loose_timing.check),
    (clipped.CODE, clipped.check),
    (too_quiet.CODE, too_quiet.check),
    (noisy.CODE, noisy.check),
    (click_audible.CODE, click_audible.check),
    (black_picture.CODE, black_picture.check),
    (dark_picture.CODE, dark_picture.check),
    (still_picture.CODE, still_picture.check),
    (frozen_picture.CODE, frozen_picture.check),
    (blurred_picture.CODE, blurred_picture.check),
    (shaking_picture.CODE, shaking_picture.check),
    (small_picture.CODE, small_picture.check),
    (portrait.CODE, portrait.check),
    (low_frame_rate.CODE, low_frame_rate.check),
    (variable_frame_rate.CODE, variable_frame_rate.check),
    (sound_picture_apart.CODE, sound_picture_apart.check),
)

# What only follows from a greater fault is left out: a player told "another part" need not hear that it is loose too.
FOLLOWS_FROM = {
    not_this_part.CODE: {wrong_tempo.CODE, incomplete.CODE, starts_late.CODE, drifts.CODE, unsure_of_zero.CODE, loose_timing.CODE},
    wrong_tempo.CODE: {unsure_of_zero.CODE},  # drifting and looseness are told about the own tempo too
    still_picture.CODE: {frozen_picture.CODE},
    black_picture.CODE: {dark_picture.CODE, still_picture.CODE, frozen_picture.CODE, blurred_picture.CODE},
}


def judge(facts: TakeFacts, part: Part | None) -> tuple[Finding, ...]:
    """Everything there is to say about a take, never only the first thing."""
    found = [finding for _, check in CHECKS for finding in check(facts, part)]
    led: set[str] = set().union(*(_leads(finding) for finding in found))
    return tuple(finding for finding in found if finding.code not in led)


def _leads(finding: Finding) -> set[str]:
    """Codes that need not be told beside this finding."""
    codes = FOLLOWS_FROM.get(finding.code, set())
    # A doubt about the part may come from the tempo, which all strokes together tell with more certainty, from what is
    # missing at the end, from strokes that lie too loosely to be told from another part's, or from where zero was put.
    told = {wrong_tempo.CODE, incomplete.CODE, loose_timing.CODE, unsure_of_zero.CODE}
    return codes if finding.level is Level.REDO else codes - told

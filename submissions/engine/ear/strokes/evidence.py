"""How surely a candidate is a stroke on a drum: rise, attack, level and colour weighed together.

Conventions: nats, the natural logarithm of "so many times likelier a stroke than a flicker or a voice".

The weights were fitted by logistic regression to candidates of takes with known truth (modelled and real
hits, rooms, phones, codecs, talk; seeds under 10 000), then rounded and adjusted by hand.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..struck.onsets import Onsets

Array = NDArray[np.float64]

RISE_KNEE_DB, RISE_TOP_DB = 4.0, 12.0  # beyond the knee a stroke is sure of its rise
RISE_WEIGHT, MORE_RISE_WEIGHT = 1.45, 0.25  # nats a dB
ATTACK_TOP_DB, ATTACK_WEIGHT = 20.0, 0.15
LEVEL_WEIGHT, LEVEL_DEPTH_DB = 0.11, 40.0  # nats for each dB under the take's strokes
FAINT_UNDER_DB, FAINT_WEIGHT = 20.0, 0.20  # more for each dB further down: softer than any tap beside an accent
COLOUR_WEIGHT, COLOUR_TOP_DB = 0.40, 15.0  # nats for each dB of mean distance from the take's colour
FALL_WEIGHT, FALL_TOP_DB = 0.09, 10.0  # a stroke falls at once, a voice goes on
BASE = -3.0
# What is so sharp was struck, whatever it sounds like: sticks that count off show 19, 28 and 13 dB or more in nine
# of ten cases, voices in hardly any.
SHARP_RISE_DB, SHARP_ATTACK_DB, SHARP_FALL_DB = 15.0, 24.0, 10.0
SHARP_COLOUR_SHARE = 0.3
LEAST_CLEAR = 4  # with fewer clear strokes nothing is known of a take's own level and colour
CLEAR_DB = 5.0


@dataclass(frozen=True)
class Habit:
    """What a stroke of this take is like."""

    level_db: float
    colour_db: Array  # (octaves,) under the loudest octave


def habit_of(found: Onsets, sure: NDArray[np.bool_]) -> Habit | None:
    """Level and colour that the strokes marked sure have in common; None: too few of them."""
    if np.count_nonzero(sure) < LEAST_CLEAR:
        return None
    return Habit(float(np.quantile(found.level_db[sure], 0.8)), np.median(_colour(found)[sure], axis=0))


def weigh(found: Onsets, rise_db: Array, habit: Habit | None) -> Array:
    """Nats for each candidate, shape (n,); rise_db is its rise over all that earlier strokes leave behind."""
    out = BASE + RISE_WEIGHT * np.minimum(rise_db, RISE_KNEE_DB)
    out += MORE_RISE_WEIGHT * np.clip(rise_db - RISE_KNEE_DB, 0, RISE_TOP_DB - RISE_KNEE_DB)
    out += ATTACK_WEIGHT * np.clip(found.attack_db, 0, ATTACK_TOP_DB)
    out += FALL_WEIGHT * np.clip(found.fall_db, -FALL_TOP_DB, FALL_TOP_DB)
    if habit is not None:
        out += LEVEL_WEIGHT * np.clip(found.level_db - habit.level_db, -LEVEL_DEPTH_DB, 0)
        out += FAINT_WEIGHT * np.clip(found.level_db - habit.level_db + FAINT_UNDER_DB, -LEVEL_DEPTH_DB, 0)
        away = np.abs(_colour(found) - habit.colour_db).mean(axis=1)
        sharp = (rise_db > SHARP_RISE_DB) & (found.attack_db > SHARP_ATTACK_DB) & (found.fall_db > SHARP_FALL_DB)
        out -= COLOUR_WEIGHT * np.minimum(away, COLOUR_TOP_DB) * np.where(sharp, SHARP_COLOUR_SHARE, 1.0)
    else:
        out -= 2.0  # the mean of what level and colour take from a stroke
    return out


def _colour(found: Onsets) -> Array:
    """Octave levels under the loudest one, no deeper than the range in which they tell anything."""
    levels = found.colour_db
    out: Array = np.maximum(levels - levels.max(axis=1, keepdims=True), -40.0) if len(levels) else levels
    return out

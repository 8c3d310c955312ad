"""Where the page lies by its strokes alone, while others are heard too."""

import numpy as np
import pytest

from submissions.engine.ear.struck.onsets import Onsets
from submissions.engine.ear.votes.ballot import vote
from submissions.engine.ear.votes.page import page_of
from submissions.engine.music.click import click_layout

from .heard import part_of

ZERO_S, EIGHTH_S = 3.0, 0.25


def onsets_of(times_s, level_db, rise_db=None):
    order = np.argsort(times_s)
    times_s, level_db = np.asarray(times_s)[order], np.asarray(level_db)[order]
    same, colour = np.full(len(times_s), 20.0), np.zeros((len(times_s), 8))
    rise_db = level_db + 40.0 if rise_db is None else np.asarray(rise_db)[order]
    return Onsets(times_s, rise_db, level_db, colour, same, same, np.arange(len(times_s)))


@pytest.mark.parametrize("under_db", [10.0, 16.0])
def test_a_steadier_neighbour_an_eighth_away_is_told_by_being_fainter(under_db):
    """A line practises together: the neighbour's part may be this page's, moved, and played better."""
    page, rng = page_of(part := part_of("bass", drum="3"), click_layout(part, 2)), np.random.default_rng(4)
    own = ZERO_S + page.at_s + rng.normal(0, 0.018, len(page))
    other = ZERO_S - EIGHTH_S + page.at_s + rng.normal(0, 0.010, len(page))
    times = np.concatenate([own, other])
    levels = np.concatenate([rng.normal(-20, 2.5, len(own)), rng.normal(-20 - under_db, 2.5, len(other))])
    ballot = vote(onsets_of(times, levels), page)
    assert ballot[0].zero_s == pytest.approx(ZERO_S, abs=0.015)
    assert ballot[0].gain - ballot[1].gain > 8.0


def test_as_loud_as_the_player_the_neighbour_leaves_zero_open_or_wins():
    """Nothing tells them apart but who is steadier: loudness must not be made up."""
    page, rng = page_of(part := part_of("bass", drum="3"), click_layout(part, 2)), np.random.default_rng(4)
    own = ZERO_S + page.at_s + rng.normal(0, 0.018, len(page))
    other = ZERO_S - EIGHTH_S + page.at_s + rng.normal(0, 0.010, len(page))
    ballot = vote(onsets_of(np.concatenate([own, other]), rng.normal(-20, 2.5, 2 * len(page))), page)
    assert ballot[0].zero_s == pytest.approx(ZERO_S - EIGHTH_S, abs=0.015)


def test_the_late_sound_of_crashes_is_no_stroke_because_it_is_loud():
    """Crashes swell: what begins a sixth of a second after the attack may be louder, but rises from what already rings."""
    page, rng = page_of(part := part_of("cymbals"), click_layout(part, 2)), np.random.default_rng(4)
    own = ZERO_S + page.at_s + rng.normal(0, 0.016, len(page))
    late = own + 0.167 + rng.normal(0, 0.004, len(page))
    n = len(page)
    levels = np.concatenate([rng.normal(-30, 2.5, n), rng.normal(-20, 2.5, n)])
    rises = np.concatenate([rng.normal(20, 2.5, n), rng.normal(12, 2.5, n)])
    first, second = vote(onsets_of(np.concatenate([own, late]), levels, rises), page)[:2]
    assert {round(first.zero_s - ZERO_S, 1), round(second.zero_s - ZERO_S, 1)} == {0.0, 0.2}
    assert abs(first.gain - second.gain) < 8.0 or first.zero_s == pytest.approx(ZERO_S, abs=0.015)

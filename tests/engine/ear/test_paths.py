"""The path of a player who leaves the click, from stroke times alone: no sound is needed."""

import numpy as np
import pytest

from submissions.engine.ear.votes.page import page_of
from submissions.engine.ear.votes.paths import WIDE_PUSH_S, beats_tempo, begin_with_click, behind_s, follow_path

from .heard import part_of

ZERO_S = 3.0
NEAR_S = 0.030  # a path is known to about a player's spread


def page_and_heard(leave, spread_s=0.012, push_s=-0.008, missed=0.05, extra=0.05, seed=1):
    """A page of 24 bars at 120 and when its strokes were heard; leave: seconds behind the click at written times."""
    rng = np.random.default_rng(seed)
    page = page_of(part_of(bars=24))
    at = page.at_s[rng.random(len(page)) > missed]
    heard = ZERO_S + at + push_s + leave(at) + spread_s * rng.standard_normal(len(at))
    others = ZERO_S + page.end_s * rng.random(round(extra * len(page)))
    return page, np.sort(np.concatenate([heard, others]))


def bow(end_s):
    """A tempo that changes evenly, so that the last bar comes end_s late."""
    return lambda at: end_s * (at / 48.0) ** 2


class TestAPlayersPath:
    @pytest.mark.parametrize("end_s", [0.25, 0.6, -0.25, -0.6])
    def test_follows_a_drift_past_half_a_sixteenth(self, end_s):
        page, heard = page_and_heard(bow(end_s))
        path = follow_path(heard, page, ZERO_S, 1.0)
        assert path.leaves()
        due = bow(end_s)(path.at_s) - 0.008
        assert np.abs(path.late_s - due).max() < NEAR_S

    @pytest.mark.parametrize("spread_s", [0.006, 0.018, 0.028])
    def test_of_one_who_stays_with_the_click_is_none(self, spread_s):
        page, heard = page_and_heard(lambda at: 0 * at, spread_s)
        assert not follow_path(heard, page, ZERO_S, 1.0).leaves()

    def test_comes_back(self):
        there_and_back = lambda at: 0.2 * np.sin(np.pi * at / 48.0)  # noqa: E731
        page, heard = page_and_heard(there_and_back)
        path = follow_path(heard, page, ZERO_S, 1.0)
        assert path.leaves()
        assert np.abs(path.late_s - there_and_back(path.at_s) + 0.008).max() < NEAR_S

    def test_is_no_better_than_the_one_tempo_that_somebody_kept(self):
        page, heard = page_and_heard(lambda at: 0.012 * at)
        path = follow_path(heard, page, ZERO_S, 1.0)
        assert path.leaves()
        assert not beats_tempo(path, heard, page, ZERO_S, 1.012, 1.0)

    def test_is_better_than_one_tempo_through_a_drift(self):
        page, heard = page_and_heard(bow(0.5))
        path = follow_path(heard, page, ZERO_S, 1.0)
        assert beats_tempo(path, heard, page, ZERO_S - 0.08, 1 + 0.5 / 48.0, 1.0)

    def test_begins_with_the_click_where_the_strokes_alone_tell(self):
        page, heard = page_and_heard(bow(0.4))
        stretch = 1 + 0.4 / 48.0
        path = follow_path(heard, page, ZERO_S - 0.07, stretch, WIDE_PUSH_S)
        zero_s, sd_s, moved = begin_with_click(path, ZERO_S - 0.07, stretch)
        assert abs(zero_s - ZERO_S + 0.008) < 2 * sd_s
        assert behind_s(48.0, moved.knots) == pytest.approx(0.4, abs=2 * NEAR_S)

    def test_is_not_looked_for_on_a_short_page(self):
        page, heard = page_and_heard(bow(0.4))
        assert follow_path(heard[:6], page, ZERO_S, 1.0) is None


class TestBehind:
    def test_is_straight_between_knots_and_level_outside(self):
        knots = ((0.0, 0.0), (2.0, 0.1))
        assert [behind_s(at, knots) for at in (-1.0, 0.0, 1.0, 2.0, 9.0)] == pytest.approx([0.0, 0.0, 0.05, 0.1, 0.1])

    def test_is_nought_without_a_path(self):
        assert behind_s(5.0, ()) == 0.0

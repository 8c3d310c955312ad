"""Distances at which the picture is too slow to strike, and distances that are surely too far, without any film."""

import numpy as np
import pytest

from submissions.engine.eye.beyond import surely_beyond
from submissions.engine.eye.blows import slowness
from submissions.engine.eye.shapes import SHAPES
from submissions.engine.eye.strikes import distances

from .clips import height, rhythm

PLACES = distances()
TRUE = 0.11


def place(late_s):
    return int(np.abs(PLACES - late_s).argmin())


def against(kind, top_s, seed=3):
    """slowness for the height of one hand at 30 pictures a second, beside the distance top_s."""
    strokes, at_s = rhythm(np.random.default_rng(seed), 9.0), np.arange(270) / 30
    up = np.array([height(kind, t, strokes) for t in at_s])
    course = ((up - up.mean()) / up.std())[:, None]
    first = np.arange(len(at_s)) == 0
    return slowness(course, first, at_s, strokes + TRUE, PLACES, place(top_s), SHAPES)


class TestAPictureThatIsTooSlowToStrike:
    @pytest.mark.parametrize("seed", range(4))
    def test_is_where_a_raised_hand_turns(self, seed):
        slow = against("rest", TRUE, seed)
        assert not slow[place(TRUE) - 1 : place(TRUE) + 2].any()
        assert slow[place(TRUE + 0.07) : place(TRUE + 0.15)].max() >= 1

    def test_takes_nothing_away_where_hands_move_as_fast_everywhere(self):
        assert not against("swing", TRUE).any()

    def test_takes_nothing_away_beside_a_slow_distance(self):
        assert not against("rest", TRUE + 0.09).any()

    def test_is_not_said_of_places_that_may_be_the_answer_too(self):
        """The true distance is a picture's length away from the best one now and then."""
        for seed in range(4):
            slow = against("rest", TRUE, seed)
            assert not slow[np.abs(PLACES - TRUE) < 0.049].any() and (slow >= 0).all()

    def test_is_not_said_of_moments_that_no_frame_shows(self):
        """A distance that moves all strokes to before the film tells nothing of them."""
        strokes, at_s = np.array([0.10, 0.22, 0.37]), np.arange(60) / 30
        up = np.array([height("rest", t, strokes) for t in at_s])
        course = ((up - up.mean()) / up.std())[:, None]
        said = slowness(course, np.arange(60) == 0, at_s, strokes, PLACES, place(0.0), SHAPES)
        assert said.any() and not said[-1]


def fit(*peaks):
    """A course of fits over all distances with peaks of (distance, height)."""
    return np.max([h * np.exp(-(((PLACES - at) / 0.02) ** 2)) for at, h in peaks], axis=0)


class TestSurelyBeyond:
    def test_gives_the_nearest_of_all_that_are_left(self):
        two = fit((0.18, 100), (0.31, 85))
        assert surely_beyond(PLACES, two, [two, two]) == pytest.approx(0.17)
        early = fit((-0.16, 100), (-0.29, 85))
        assert surely_beyond(PLACES, early, [early, early]) == pytest.approx(-0.15)

    @pytest.mark.parametrize("other", [(0.05, 80), (-0.16, 80), (0.0, 70)])
    def test_is_silent_when_one_of_them_is_near_or_on_the_other_side(self, other):
        two = fit((0.18, 100), other)
        assert surely_beyond(PLACES, two, [two, two]) is None

    def test_counts_in_what_either_half_holds_for_likely(self):
        far = fit((0.18, 100))
        assert surely_beyond(PLACES, far, [far, fit((0.18, 80), (0.03, 100))]) is None
        assert surely_beyond(PLACES, far, [far, fit((0.18, 100), (0.03, 80))]) is None

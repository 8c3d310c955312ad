"""A tempo that the strokes chose must find more of the page than the page finds anywhere.

The measure is Cohen (1960): (seen - by chance) / (1 - by chance).
"""

import numpy as np
import pytest

from submissions.engine.ear.strokes.chance import beyond_chance

RNG = np.random.default_rng(11)
PAGE = np.cumsum(RNG.choice([0.1, 0.1, 0.2, 0.3], 240)) + 5


class TestBeyondChance:
    def test_is_one_for_the_page_itself(self):
        assert beyond_chance(PAGE, PAGE) == pytest.approx(1.0)

    def test_is_high_for_a_beginner_on_a_dense_page(self):
        assert beyond_chance(np.sort(PAGE + RNG.normal(0, 0.03, len(PAGE))), PAGE) > 0.6

    def test_is_little_for_another_dense_page_wherever_it_lies(self):
        other = np.cumsum(RNG.choice([0.11, 0.11, 0.22, 0.33], 240)) + 5
        assert max(beyond_chance(other, PAGE + move) for move in np.arange(-1, 1, 0.02)) < 0.35

    def test_is_nothing_where_too_little_is_written_or_heard(self):
        assert beyond_chance(PAGE[:5], PAGE) is None
        assert beyond_chance(PAGE, PAGE[:5]) is None
        assert beyond_chance(PAGE, PAGE + 1000) is None

    def test_is_the_same_each_time(self):
        heard = np.sort(PAGE + RNG.normal(0, 0.03, len(PAGE)))
        assert beyond_chance(heard, PAGE) == beyond_chance(heard, PAGE)

"""Echoes: what always comes at one distance behind the strokes was struck by nobody."""

import numpy as np

from submissions.engine.ear.struck.tails import same_lag

RNG = np.random.default_rng(7)
STRUCK = np.sort(RNG.uniform(0, 40, 200))


class TestSameLag:
    def test_names_what_follows_at_one_distance(self):
        echoes = STRUCK[::6] + 0.0327 + RNG.normal(0, 0.0001, len(STRUCK[::6]))
        assert np.mean(same_lag(np.sort(echoes), STRUCK)) > 0.95

    def test_leaves_most_strokes_at_a_hands_distances_alone(self):
        drags = np.sort(STRUCK[::12] + RNG.normal(0.035, 0.008, len(STRUCK[::12])))
        assert np.mean(same_lag(drags, STRUCK)) < 0.4

    def test_needs_more_than_a_few(self):
        assert not np.any(same_lag(STRUCK[:4] + 0.03, STRUCK))
        assert len(same_lag(np.zeros(0), STRUCK)) == 0

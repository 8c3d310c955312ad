"""Rhythms that were not played, held against those that were, for the height of one hand."""

import numpy as np

from submissions.engine.eye.chance import chance
from submissions.engine.eye.motion import MOVED, REORDERED

from .clips import height, rhythm


class TestChance:
    def test_is_not_helped_by_a_rest_after_the_playing(self):
        """Five seconds of strokes in a film of eight."""
        rng = np.random.default_rng(1)
        strokes, at_s = rhythm(rng, 5.0), np.arange(200) / 25
        up = np.array([height("rest", t, strokes) for t in at_s]) + rng.normal(0, 0.1, len(at_s))
        heard = strokes + 0.02
        found = chance(((up - up.mean()) / up.std())[:, None], at_s, heard, heard, 0.02)
        assert found.moved < MOVED and found.elsewhere < MOVED
        assert found.reordered < REORDERED

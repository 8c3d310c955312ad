"""Strokes that hands show and the list of strokes lacks, on courses of two hands without any film."""

import numpy as np
import pytest

from submissions.engine.eye.strikes import distances, likelihoods
from submissions.engine.eye.unheard import ONE_IN, with_unheard

from .clips import height, rhythm

PLACES = distances()
TRUE = 0.11


def played(kind, seed):
    """Strokes, and how high each of two hands is that take turns, at 30 pictures a second."""
    strokes, at_s = rhythm(np.random.default_rng(seed), 8.0), np.arange(240) / 30
    hands = [[height(kind, t, own) for t in at_s] for own in (strokes[0::2], strokes[1::2])]
    courses = np.array(hands).T + np.random.default_rng(seed).normal(0, 0.1, (len(at_s), 2))
    return strokes + TRUE, at_s, (courses - courses.mean(axis=0)) / courses.std(axis=0)


def mended(heard, at_s, courses):
    return with_unheard(likelihoods(courses, at_s, heard, PLACES), courses, at_s, heard, PLACES)


class TestAStrokeThatWasNotHeard:
    @pytest.mark.parametrize(("kind", "lost"), [("rest", 5), ("rest", 9), ("drop", 12), ("whip", 7)])
    def test_is_put_in_where_it_was(self, kind, lost):
        strokes, at_s, courses = played(kind, lost)
        heard = np.delete(strokes, lost)
        now, fits = mended(heard, at_s, courses)
        (new,) = np.setdiff1d(now, heard)
        assert strokes[lost - 1] < new < strokes[lost + 1]
        assert abs(PLACES[fits.max(axis=0).argmax()] - TRUE) < 0.025

    @pytest.mark.parametrize("kind", ["rest", "drop", "whip"])
    def test_is_not_invented(self, kind):
        heard, at_s, courses = played(kind, 2)
        now, fits = mended(heard, at_s, courses)
        assert np.array_equal(now, heard)
        assert np.array_equal(fits, likelihoods(courses, at_s, heard, PLACES))

    def test_is_one_of_few(self):
        """Noise can be fitted by strokes put in at will; no more are than a list may lack."""
        heard, at_s, courses = played("rest", 3)
        noise = np.random.default_rng(8).normal(size=courses.shape)
        now, _ = mended(heard, at_s, noise)
        assert len(now) - len(heard) <= len(heard) // ONE_IN

    def test_needs_a_gap(self):
        _, at_s, courses = played("rest", 4)
        dense = np.arange(1.0, 7.0, 0.1)
        assert np.array_equal(mended(dense, at_s, courses)[0], dense)

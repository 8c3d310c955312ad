"""Feet of faint strokes settled by the shape of the take's own attacks."""

import numpy as np
import pytest

from submissions.engine.ear.struck.attacks import settle_feet

RATE = 48_000
CLEAR_S, FAINT_S = 0.5 + 0.5 * np.arange(20), 0.75 + 0.5 * np.arange(20)
AT_S = np.sort(np.concatenate([CLEAR_S, FAINT_S]))
RISE_DB = np.tile([12.0, 4.0], 20)
EVERY = np.ones(40, bool)


@pytest.fixture(scope="module")
def brushed():
    """A drum whose wires answer its head 10 ms later and louder; every second stroke is softer and lies in a hiss."""
    rng = np.random.default_rng(7)
    mono = rng.normal(0, 1e-4, 11 * RATE)
    n = np.arange(RATE // 5)
    head, wires = np.exp(-n / (0.006 * RATE)), np.exp(-n / (0.04 * RATE))
    for at, rise in zip(AT_S, RISE_DB, strict=True):
        start, level = round(at * RATE), 0.5 if rise > 6 else 0.1
        mono[start : start + len(n)] += 0.5 * level * head * rng.normal(size=len(n))
        mono[start + 480 : start + 480 + len(n)] += level * wires * rng.normal(size=len(n))
        if rise < 6:
            mono[start - 2400 : start + 4800] += 0.02 * rng.normal(size=7200)
    return mono


class TestSettleFeet:
    late = AT_S + np.where(RISE_DB > 6, 0.0, 0.010)  # faint strokes timed where their wires answer

    def test_moves_faint_strokes_to_where_the_head_was_struck(self, brushed):
        off = 1e3 * (settle_feet(brushed, RATE, self.late, RISE_DB, EVERY) - AT_S)[1::2]
        assert np.count_nonzero(np.abs(off) < 1.5) >= 16  # of 20
        assert abs(np.median(off)) < 0.5

    def test_leaves_those_that_are_right_where_they_are(self, brushed):
        off = 1e3 * (settle_feet(brushed, RATE, AT_S, RISE_DB, EVERY) - AT_S)[1::2]
        assert np.count_nonzero(np.abs(off) < 1.5) >= 16

    def test_moves_no_clear_stroke_and_none_that_is_not_free(self, brushed):
        settled = settle_feet(brushed, RATE, self.late, RISE_DB, RISE_DB > 6)
        assert np.array_equal(settled, self.late)

    def test_moves_none_beside_which_another_was_struck(self, brushed):
        near = np.sort(np.concatenate([self.late, FAINT_S - 0.03]))
        rise = np.where(np.isin(near, CLEAR_S), 12.0, 4.0)
        settled = settle_feet(brushed, RATE, near, rise, np.ones(60, bool))
        own = np.isin(near, FAINT_S + 0.010)
        assert np.array_equal(settled[own], near[own])

    def test_of_too_few_strokes_learns_nothing(self, brushed):
        assert np.array_equal(settle_feet(brushed, RATE, self.late[:6], RISE_DB[:6], EVERY[:6]), self.late[:6])

"""Strokes in the ring of others: heard where they were struck, and not where nothing was."""

import numpy as np

from submissions.engine.ear.strokes.masked import Heard, ask
from submissions.engine.ear.struck.novelty import HOP_S, measure_novelty

RATE = 48_000
LOUD_S = 0.5 + 0.4 * np.arange(30)
SOFT_S = LOUD_S + 0.08
DUE_S = np.sort(np.concatenate([LOUD_S, SOFT_S]))
SPREAD_S = 0.012
PLAIN = 0.0  # nats at which a pairing takes what lies where it is due, and -4.5 what it cannot believe


def ringing(soft, seed=4):
    """Loud strokes that ring for long, each with a soft one in its ring where soft says so."""
    rng = np.random.default_rng(seed)
    mono = rng.normal(0, 1e-3, 14 * RATE)
    n = np.arange(RATE // 3)
    fall = np.exp(-n / (0.06 * RATE))
    for at, has in zip(LOUD_S, soft, strict=True):
        for start_s, level in ((at, 0.5), (at + 0.08, 0.22 if has else 0.0)):
            mono[round(start_s * RATE) :][: len(n)] += level * rng.normal(size=len(n)) * fall
    return measure_novelty(mono, RATE)


def loud_ones(rise_db=12.0):
    """Only the loud ones have been heard: every second event is missing."""
    frames = np.round(LOUD_S / HOP_S).astype(np.int64)
    of_event = np.where(np.arange(60) % 2, -1, np.arange(60) // 2)
    return Heard(LOUD_S, frames, np.full(30, rise_db), of_event)


class TestAsk:
    def test_hears_soft_strokes_in_a_ring_and_hardly_any_where_there_are_none(self):
        soft = np.arange(30) % 2 == 0
        asked = ask(ringing(soft), DUE_S, SPREAD_S, loud_ones())
        frames = asked.unheard(loud_ones().frames)
        sure = frames[asked.evidence(frames) > PLAIN]
        near = np.abs(sure[:, None] * HOP_S - SOFT_S[None, :]).min(axis=0) < 0.012
        assert np.count_nonzero(near & soft) >= 10  # of 15
        assert len(sure) - np.count_nonzero(near & soft) <= 3

    def test_asks_only_where_something_is_due_and_nothing_plain_was_heard(self):
        asked = ask(ringing(np.ones(30, bool)), DUE_S, SPREAD_S, loud_ones())
        assert np.abs(asked.frames[:, None] * HOP_S - SOFT_S[None, :]).min(axis=1).max() < 0.035
        assert np.isnan(asked.evidence(loud_ones().frames)).all()

    def test_what_is_heard_already_is_no_second_stroke(self):
        asked = ask(ringing(np.ones(30, bool)), DUE_S, SPREAD_S, loud_ones())
        found = asked.unheard(np.zeros(0, np.int64))
        assert len(found) > 10
        assert len(asked.unheard(found + 1)) == 0

    def test_knows_drums_of_which_no_stroke_rises_much(self):
        asked = ask(ringing(np.ones(30, bool)), DUE_S, SPREAD_S, loud_ones(rise_db=3.0))
        assert np.nanmax(asked.evidence(np.round(SOFT_S / HOP_S).astype(np.int64))) > PLAIN

    def test_says_nothing_where_too_little_was_heard(self):
        heard = Heard(LOUD_S[:3], np.array([200, 360, 520]), np.full(3, 12.0), np.array([0, 1, 2, -1]))
        assert ask(ringing(np.ones(30, bool)), LOUD_S[:4], SPREAD_S, heard) is None

"""Strokes in the ring of others: heard where they were struck, and not where nothing was."""

import numpy as np

from submissions.engine.ear.masked import Heard, find_masked
from submissions.engine.ear.novelty import HOP_S, measure_novelty

RATE = 48_000
LOUD_S = 0.5 + 0.4 * np.arange(30)
SOFT_S = LOUD_S + 0.08


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


def asked(novelty):
    """What is found of the soft ones when only the loud ones have been, by event."""
    due = np.sort(np.concatenate([LOUD_S, SOFT_S]))
    of_event = np.where(np.arange(60) % 2, -1, np.arange(60) // 2)
    frames = np.round(LOUD_S / HOP_S).astype(np.int64)
    heard = Heard(LOUD_S, frames, np.full(30, 12.0), of_event)
    # Every second one is to be looked for, more than would ever be masked in one take: each is asked alone.
    found = {}
    for n in range(1, 60, 2):
        own = np.delete(np.arange(60), [k for k in range(1, 60, 2) if k != n])
        one = find_masked(novelty, due[own], Heard(heard.times_s, frames, heard.rise_db, of_event[own]), LOUD_S)
        found |= dict.fromkeys([n] * len(one), next(iter(one.values()), 0.0))
    return found


def test_hears_soft_strokes_in_a_ring_and_hardly_any_where_there_are_none():
    soft = np.arange(30) % 2 == 0
    found = asked(ringing(soft))
    there = [n for n in found if soft[n // 2]]
    assert len(there) >= 10  # of 15
    assert len(found) - len(there) <= 3  # of 15: in tails one place in ten shows as much
    assert all(abs(found[n] - SOFT_S[n // 2]) < 0.012 for n in there)


def test_a_stretch_without_any_stroke_stays_missing():
    novelty = ringing(np.ones(30, bool))
    due = np.sort(np.concatenate([LOUD_S, SOFT_S]))
    of_event = np.where((np.arange(60) % 2 == 0) & (np.arange(60) < 30), np.arange(60) // 2, -1)
    heard = Heard(LOUD_S, np.round(LOUD_S / HOP_S).astype(np.int64), np.full(30, 12.0), of_event)
    assert not any(n > 34 for n in find_masked(novelty, due, heard, LOUD_S[:15]))


def test_says_nothing_where_too_little_was_heard():
    novelty = ringing(np.ones(30, bool))
    heard = Heard(LOUD_S[:3], np.array([200, 360, 520]), np.full(3, 12.0), np.array([0, 1, 2, -1]))
    assert find_masked(novelty, LOUD_S[:4], heard, LOUD_S[:3]) == {}

"""Pairing: one to one, in order, and nobody takes a neighbour's stroke."""

import numpy as np

from submissions.engine.ear.strokes.matching import pair

CLEAR = 5.0


def paired(due, heard, evidence=None, spread_s=0.02):
    weight = np.full(len(heard), CLEAR) if evidence is None else np.array(evidence)
    return pair(np.array(due, float), np.array(heard, float), weight, spread_s).of_event.tolist()


class TestPair:
    def test_takes_each_stroke_once_and_in_order(self):
        assert paired([1.0, 1.1, 1.2], [1.01, 1.09, 1.22]) == [0, 1, 2]

    def test_leaves_the_missing_stroke_missing(self):
        assert paired([1.0, 1.15, 1.3, 1.45], [1.0, 1.3, 1.45]) == [0, -1, 1, 2]

    def test_does_not_shift_a_whole_roll_into_the_gap_of_a_missing_stroke(self):
        due = np.arange(1.0, 2.0, 0.1)
        heard = np.delete(due + 0.012, 4)
        assert paired(due, heard) == [0, 1, 2, 3, -1, 4, 5, 6, 7, 8]

    def test_leaves_an_extra_stroke_to_nobody(self):
        assert paired([1.0, 1.25], [1.0, 1.12, 1.25]) == [0, 2]

    def test_lets_a_beginner_be_late_by_a_tenth_where_nothing_else_is_near(self):
        assert paired([1.0, 2.0, 3.0], [1.0, 2.1, 3.0], spread_s=0.035) == [0, 1, 2]

    def test_prefers_the_clear_stroke_to_the_flicker_at_the_right_place(self):
        assert paired([1.0], [1.0, 1.02], [-3.0, CLEAR]) == [1]

    def test_bridges_a_long_silence(self):
        due = np.arange(1.0, 9.0, 0.25)
        heard = due[(due < 2.5) | (due > 7.0)]
        found = paired(due, heard)
        assert [n for n, j in enumerate(found) if j >= 0] == [n for n, at in enumerate(due) if at < 2.5 or at > 7.0]

    def test_of_nothing_is_nothing(self):
        assert paired([], []) == []
        assert paired([1.0], []) == [-1]
        assert paired([], [1.0]) == []

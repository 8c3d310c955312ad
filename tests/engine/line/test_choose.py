"""The order of a part's takes, its reasons, and the nudge that is suggested."""

from dataclasses import replace

import pytest

from submissions.engine.line.choose import Candidate, rank, reasons
from submissions.engine.line.nudge import suggest

GOOD = Candidate(1, "ready", 200, 0, 0, 14.0, -8.0, True, 1080)


class TestTheOrder:
    def test_puts_the_even_take_first(self):
        assert [r.key for r in rank([replace(GOOD, key=2, spread_ms=25.0), GOOD])] == [1, 2]

    def test_counts_a_missing_bar_more_than_a_little_spread(self):
        assert [r.key for r in rank([replace(GOOD, key=2, missed=8), replace(GOOD, spread_ms=20.0)])] == [1, 2]

    def test_puts_a_take_to_redo_last(self):
        assert [r.key for r in rank([replace(GOOD, key=2, verdict="redo"), replace(GOOD, spread_ms=34.0)])] == [1, 2]

    def test_does_not_let_bias_count_because_a_nudge_mends_it(self):
        first = rank([GOOD, replace(GOOD, key=2, bias_ms=30.0)])
        assert [r.key for r in first] == [1, 2]
        assert [r.key for r in rank([replace(GOOD, key=2, bias_ms=30.0), GOOD])] == [2, 1]

    def test_tells_why(self):
        assert "every stroke is there" in reasons(GOOD)
        assert any("a nudge mends it" in r for r in reasons(GOOD))
        assert "3 of 200 strokes missing" in reasons(replace(GOOD, missed=3))


class TestTheNudge:
    # Friberg & Sundberg 1995 (JASA 98, abstract): 6 ms is the least displacement that is noticed.
    @pytest.mark.parametrize(("bias", "nudge"), [(-12.0, 12.0), (12.0, -12.0), (5.9, None), (None, None), (75.0, None)])
    def test_undoes_the_bias_where_it_can_be_noticed(self, bias, nudge):
        assert suggest(bias) == nudge

"""Clear strokes: what could not have been missed, and what cannot be a flicker, tell the page from another one."""

import numpy as np

from submissions.engine.ear.strokes.clear import explained_share, found_share
from submissions.engine.ear.strokes.events import events_of
from submissions.engine.rehearsal.pages import PageSpec, invent_part

PART = invent_part(PageSpec(bars=8, bpm=190.0, ornaments=0.0), 930_001)
EVENTS = events_of(PART)


def pairing(missing=()):
    return np.array([-1 if n in missing else n for n in range(len(EVENTS))])


class TestFoundShare:
    def test_is_one_where_all_was_found(self):
        assert found_share(PART, EVENTS, pairing()) == 1.0

    def test_falls_with_strokes_that_were_not_played(self):
        assert found_share(PART, EVENTS, pairing(range(1, len(EVENTS) - 1, 3))) < 0.8

    def test_does_not_ask_for_strokes_close_behind_others(self):
        gaps = np.diff([e.at_s for e in EVENTS], prepend=-1.0)
        hidden = [n for n in range(1, len(EVENTS) - 1) if gaps[n] < 0.09]
        assert len(hidden) > 20
        assert found_share(PART, EVENTS, pairing(hidden)) == 1.0

    def test_does_not_ask_for_what_comes_after_a_player_has_stopped(self):
        half = len(EVENTS) // 2
        assert found_share(PART, EVENTS, pairing(range(half, len(EVENTS)))) == 1.0

    def test_of_nothing_is_nought(self):
        assert found_share(PART, EVENTS, pairing(range(len(EVENTS)))) == 0.0


class TestExplainedShare:
    written = np.arange(40) < 20

    def share(self, rise_db, level_db):
        other = ~self.written
        return explained_share(self.written, other, np.where(other, rise_db, 12.0), np.where(other, level_db, -20.0))

    def test_falls_with_loud_sharp_strokes_that_nobody_wrote(self):
        assert self.share(12.0, -20.0) < 0.6

    def test_does_not_fall_with_flickers_and_soft_ones(self):
        assert self.share(2.0, -20.0) == 1.0
        assert self.share(12.0, -30.0) == 1.0

    def test_of_a_few_tells_nothing(self):
        few = np.arange(40) < 2
        assert explained_share(few, np.roll(few, 2), np.full(40, 12.0), np.full(40, -20.0)) == 1.0

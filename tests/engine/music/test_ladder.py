"""The practice ladder: where it starts, how it climbs, and that it always ends at the performance tempo."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from submissions.engine.errors import EngineError
from submissions.engine.music.ladder import bpm_name, chosen, ladder, performance_bpm

from .plain import F, plain_part


class TestTheLadder:
    def test_climbs_from_eighty_to_the_performance_tempo(self):
        assert ladder(F(116)) == (80, 88, 96, 104, 112, 116)

    def test_starts_lower_for_slow_music(self):
        assert ladder(F(72)) == (56, 64, 72)
        assert ladder(F(84)) == (66, 74, 82, 84)

    def test_widens_its_steps_for_fast_music(self):
        assert ladder(F(176)) == (80, 94, 108, 122, 136, 150, 164, 176)

    def test_takes_the_organizers_start_and_step(self):
        assert ladder(F(116), start=100, step=4) == (100, 104, 108, 112, 116)

    def test_is_one_rung_when_it_would_start_above_the_performance_tempo(self):
        assert ladder(F(60), start=80) == (60,)

    def test_refuses_steps_that_never_arrive(self):
        with pytest.raises(EngineError, match="at least one beat"):
            ladder(F(116), step=0)

    @given(st.fractions(min_value=20, max_value=400))
    def test_always_ends_at_the_performance_tempo_and_rises(self, performance):
        rungs = ladder(performance)
        assert rungs[-1] == performance
        assert list(rungs) == sorted(set(rungs))
        assert 1 <= len(rungs) <= 8

    def test_counts_dotted_quarters_in_compound_meters(self):
        assert performance_bpm(plain_part(((6, 8),), tempo=180)) == 120


class TestTheOrganizersOwnLadder:
    def test_is_sorted_and_holds_the_performance_tempo(self):
        assert chosen(F(116), (100, 80, 100)) == (80, 100, 116)

    @pytest.mark.parametrize("bpm", [0, 5, 900])
    def test_refuses_what_cannot_be_counted(self, bpm):
        with pytest.raises(EngineError, match="cannot be played to"):
            chosen(F(116), (bpm,))


@pytest.mark.parametrize(("bpm", "name"), [(F(116), "116"), (Fraction(265, 2), "132.5"), (F(400, 3), "133.33")])
def test_a_tempo_is_named_as_players_write_it(bpm, name):
    assert bpm_name(bpm) == name

"""Pictures that move and show nothing of the playing are never told (`manage.py bench_eye --idle N` runs many of each kind)."""

import pytest

from submissions.engine.eye.idle import KINDS, idle_take, told_of


class TestAPictureThatShowsNothingOfThePlaying:
    @pytest.mark.parametrize("kind", KINDS)
    def test_is_not_told(self, kind):
        assert not told_of(kind, 7)

    @pytest.mark.parametrize("kind", KINDS)
    def test_moves(self, kind):
        """Or the trial would prove nothing."""
        window = idle_take(kind, 7)[0].windows[0]
        assert max(abs(frame.gray.astype(int) - window[0].gray).max() for frame in window) > 15


class TestAConductor:
    @pytest.mark.parametrize("seed", [101, 11])
    def test_who_beats_time_to_uneven_strokes_is_not_told(self, seed):
        assert not told_of("a conductor", seed)

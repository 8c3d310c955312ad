"""Invented players keep time as real ones do."""

from dataclasses import replace

import numpy as np
import pytest

from submissions.engine.rehearsal.playing import play
from submissions.engine.rehearsal.spec import BEGINNER, GOOD, INTERMEDIATE, PROFESSIONAL, Faults

from .plain import small_part

TAKES = 40


def statistics(skill):
    """Mean over takes of: mean deviation, spread, correlation of neighbours; in ms and plain."""
    rows = []
    for seed in range(TAKES):
        part = small_part(bars=24, seed=seed, share=0.4, ornaments=0.0)
        strikes = [s for s in play(part, skill, Faults(), np.random.default_rng(seed)) if s.index is not None]
        late = np.array([1e3 * (s.at_s - part.strokes[s.index].at_s) for s in strikes])
        rows.append((late.mean(), late.std(), np.corrcoef(late[:-1], late[1:])[0, 1]))
    return np.array(rows)


class TestAPlayer:
    def test_deviates_like_real_drummers_to_a_metronome(self):
        """Published figures of 130 performances of an open data set: spread 18 ms, bias -8.6 ms, lag-1 correlation 0.3.

        Tolerances are three standard errors of these forty takes.
        """
        rows = statistics(INTERMEDIATE)
        error = 3 * rows.std(axis=0) / np.sqrt(TAKES)
        assert rows[:, 0].mean() == pytest.approx(-8.6, abs=error[0])
        assert rows[:, 1].mean() == pytest.approx(18.0, abs=max(1.0, error[1]))
        assert rows[:, 2].mean() == pytest.approx(0.3, abs=max(0.05, error[2]))

    def test_is_the_steadier_the_better(self):
        spreads = [statistics(skill)[:, 1].mean() for skill in (BEGINNER, INTERMEDIATE, GOOD, PROFESSIONAL)]
        assert spreads == sorted(spreads, reverse=True)
        assert spreads[0] < 35.0, "a beginner's take can still be used"

    def test_keeps_the_order_of_strokes(self):
        for seed in range(20):
            part = small_part("snare", 16, seed)
            main = [
                s for s in play(part, BEGINNER, Faults(), np.random.default_rng(seed)) if s.kind in ("stroke", "diddle")
            ]
            indices = [s.index for s in main]
            assert indices == sorted(indices)

    def test_misses_and_adds_about_as_often_as_told(self):
        missed = extra = written = 0
        for seed in range(60):
            part = small_part(bars=24, seed=seed, ornaments=0.0)
            strikes = play(part, BEGINNER, Faults(), np.random.default_rng(seed))
            written += len(part.strokes)
            missed += len(part.strokes) - sum(s.index is not None for s in strikes)
            extra += sum(s.kind == "extra" for s in strikes)
        assert missed / written == pytest.approx(
            BEGINNER.missed_share, abs=3 * np.sqrt(BEGINNER.missed_share / written)
        )
        assert extra / written == pytest.approx(BEGINNER.extra_share, abs=3 * np.sqrt(BEGINNER.extra_share / written))

    def test_opens_flams_between_10_and_60_ms(self):
        gaps = []
        for seed in range(20):
            part = small_part("snare", 16, seed, ornaments=2.0)
            strikes = play(part, BEGINNER, Faults(), np.random.default_rng(seed))
            at = {s.index: s.at_s for s in strikes if s.index is not None}
            for n, stroke in enumerate(part.strokes):
                if stroke.kind == "grace" and n in at and n + 1 in at:
                    gaps.append(1e3 * (at[n + 1] - at[n]))
        assert len(gaps) > 100
        assert 9.99 <= min(gaps) < 15 and 55 < max(gaps) <= 60.01

    def test_fills_a_buzz_to_its_end(self):
        part = small_part("snare", 24, 5, ornaments=3.0)
        strikes = play(part, PROFESSIONAL, Faults(), np.random.default_rng(5))
        buzzes = [s for s in strikes if s.kind == "buzz"]
        assert buzzes
        for buzz in buzzes:
            end = buzz.at_s + part.strokes[buzz.index].length_s
            inside = [s.at_s for s in strikes if s.kind == "bounce" and buzz.at_s < s.at_s < end]
            assert end - max(inside) < 0.03
            assert np.diff([buzz.at_s, *inside]).max() < 0.03


class TestAFault:
    def times(self, faults, part=None, skill=PROFESSIONAL):
        part = part or small_part(bars=8, ornaments=0.0)
        return part, play(part, skill, faults, np.random.default_rng(6))

    def late(self, part, strikes):
        return np.array([s.at_s - part.strokes[s.index].at_s for s in strikes])

    def test_of_tempo_runs_ahead_evenly(self):
        part, strikes = self.times(Faults(tempo_ratio=1.05))
        assert strikes[-1].at_s == pytest.approx(part.strokes[-1].at_s / 1.05, abs=0.05)

    def test_of_drift_bends_and_does_not_jump(self):
        part, strikes = self.times(Faults(drift=0.04))
        late = self.late(part, strikes)
        assert late[-1] == pytest.approx(-0.02 * part.strokes[-1].at_s ** 2 / part.end_s, abs=0.05)
        assert np.abs(np.diff(late)).max() < 0.06

    def test_of_starting_late_moves_by_whole_bars(self):
        part, strikes = self.times(Faults(late_bars=2))
        assert np.median(self.late(part, strikes)) == pytest.approx(2 * part.bars[0].length_s, abs=0.03)

    def test_of_stopping_leaves_the_rest_out(self):
        part, strikes = self.times(Faults(stop_share=0.5))
        assert max(s.at_s for s in strikes) < 0.5 * part.end_s
        assert len(strikes) > 0.3 * len(part.strokes)

    def test_of_another_part_plays_nothing_of_this_one(self):
        other = small_part("tenors", 8, 9)
        _, strikes = self.times(Faults(other_part=other))
        assert strikes and all(s.index is None for s in strikes)

    def test_of_spoiled_bars_spoils_these_and_no_others(self):
        part, strikes = self.times(Faults(spoiled_bars=(2,)), skill=replace(PROFESSIONAL, extra_share=0.0))
        gone = set(range(len(part.strokes))) - {s.index for s in strikes}
        assert gone and {part.strokes[n].played_bar for n in gone} == {2}

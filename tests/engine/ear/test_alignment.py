"""Zero by the strokes, what changes it and what must not, and when it is not sure."""

from dataclasses import replace

import numpy as np
import pytest
import soxr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from submissions.engine.ear.struck.onsets import Onsets
from submissions.engine.ear.votes.ballot import vote
from submissions.engine.ear.votes.means import robust_mean
from submissions.engine.ear.votes.page import page_of, pair_up
from submissions.engine.music.click import click_layout
from submissions.engine.rehearsal.playing import bent
from submissions.engine.rehearsal.spec import BEGINNER, PROFESSIONAL, Faults
from submissions.engine.rehearsal.take import make_take

from .heard import LEAKED, MARKED, QUIET_ROOM, hear, heard, off_played_ms, part_of, take_of

WAYS = {
    "marks": replace(QUIET_ROOM, marks=MARKED),
    "click": replace(QUIET_ROOM, leak=LEAKED),
    "count-off": replace(QUIET_ROOM, count_off="sticks"),
    "written": QUIET_ROOM,
}
# What a change of the file may move: marks and click to a part of a sample, strokes by what their onsets move.
STILL_S = {"marks": 5e-6, "click": 30e-6, "count-off": 5e-4, "written": 5e-4}
few = settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.too_slow])
ways = pytest.mark.parametrize("way", list(WAYS))


def known(way):
    take = take_of(WAYS[way])
    return take, heard(take).zero


class TestZero:
    @ways
    def test_comes_from_the_best_way_that_there_is(self, way):
        zero = known(way)[1]
        assert zero.source == way
        assert zero.sure
        assert 0 < zero.sd_s < 0.01

    @ways
    @few
    @given(
        samples=st.integers(1, 300_000),
        after_s=st.floats(0.1, 20.0),
        gain_db=st.floats(-40.0, 6.0),
        turned=st.booleans(),
    )
    def test_moves_with_the_file_and_minds_no_silence_gain_or_polarity(self, way, samples, after_s, gain_db, turned):
        take, zero = known(way)
        rate = take.sound.rate
        mono = np.concatenate(
            [np.zeros(samples, np.float32), take.sound.mono, np.zeros(round(after_s * rate), np.float32)]
        )
        moved = hear(mono * np.float32(10 ** (gain_db / 20) * (-1 if turned else 1)), rate, take.part).zero
        assert moved.zero_s - samples / rate == pytest.approx(zero.zero_s, abs=STILL_S[way])

    @ways
    @pytest.mark.parametrize("rate", [44_100, 32_000, 96_000])
    def test_does_not_mind_another_rate(self, way, rate):
        take, zero = known(way)
        mono = soxr.resample(take.sound.mono, take.sound.rate, rate, "VHQ")
        allowed = max(STILL_S[way], 2e-5)
        assert hear(mono, rate, take.part).zero.zero_s == pytest.approx(zero.zero_s, abs=allowed)


class TestAPlayerWhoDrifts:
    """Even tempo change: by the last bar (48 s) 0.4 s behind; sixteenths of this page are 0.125 s apart."""

    DRIFT = replace(QUIET_ROOM, leak=LEAKED, faults=Faults(drift=0.8 / 48))

    def test_is_followed_by_the_click(self):
        take = take_of(self.DRIFT, bars=24)
        zero = heard(take).zero
        assert zero.source == "click"
        assert zero.tempo_ratio == 1.0
        at = np.array([knot for knot, _ in zero.path])
        due = np.array([bent(knot, take.part, self.DRIFT.faults) - knot for knot in at])
        late = np.array([late for _, late in zero.path]) - np.median([late for _, late in zero.path]) + np.median(due)
        assert np.abs(late - due).max() < 0.05

    def test_is_not_told_for_sure_by_the_strokes_alone(self):
        take = take_of(replace(self.DRIFT, leak=None), bars=24)
        zero = heard(take).zero
        assert zero.source == "written"
        assert zero.path
        assert not zero.sure
        assert abs(off_played_ms(take, zero.zero_s)) < 2e3 * zero.sd_s


class TestZeroByTheStrokes:
    @pytest.mark.parametrize("instrument", ["snare", "tenors", "bass", "cymbals"])
    @pytest.mark.parametrize("skill", [BEGINNER, PROFESSIONAL])
    def test_makes_the_mean_deviation_nought(self, instrument, skill):
        take = take_of(replace(QUIET_ROOM, skill=skill), instrument, 16)
        zero = heard(take).zero
        assert zero.source == "written"
        assert abs(off_played_ms(take, zero.zero_s)) < (10.0 if skill is BEGINNER else 3.5)
        assert zero.clock_ratio == 1.0
        assert not zero.clock_known

    def test_is_that_of_the_last_complete_go(self):
        take = take_of(replace(QUIET_ROOM, false_start_bars=3, talk=1, thumps=1))
        assert abs(off_played_ms(take, heard(take).zero.zero_s)) < 10

    @pytest.mark.parametrize("count_off", ["sticks", "voice"])
    def test_counts_from_the_count_off_when_the_playing_is_late(self, count_off):
        take = take_of(replace(QUIET_ROOM, count_off=count_off, faults=Faults(late_bars=2)))
        zero = heard(take).zero
        assert zero.source == "count-off"
        assert zero.late_bars == 2
        assert abs(off_played_ms(take, zero.zero_s)) < 10

    @pytest.mark.parametrize("bpm", [96.0, 112.37])
    def test_follows_another_tempo_of_the_ladder_or_of_the_players_own(self, bpm):
        take = take_of(replace(QUIET_ROOM, bpm=bpm))
        zero = heard(take).zero
        assert zero.tempo_ratio == pytest.approx(bpm / 120, abs=2e-3)
        assert abs(off_played_ms(take, zero.zero_s)) < 10

    @pytest.mark.parametrize("seed", range(4))
    def test_is_found_though_a_phone_hears_three_strokes_in_ten(self, seed):
        """A dense page by a beginner in a loud room: misses are the phone's, and speak for no other tempo."""
        part = part_of(bars=24, seed=31)
        rng = np.random.default_rng(seed)
        struck = np.array([s.at_s for s in part.strokes if s.kind != "grace"])
        times = np.sort(4.0 + struck[rng.random(len(struck)) < 0.3])
        times += rng.normal(0, 0.035, len(times))
        alike, frames = np.ones(len(times)), np.zeros(len(times), np.int64)
        onsets = Onsets(np.sort(times), alike, rng.normal(-20, 4, len(times)), np.ones((len(times), 8)), alike, alike, frames)
        found = vote(onsets, page_of(part, click_layout(part, 2)))
        assert found[0].stretch == 1.0 and abs(found[0].zero_s - 4.0) < 0.02

    def test_is_not_sure_in_the_middle_of_a_loop(self):
        """Eight equal bars, the first two and the last two not recorded: any shift by bars fits as well."""
        part = part_of(bars=8)
        first = [s for s in part.strokes if s.played_bar == 0]
        bar = part.bars[0]
        looped = tuple(
            replace(s, at_q=s.at_q + n * bar.length_q, at_s=s.at_s + n * bar.length_s, bar=n + 1, played_bar=n)
            for n in range(8)
            for s in first
        )
        loop = replace(part, strokes=looped)
        take = make_take(loop, replace(QUIET_ROOM, faults=Faults(stop_share=0.75)), 5)
        rate = take.sound.rate
        cut = round((take.truth.zero_s + 2 * bar.length_s - 0.1) * rate)
        zero = hear(take.sound.mono[cut:], rate, loop).zero
        assert not zero.sure
        assert zero.runner_up_s is not None
        assert zero.runner_up_share > 0.8


class TestPairing:
    def test_takes_each_others_nearest_only(self):
        mine, its = pair_up(np.array([0.99, 1.02, 2.5]), np.array([1.0, 2.0, 2.49]))
        assert mine.tolist() == [0, 2]
        assert its.tolist() == [0, 2]

    def test_has_a_mean_that_a_wild_stroke_does_not_pull(self):
        late = np.array([0.001, -0.001, 0.002, -0.002, 0.0, 0.07])
        assert abs(robust_mean(late)[0]) < 0.002

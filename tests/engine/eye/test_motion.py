"""Sound against picture on clips with known distance. `TAPOFF_CLIPS` sets how many strike clips (the whole trial: 40 a kind)."""

import os

import numpy as np
import pytest

from submissions.engine.eye import motion
from submissions.engine.eye.flashes import Agreement
from submissions.engine.eye.motion import measure_motion
from submissions.engine.facts import ContainerFacts, MotionFacts
from submissions.engine.media import Frame, RawTake, wire

from .clips import KINDS, flash_clip, strike_clip

CLIPS = int(os.environ.get("TAPOFF_CLIPS", "4"))


def error(clip):
    said = measure_motion(clip.raw, clip.heard_s).sound_late_ms
    return None if said is None else said - clip.late_ms


class TestFlashAndBeep:
    """Within 1 ms plus half a frame, whatever the offset (check values: offsets 0, 45, -125, 120 ms at 30000/1001)."""

    @pytest.mark.parametrize("late_ms", [0, 45, -125, 120])
    @pytest.mark.parametrize("full", [False, True])
    def test_on_frame_boundaries(self, late_ms, full):
        assert abs(error(flash_clip(1, late_ms, full=full))) <= 1 + 500 * 1001 / 30000

    @pytest.mark.parametrize("seed", range(6))
    @pytest.mark.parametrize("fps", [24, 25, 30, 60])
    def test_at_any_moment(self, seed, fps):
        late_ms = float(np.random.default_rng(seed).uniform(-150, 200))
        off = error(flash_clip(seed, late_ms, fps=fps, on_frames=False))
        assert off is not None and abs(off) <= 1 + 500 / fps

    @pytest.mark.parametrize("seed", range(4))
    def test_at_a_variable_rate(self, seed):
        off = error(flash_clip(seed, 70.0, fps=30, on_frames=False, uneven=True))
        assert off is not None and abs(off) <= 1 + 500 / 30


class TestStrikes:
    @pytest.mark.parametrize("kind", KINDS)
    def test_are_within_20_ms_or_not_told_and_never_beyond_45(self, kind):
        errors = []
        for seed in range(CLIPS):
            rng = np.random.default_rng([seed, 3])
            clip = strike_clip(
                seed + 500,
                kind,
                float(rng.uniform(-180, 220)),
                fps=float(rng.choice([24, 25, 30, 30, 60])),
                uneven=rng.random() < 0.3,
                light=rng.random() < 0.3,
                passer=rng.random() < 0.3,
                noise=float(rng.uniform(1, 5)),
            )
            errors.append(error(clip))
        told = np.abs([off for off in errors if off is not None])
        assert len(told) >= 0.5 * CLIPS
        assert told.max() < 45
        assert (told <= 20).mean() >= 0.95

    def test_too_even_to_tell_are_not_told(self):
        clip = strike_clip(1, "drop", 0.0)
        even = tuple(np.arange(1.0, 8.0, 0.125))
        assert measure_motion(clip.raw, even).sound_late_ms is None

    def test_of_somebody_else_are_not_told(self):
        """Strokes that have nothing to do with the picture."""
        for seed in range(4):
            clip, other = strike_clip(seed, "drop", 0.0), strike_clip(seed + 50, "whip", 0.0)
            assert measure_motion(clip.raw, other.heard_s).sound_late_ms is None

    def test_in_noise_are_not_told(self):
        rng = np.random.default_rng(2)
        frames = tuple(Frame(n / 30, rng.normal(14, 3, (90, 160)).clip(0, 255).astype(np.uint8)) for n in range(240))
        heard = strike_clip(3, "drop", 0.0).heard_s
        assert measure_motion(RawTake(ContainerFacts(), None, (), (frames,)), heard).sound_late_ms is None

    def test_without_frames_or_strokes_are_not_told(self):
        clip = strike_clip(3, "drop", 0.0)
        assert measure_motion(clip.raw, ()).sound_late_ms is None
        assert measure_motion(RawTake(ContainerFacts(), None), clip.heard_s).sound_late_ms is None


def held_up(clip, start_s, end_s, jump_s=0.0):
    """The clip without its pictures from start to end; after that the sound comes jump_s later than before."""
    (window,) = clip.raw.windows
    kept = tuple(frame for frame in window if not start_s < frame.at_s < end_s)
    packets = np.zeros(len(kept), wire.PACKET)
    packets["at_s"], packets["bytes"] = [frame.at_s for frame in kept], 4000
    heard = tuple(at + jump_s * (at > end_s) for at in clip.heard_s)
    return RawTake(ContainerFacts(width=384, height=216), None, (), (kept,), packets), heard


class TestAPictureThatWasHeldUp:
    def test_is_told_from_one_side_of_it_alone(self):
        """Here it lasts longer before the stop than after, and does not come back as near to its sound."""
        for seed in range(3):
            clip = strike_clip(seed, "whip", 40.0, seconds=12.0)
            raw, heard = held_up(clip, 7.0, 8.5, jump_s=0.13)
            told = measure_motion(raw, heard).sound_late_ms
            assert told is not None and abs(told - 40.0) <= 20

    def test_is_not_told_from_two_sides_too_short_for_it(self):
        for seed in range(3):
            raw, heard = held_up(strike_clip(seed, "whip", 40.0), 2.6, 6.8)
            facts = measure_motion(raw, heard)
            assert facts.sound_late_ms is None and facts.beyond_ms is None


class TestNearTheEndOfWhatIsLookedAt:
    @pytest.mark.parametrize("late_ms", [-480.0, -300.0, 300.0, 520.0])
    @pytest.mark.parametrize("kind", ["rest", "drop"])
    def test_no_figure_is_given(self, kind, late_ms):
        """Where the hand turns fits nearly as well as the blow; the one may be in reach, the other not."""
        told = measure_motion(*_moved(strike_clip(6, kind, 0.0), late_ms))
        assert told.sound_late_ms is None
        assert told.beyond_ms is None or 0 < told.beyond_ms / late_ms <= 1.1

    @pytest.mark.parametrize("late_ms", [-300.0, 300.0])
    def test_it_is_said_how_far_at_least(self, late_ms):
        told = measure_motion(*_moved(strike_clip(6, "drop", 0.0), late_ms))
        assert told.beyond_ms == pytest.approx(late_ms, abs=45)


def _moved(clip, late_ms):
    return clip.raw, tuple(at + late_ms / 1000 for at in clip.heard_s)


class TestWhatIsNotBelieved:
    @pytest.mark.parametrize(("late_ms", "shaking", "told"), [(200.0, True, False), (30.0, True, True), (200.0, False, True)])
    def test_a_far_answer_from_a_picture_that_shakes_as_a_whole(self, monkeypatch, late_ms, shaking, told):
        monkeypatch.setattr(motion, "_told", lambda raw, heard_s: MotionFacts(late_ms, 12.0))
        monkeypatch.setattr(motion, "is_shaking", lambda windows: shaking)
        clip = strike_clip(3, "drop", 0.0)
        assert (measure_motion(clip.raw, clip.heard_s).sound_late_ms is not None) == told

    @pytest.mark.parametrize(("sd_s", "late_ms"), [(0.0225, 30.0), (0.008, 79.0)])
    def test_a_light_that_is_seen_to_a_slow_picture_only_beside_a_fit(self, monkeypatch, sd_s, late_ms):
        monkeypatch.setattr(motion, "_by_strikes", lambda *rest: MotionFacts(30.0, 29.0))
        monkeypatch.setattr(motion, "agreement", lambda *rest: Agreement(0.079, sd_s, 4))
        clip = strike_clip(3, "drop", 0.0)
        assert measure_motion(clip.raw, clip.heard_s).sound_late_ms == pytest.approx(late_ms)

"""The moving picture moves with the strokes, and its effects are what they are called."""

from dataclasses import replace

import numpy as np
import pytest

from submissions.engine.rehearsal.picture import EFFECTS, PictureSpec, frame_times, frames, hands_for, height_at

SMALL = PictureSpec(width=214, height=120)
STRIKES = [0.5, 1.0, 1.4, 1.8, 2.2, 2.6]


def film(spec: PictureSpec, length_s: float = 3.0):
    return np.stack(list(frames(spec, STRIKES, frame_times(spec, length_s)))).astype(int)


def motion(pictures):
    """Share of the picture that changes from frame to frame by more than a camera's noise."""
    return (np.abs(np.diff(pictures, axis=0)) > 25).mean(axis=(1, 2, 3))


class TestAHand:
    def test_touches_the_drum_at_its_stroke_and_nowhere_near_otherwise(self):
        strikes = np.array(STRIKES)
        for at in STRIKES:
            assert height_at(at, strikes) == pytest.approx(0.0, abs=1e-9)
            assert height_at(at - 0.08, strikes) > 0.3

    def test_falls_fastest_into_the_stroke(self):
        strikes = np.array([1.0, 2.0])
        grid = np.arange(1.5, 2.0, 0.001)
        heights = np.array([height_at(t, strikes) for t in grid])
        assert grid[np.argmin(np.diff(heights))] > 1.9

    def test_shares_strokes_with_the_other_unless_both_hold_plates(self):
        hands = hands_for(STRIKES, "snare")
        assert list(hands.right_s) == STRIKES[0::2] and list(hands.left_s) == STRIKES[1::2]
        assert list(hands_for(STRIKES, "cymbals").left_s) == STRIKES


class TestThePicture:
    @pytest.mark.parametrize("instrument", ["snare", "tenors", "bass", "cymbals"])
    def test_moves_more_into_a_stroke_than_after_it(self, instrument):
        spec = replace(SMALL, instrument=instrument)
        moved = motion(film(spec))
        times = np.array(frame_times(spec, 3.0))[1:]
        since = np.min(np.where(times[:, None] < np.array(STRIKES), 9.0, times[:, None] - np.array(STRIKES)), axis=1)
        until = np.min(np.where(times[:, None] > np.array(STRIKES), 9.0, np.array(STRIKES) - times[:, None]), axis=1)
        after = (since > 0.04) & (since < 0.12)
        assert moved[until < 0.05].mean() > 1.2 * moved[after].mean()

    def test_keeps_its_colours_by_seed(self):
        one, again, other = (film(replace(SMALL, seed=seed), 0.1) for seed in (1, 1, 2))
        assert np.array_equal(one, again)
        assert not np.array_equal(one, other)

    def test_stands_still_when_told(self):
        assert not np.diff(film(replace(SMALL, effects=("still",))), axis=0).any()

    def test_is_never_twice_the_same_otherwise(self):
        assert np.diff(film(SMALL), axis=0).any(axis=(1, 2, 3)).mean() > 0.7

    def test_freezes_for_as_long_as_told(self):
        moved = np.diff(film(replace(SMALL, frozen_s=(1.0, 2.0))), axis=0).any(axis=(1, 2, 3))
        assert not moved[31:59].any()
        assert moved[:29].any() and moved[61:].any()

    @pytest.mark.parametrize(
        ("effect", "holds"),
        [
            ("black", lambda p: p.max() == 0),
            ("dark", lambda p: p.mean() < 30),
            ("covered", lambda p: p.std(axis=(1, 2)).max() < 1),
            (
                "letterboxed",
                lambda p: p[:, : 120 // 7].max() == 0 and p[:, -(120 // 7) :].max() == 0 and p[:, 60].max() > 50,
            ),
            ("light", lambda p: np.ptp(p.mean(axis=(1, 2, 3))) > 10),
        ],
    )
    def test_is_what_its_effect_is_called(self, effect, holds):
        assert holds(film(replace(SMALL, effects=(effect,))))
        assert not holds(film(SMALL))

    @pytest.mark.parametrize("effect", EFFECTS)
    def test_keeps_its_size_under_every_effect(self, effect):
        assert film(replace(SMALL, effects=(effect,)), 0.1).shape == (3, 120, 214, 3)

    def test_holds_the_player_smaller_when_far(self):
        near, far = film(SMALL, 2.0), film(replace(SMALL, effects=("far",)), 2.0)
        assert 0.1 < motion(far).mean() / motion(near).mean() < 0.5

    def test_holds_somebody_who_walks_by(self):
        passing = film(replace(SMALL, effects=("passer-by",)))
        assert motion(passing[:, :, :50]).mean() > 10 * motion(film(SMALL)[:, :, :50]).mean()

    def test_sways_a_little_in_a_hand(self):
        held = film(replace(SMALL, width=428, height=240, effects=("handheld",)), 2.0)
        rim = held[:, 198:212, :40]
        moved = np.abs(rim - rim[0]).max()
        assert moved > 20
        shaken = film(replace(SMALL, width=428, height=240, effects=("shaking",)), 2.0)[:, 198:212, :40]
        assert motion(rim).mean() < 0.5 * motion(shaken).mean()

    def test_loses_its_edges_when_blurred(self):
        def edges(pictures):
            return np.abs(np.diff(pictures, axis=2)).max()

        assert edges(film(replace(SMALL, effects=("blurred",)), 0.1)) < 0.6 * edges(film(SMALL, 0.1))

    def test_shakes_as_a_whole(self):
        def rim(pictures):
            return motion(pictures[:, 100:106, :40]).mean()  # where wall meets floor, away from the player

        assert rim(film(replace(SMALL, effects=("shaking",)))) > 0.02
        assert rim(film(SMALL)) < 0.001


class TestFrameTimes:
    def test_are_even(self):
        assert np.diff(frame_times(SMALL, 2.0)) == pytest.approx(1 / 30)

    def test_are_uneven_when_told_and_always_rise(self):
        gaps = np.diff(frame_times(replace(SMALL, uneven=True), 20.0))
        assert gaps.min() > 0.02 and gaps.max() > 0.06
        assert 24 < 1 / gaps.mean() < 30

"""Facts of the picture on frames and packets made for one question each."""

import numpy as np
import pytest

from submissions.engine.eye.picture import frozen_spans, measure_picture, shows_nothing
from submissions.engine.facts import ContainerFacts
from submissions.engine.media import Frame, RawTake, wire

FPS = 60


def wall(tone=130.0):
    """A plain wall as a phone sees it: one tone and some grain."""
    return tone + np.random.default_rng(1).normal(0, 2, (180, 320))


def gray(picture):
    return picture.clip(0, 255).astype(np.uint8)


class TestACoveredLens:
    @pytest.mark.parametrize("tone", [12.0, 60.0])
    def test_shows_nothing(self, tone):
        assert shows_nothing(gray(wall(tone)))

    def test_shows_nothing_when_a_finger_glows(self):
        """Light through a finger runs over the whole picture without an edge anywhere."""
        across = np.linspace(0.3, 1.7, 320)
        assert shows_nothing(gray(wall(60.0) * across))

    def test_is_not_a_player_far_off_at_a_plain_wall(self):
        picture = wall()
        picture[110:170, 150:175] = 70  # a person as high as a third of the picture
        picture[130:150, 140:185] = 200
        assert not shows_nothing(gray(picture))


def filmed(stands_from_s, stands_until_s, seconds=6.0):
    """A hand that goes up and down, slowly enough for small packets, and stands still for a while."""
    times = np.arange(round(seconds * FPS)) / FPS
    moving = np.where((times < stands_from_s) | (times >= stands_until_s), times, stands_from_s)
    frames = []
    for at, place in zip(times, moving, strict=True):
        picture = wall()[:90, :160]
        height = round(40 + 25 * np.sin(2 * np.pi * place))
        picture[height : height + 12, 70:90] = 30
        frames.append(Frame(float(at), gray(picture)))
    packets = np.zeros(len(times), wire.PACKET)
    packets["at_s"], packets["bytes"] = times, 30
    packets["key"] = np.arange(len(times)) % FPS == 0
    facts = ContainerFacts(width=384, height=216, frames=len(times), picture_duration_s=seconds)
    return RawTake(facts, None, tuple(frames[::FPS]), (tuple(frames),), packets)


class TestAFrozenPicture:
    def test_is_found_where_it_stands_although_packets_are_small_before_and_after(self):
        (span,) = frozen_spans(filmed(1.5, 4.5))
        assert span.start_s == pytest.approx(1.5, abs=0.25)
        assert span.end_s >= 3.9

    def test_is_not_a_slow_movement_of_small_packets(self):
        assert frozen_spans(filmed(9.0, 9.0)) == ()

    def test_is_not_a_moment_shorter_than_a_second(self):
        assert frozen_spans(filmed(1.2, 1.9)) == ()


class TestAStillPicture:
    def test_is_one_although_the_encoder_goes_on_sharpening_it(self):
        raw = filmed(0.0, 9.0)
        raw.packets["bytes"][::4] = 400
        assert measure_picture(raw).still

    def test_is_none_when_a_hand_moves_in_small_packets(self):
        assert not measure_picture(filmed(9.0, 9.0)).still

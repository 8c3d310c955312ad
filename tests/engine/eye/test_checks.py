"""Picture, file and sync checks at the edges of their limits."""

import pytest

from submissions.engine.checks import (
    black_picture,
    blurred_picture,
    dark_picture,
    frozen_picture,
    low_frame_rate,
    no_audio,
    no_picture,
    portrait,
    shaking_picture,
    small_picture,
    sound_picture_apart,
    still_picture,
    unreadable,
    variable_frame_rate,
)
from submissions.engine.facts import ContainerFacts, MotionFacts, PictureFacts, Span, StrokeFacts, TakeFacts
from submissions.engine.report import Report

GOOD = {"has_sound": True, "has_picture": True, "width": 1920, "height": 1080, "fps": 30.0}


def level(check, container=None, picture=None, **facts):
    """The level of the one finding, or None."""
    take = TakeFacts(
        container=ContainerFacts(**(GOOD | (container or {}))), picture=PictureFacts(**(picture or {})), **facts
    )
    found = list(check.check(take, None))
    assert len(found) <= 1
    assert all(f.code == check.CODE and f.says.endswith((".", "!")) and f.do.endswith(".") for f in found)
    return str(found[0].level) if found else None


class TestSoundAndPictureApart:
    """ITU-R BT.1359-1 and EBU R37, with the sign turned: here positive = the sound is late."""

    @pytest.mark.parametrize(
        ("late_ms", "says"),
        [
            (0, None),
            (-39, None),
            (59, None),
            (-41, "look"),
            (61, "look"),
            (-89, "look"),
            (184, "look"),
            (-91, "redo"),
            (186, "redo"),
            (None, None),
        ],
    )
    def test_keeps_the_bands(self, late_ms, says):
        assert level(sound_picture_apart, motion=MotionFacts(late_ms, 0.0)) == says

    def test_says_nothing_that_its_doubt_could_explain(self):
        assert level(sound_picture_apart, motion=MotionFacts(65.0, 10.0)) is None

    @pytest.mark.parametrize(("late_ms", "word"), [(120.0, "after"), (-120.0, "before")])
    def test_says_which_way(self, late_ms, word):
        (finding,) = sound_picture_apart.check(TakeFacts(motion=MotionFacts(late_ms, 1.0)), None)
        assert f"120 ms {word} the picture" in finding.says

    @pytest.mark.parametrize(("beyond_ms", "word"), [(190.0, "after"), (-120.0, "before")])
    def test_gives_no_figure_where_only_the_side_is_sure(self, beyond_ms, word):
        """Nor is anybody sent back for what may be small enough to be moved."""
        (finding,) = sound_picture_apart.check(TakeFacts(motion=MotionFacts(beyond_ms=beyond_ms)), None)
        assert finding.level == "look" and word in finding.says and not any(map(str.isdigit, finding.says))

    @pytest.mark.parametrize("motion", [MotionFacts(12.345, 6.789), MotionFacts(beyond_ms=-120.004), MotionFacts()])
    def test_is_told_to_programs_as_to_people(self, motion):
        """A figure, or how far at least, or nothing: never a distance under the name of a bound."""
        told = Report(TakeFacts(motion=motion), (), {}, 0.0, 0.0).to_json_object()
        said = (told["sound_late_ms"], told["sound_late_sd_ms"], told["sound_late_beyond_ms"])
        measured = (motion.sound_late_ms, motion.sd_ms, motion.beyond_ms)
        assert said == tuple(None if value is None else pytest.approx(value, abs=0.005) for value in measured)


class TestTheFile:
    def test_without_sound_or_picture_is_to_be_sent_again(self):
        assert level(no_audio, {"has_sound": False}) == "redo"
        assert level(no_picture, {"has_picture": False}) == "redo"
        assert level(no_audio) is None and level(no_picture) is None

    def test_that_cannot_be_read_gives_the_reason(self):
        assert level(unreadable, unreadable="This file is empty.") == "redo"
        assert level(no_audio, {"has_sound": False}, unreadable="This file is empty.") is None

    def test_cut_off_is_unreadable(self):
        assert level(unreadable, {"cut_off": True}) == "redo"


class TestThePicture:
    @pytest.mark.parametrize(
        ("size", "says"),
        [((1920, 1080), None), ((854, 480), None), ((640, 360), None), ((320, 240), "look"), ((128, 96), "redo")],
    )
    def test_has_a_least_size(self, size, says):
        assert level(small_picture, {"width": size[0], "height": size[1]}) == says

    @pytest.mark.parametrize(
        ("fps", "says"), [(23.976, None), (60.0, None), (21.3, None), (20.0, "look"), (8.0, "redo")]
    )
    def test_has_a_least_rate(self, fps, says):
        assert level(low_frame_rate, {"fps": fps}) == says

    def test_has_no_rate_to_speak_of_in_a_broken_file(self):
        assert level(low_frame_rate, {"fps": 18.75, "cut_off": True}) is None

    def test_may_vary_its_rate_but_not_stop(self):
        assert (
            level(variable_frame_rate, {"variable_fps": True, "largest_gap_s": 0.07, "largest_gap_at_s": 3.0}) == "note"
        )
        assert (
            level(variable_frame_rate, {"variable_fps": True, "largest_gap_s": 0.5, "largest_gap_at_s": 3.0}) == "look"
        )
        assert level(variable_frame_rate, {"variable_fps": False}) is None

    def test_is_wide_and_without_bars(self):
        assert level(portrait) is None
        assert level(portrait, {"width": 1080, "height": 1920}) == "look"
        assert level(portrait, picture={"letterboxed": True}) == "look"

    def test_is_not_black_dark_or_covered(self):
        assert level(black_picture, picture={"black_share": 1.0}) == "redo"
        assert level(black_picture, picture={"black_share": 0.2}) == "look"
        assert level(black_picture, picture={"black_share": 0.03}) is None
        assert level(dark_picture, picture={"dark": True}) == "look"
        assert level(dark_picture, picture={"covered": True}) == "redo"

    def test_is_sharp_and_steady(self):
        assert level(blurred_picture, picture={"sharpness": 0.3}) == "look"
        assert level(blurred_picture, picture={"sharpness": 0.7}) is None
        assert level(shaking_picture, picture={"shaking": True}) == "look"

    def test_moves(self):
        assert level(still_picture, picture={"still": True}) == "redo"
        assert level(low_frame_rate, {"fps": 1.0}, picture={"still": True}) is None

    def test_may_stand_still_only_where_nobody_plays(self):
        heard = StrokeFacts(heard_s=tuple(10 + 0.25 * n for n in range(40)))
        assert level(frozen_picture, picture={"frozen": (Span(0.0, 9.0),)}, strokes=heard) is None
        assert level(frozen_picture, picture={"frozen": (Span(12.0, 13.5),)}, strokes=heard) == "look"
        assert level(frozen_picture, picture={"frozen": (Span(12.0, 17.0),)}, strokes=heard) == "redo"

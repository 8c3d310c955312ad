"""Previews start where they say, run at a constant rate, and can be stopped and taken up again."""

import numpy as np
import pytest

from submissions.engine.errors import MediaError
from submissions.engine.media import read_container, read_frames, read_sound
from submissions.engine.previews import LEAD_S, Stretch, make_previews, stretch_of

from .films import CLICKS_S, Film


def first_click(sound):
    mono = np.abs(sound.mono)
    return int(np.argmax(mono > 0.5 * mono.max())) / sound.rate


class TestTheStretch:
    def test_begins_before_zero_and_ends_after_the_last_bar(self):
        assert stretch_of(10.0, 30.0, 60.0) == Stretch(10.0 - LEAD_S, 41.5)

    def test_is_the_whole_take_when_zero_is_unknown(self):
        assert stretch_of(None, 30.0, 60.0) == Stretch(0.0, 60.0)


class TestPreviews:
    @pytest.mark.parametrize(
        "film",
        [
            Film("plain.mp4"),
            Film("late.mp4", options={"sound_starts_s": 0.5}),
            Film("early.mkv", options={"picture_starts_s": 0.3}),
            Film("uneven.mov", uneven=True),
            Film("cd.mp4", rate=44_100, channels=2),
        ],
        ids=lambda film: film.name,
    )
    @pytest.mark.parametrize("start_s", [-0.4, 0.2])
    def test_put_each_click_where_it_was(self, film, start_s, tmp_path):
        path = film.write(tmp_path)
        where = first_click(read_sound(path))
        made = make_previews(path, tmp_path / "out", Stretch(start_s, 1.4), zero_s=where)
        assert made.zero_in_preview_s == pytest.approx(where - start_s)
        for kind in ("sound", "film"):
            assert first_click(read_sound(made.files[kind])) == pytest.approx(where - start_s, abs=0.001)
        facts = read_container(made.files["film"])
        assert (facts.fps, facts.variable_fps) == (pytest.approx(30), False)
        assert facts.picture_start_s == pytest.approx(facts.sound_start_s, abs=1e-3)
        keys = [frame.at_s for frame in read_frames(made.files["film"])]
        assert np.diff(keys).max() <= 0.51
        assert made.files["poster"].read_bytes()[:3] == b"\xff\xd8\xff"

    def test_draw_the_waveform(self, tmp_path):
        path = Film("plain.mp4").write(tmp_path)
        made = make_previews(path, tmp_path / "out", Stretch(0.0, 1.5), kinds=("peaks",))
        peaks = np.frombuffer(made.files["peaks"].read_bytes(), np.int8).reshape(-1, 2)
        assert len(peaks) == 150
        loud = np.flatnonzero(np.abs(peaks).max(axis=1) > 40)
        assert all(np.abs(loud - 100 * at).min() <= 3 for at in CLICKS_S)

    def test_are_shown_upright(self, tmp_path):
        path = Film("turned.mov", options={"rotation": 90}).write(tmp_path)
        made = make_previews(path, tmp_path / "out", Stretch(0.0, 0.5))
        facts = read_container(made.files["film"])
        assert (facts.width, facts.height, facts.rotation) == (90, 160, 0)

    def test_tell_how_far_they_are(self, tmp_path):
        told = []
        make_previews(Film("plain.mp4").write(tmp_path), tmp_path / "out", Stretch(0.0, 1.5), progress=told.append)
        assert told == sorted(told) and told[-1] == 1.0

    def test_go_on_where_they_were_stopped(self, tmp_path):
        path, out = Film("plain.mp4").write(tmp_path), tmp_path / "out"
        made = make_previews(path, out, Stretch(0.0, 1.0), kinds=("peaks", "sound"))
        before = made.files["sound"].stat().st_mtime_ns
        with pytest.raises(MediaError, match="stopped"):
            make_previews(path, out, Stretch(0.0, 1.0), cancelled=lambda: True)
        assert sorted(p.name for p in out.iterdir()) == ["peaks.bin", "sound.m4a"]
        again = make_previews(path, out, Stretch(0.0, 1.0))
        assert again.files["sound"].stat().st_mtime_ns == before
        assert again.files["film"].exists()

    def test_of_a_file_that_is_no_video_leave_nothing_behind(self, tmp_path):
        (tmp_path / "x.mp4").write_bytes(b"#EXTM3U\n" * 500)
        with pytest.raises(MediaError, match="not a video"):
            make_previews(tmp_path / "x.mp4", tmp_path / "out", Stretch(0.0, 1.0))
        assert list((tmp_path / "out").iterdir()) == []

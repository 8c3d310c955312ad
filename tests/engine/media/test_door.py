"""The door: names, sizes and first bytes are refused in sentences."""

import os

import pytest

from submissions.engine.door import (
    DoorRules,
    refused_at_the_door,
    refused_content,
    refused_length,
    refused_name,
    refused_size,
    refused_space,
)

from .films import Film

RULES = DoorRules(most_bytes=10_000_000, longest_s=300.0, keep_free_bytes=0)


class TestAName:
    @pytest.mark.parametrize("name", ["take.mp4", "TAKE 2.MOV", "año nuevo.webm", "演奏.mkv", "a.b.3gp", "👩‍🎤.mp4"])
    def test_that_a_phone_gives_is_taken(self, name):
        assert refused_name(name) is None

    @pytest.mark.parametrize(
        ("name", "says"),
        [
            ("../../etc/passwd.mp4", "path"),
            ("..\\take.mp4", "path"),
            ("/etc/take.mp4", "path"),
            ("take\x00.mp4", "invisible"),
            ("take%00.mp4\x00.php", "invisible"),
            ("take\n.mp4", "invisible"),
            ("x" * 4_000 + ".mp4", "longer than 255"),
            ("take\u202e4pm.mp4", "invisible"),
            ("take.mp4.php", ".php"),
            ("take.mp4.", "letter or a digit"),
            ("take.mp4 ", "letter or a digit"),
            ("", "letter or a digit"),
            ("take", "nothing"),
            ("take.avi", "AVI"),
            ("take.ts", "TS"),
            ("take.svg", ".svg"),
            ("take.m3u8", ".m3u8"),
            ("take.wav", "sound file"),
        ],
    )
    def test_that_means_harm_or_another_kind_is_refused(self, name, says):
        assert says in refused_name(name)


class TestASize:
    @pytest.mark.parametrize(("size", "says"), [(0, "empty"), (1_000, "empty"), (10_000_001, "at most 0.01 GB")])
    def test_out_of_bounds_is_refused(self, size, says):
        assert says in refused_size(size, RULES)

    def test_in_bounds_is_taken(self):
        assert refused_size(5_000_000, RULES) is None

    def test_that_would_fill_the_disk_is_refused(self, tmp_path):
        assert "no room" in refused_space(tmp_path, 1 << 60, RULES)
        assert refused_space(tmp_path, 1, RULES) is None

    def test_in_minutes_has_a_limit_too(self):
        assert "5.2 minutes" in refused_length(310.0, RULES)
        assert refused_length(299.0, RULES) is None


class TestTheContent:
    @pytest.mark.parametrize("kind", ["mp4", "mov", "3gp", "mkv"])
    def test_that_agrees_with_its_name_is_taken(self, kind, tmp_path):
        path = Film(f"film.{kind}").write(tmp_path)
        assert refused_at_the_door(path, path.name, RULES) is None

    def test_of_a_browser_recording_is_taken(self, tmp_path):
        path = Film("film.webm", seconds=1.5).write(tmp_path)
        assert refused_at_the_door(path, path.name, RULES) is None

    def test_of_another_kind_than_its_name_is_refused(self, tmp_path):
        path = Film("film.mkv").write(tmp_path)
        assert "mkv" in refused_content(path, "film.mp4")

    @pytest.mark.parametrize(
        "head", [b"#EXTM3U\n", b"ffconcat version 1.0\n", b"<svg>", b"PK\x03\x04", b"RIFF....AVI ", b"G" + bytes(187)]
    )
    def test_that_is_no_video_is_refused(self, head, tmp_path):
        path = tmp_path / "x"
        path.write_bytes(head.ljust(5_000, b"\n"))
        assert "not a video" in refused_at_the_door(path, "take.mp4", RULES)

    def test_that_is_a_still_picture_is_refused(self, tmp_path):
        path = tmp_path / "x"
        path.write_bytes(b"\x00\x00\x00\x18ftypheic".ljust(5_000, b"\x00"))
        assert "still picture" in refused_content(path, "take.mp4")

    def test_behind_a_link_or_a_pipe_is_refused(self, tmp_path):
        (tmp_path / "link").symlink_to("/etc/hostname")
        os.mkfifo(tmp_path / "pipe")
        assert "ordinary" in refused_content(tmp_path / "link", "take.mp4")
        assert "ordinary" in refused_content(tmp_path / "pipe", "take.mp4")

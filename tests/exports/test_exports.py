"""The exports: every pick of a segment starts at the same musical instant, labels are SMPTE's, tables are safe."""

import csv
import json
from fractions import Fraction

import opentimelineio as otio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from submissions.exports import EXPORTS, CutPick, CutSegment, CutSheet
from submissions.exports.labels import label, rational_time

RATE = Fraction(30000, 1001)


def a_pick(chair="snare 1", **changes):
    values = {
        "chair": chair,
        "part": "Snare",
        "credit": "Robin",
        "file": f"{chair.replace(' ', '-')}.mp4",
        "zero_s": 7.123456,
        "zero_from": "marks",
        "zero_sd_s": 0.00002,
        "clock_ratio": 1.00001,
        "nudge_ms": 0.0,
        "file_duration_s": 60.0,
        "picture_offset_s": 0.021,
        "fps": 30.0,
    }
    return CutPick(**(values | changes))


def a_sheet():
    first = CutSegment("Gate", 132.0, 14.545454, (a_pick(), a_pick("bass 1", zero_s=3.9, nudge_ms=12.5)))
    second = CutSegment("Hill", 132.0, 29.090909, (a_pick("bass 1", zero_s=11.0, picture_offset_s=-0.4),))
    return CutSheet("Demo", ("snare 1", "bass 1"), (first, second, first))


def read_table(path):
    with path.open(newline="", encoding="utf-8") as table:
        return list(csv.DictReader(table))


class TestLabels:
    # Frame numbers and labels of SMPTE ST 12-1 drop-frame counting as OpenTimelineIO 0.18 gives them (COMPUTED there).
    @pytest.mark.parametrize(
        ("frame", "says"),
        [
            (1799, "00:00:59;29"),
            (1800, "00:01:00;02"),
            (3597, "00:01:59;29"),
            (3598, "00:02:00;02"),
            (17981, "00:09:59;29"),
            (17982, "00:10:00;00"),
            (107892, "01:00:00;00"),
            (2589407, "23:59:59;29"),
        ],
    )
    def test_drop_frame(self, frame, says):
        assert label(float(frame / RATE), RATE) == says

    def test_drop_frame_at_double_rate(self):
        rate = Fraction(60000, 1001)
        assert label(float(3600 / rate), rate) == "00:01:00;04"
        assert label(float(35964 / rate), rate) == "00:10:00;00"

    def test_plain_at_whole_rates(self):
        assert label(60.0, Fraction(25)) == "00:01:00:00"

    @given(st.integers(0, 2589407))
    def test_never_use_a_label_that_drop_frame_skips(self, frame):
        _, minutes, rest = label(float(frame / RATE), RATE).split(":")
        seconds, frames = rest.split(";")
        assert not (seconds == "00" and frames in ("00", "01") and int(minutes) % 10)

    @given(st.integers(0, 10**6))
    def test_a_frame_keeps_its_number(self, frame):
        assert rational_time(float(frame / RATE), RATE).value == frame


class TestTheTimeline:
    @pytest.fixture
    def timeline(self, tmp_path):
        path = next(e for e in EXPORTS if e.name == "timeline").write(a_sheet(), tmp_path)
        return otio.adapters.read_from_file(str(path))

    def zeros(self, timeline, kind):
        """Record time at which each clip's zero sounds, in seconds."""
        out = {}
        for track in timeline.tracks:
            if track.kind != kind:
                continue
            for clip in track.find_clips():
                placed = clip.range_in_parent().start_time.to_seconds()
                data = clip.metadata["tapoff"]
                offset = {"snare 1": 0.021, "bass 1": 0.021}[track.name] if "Gate" in clip.name else -0.4
                start = clip.source_range.start_time.to_seconds() - (offset if kind == "Video" else 0)
                zero = data["zero_in_file_s"] - data["nudge_ms"] / 1000
                out.setdefault(clip.name.split(" / ")[0], []).append(placed + zero - start)
        return out

    def test_starts_every_pick_of_a_segment_at_the_same_instant_in_sound(self, timeline):
        zeros = self.zeros(timeline, "Audio")
        assert len(zeros["Gate"]) == 4
        assert zeros["Gate"][0] == pytest.approx(0, abs=2e-5)
        assert zeros["Hill"][0] == pytest.approx(14.545454, abs=2e-5)
        assert zeros["Gate"][1] == pytest.approx(14.545454 + 29.090909, abs=2e-5)

    def test_is_within_half_a_frame_in_picture(self, timeline):
        assert self.zeros(timeline, "Video")["Hill"][0] == pytest.approx(14.545454, abs=float(1 / RATE))

    def test_says_what_a_frame_leaves_over(self, timeline):
        for clip in timeline.find_clips():
            assert abs(clip.metadata["tapoff"]["left_over_ms"]) <= 500 / float(RATE) + 1e-6

    def test_fills_every_track_to_the_same_length(self, timeline):
        seconds = {round(t.duration().to_seconds(), 1) for t in timeline.tracks}
        assert len(seconds) == 1

    def test_uses_the_exact_rate(self, timeline):
        clip = next(iter(timeline.video_tracks()[0].find_clips()))
        assert clip.source_range.start_time.rate == pytest.approx(30000 / 1001, abs=1e-12)


class TestTheOffsets:
    def test_are_the_same_in_both_files(self, tmp_path):
        paths = {e.name: e.write(a_sheet(), tmp_path) for e in EXPORTS}
        table = read_table(paths["offsets-csv"])
        whole = json.loads(paths["offsets-json"].read_text())
        assert [float(r["source_start_s"]) for r in table] == [p["source_start_s"] for p in whole["picks"]]
        assert len(table) == 5

    def test_move_a_take_later_for_a_positive_nudge(self):
        assert a_pick(nudge_ms=10.0).source_start_s() < a_pick().source_start_s()

    @pytest.mark.parametrize("name", ["=1+1", "+x", "-x", "@x"])
    def test_disarm_a_name_that_a_spreadsheet_would_run(self, tmp_path, name):
        sheet = CutSheet("t", ("snare 1",), (CutSegment("Gate", 132.0, 10.0, (a_pick(credit=name),)),))
        path = next(e for e in EXPORTS if e.name == "offsets-csv").write(sheet, tmp_path)
        assert read_table(path)[0]["credit"] == "'" + name

    def test_are_in_the_order_of_the_line(self, tmp_path):
        path = next(e for e in EXPORTS if e.name == "offsets-json").write(a_sheet(), tmp_path)
        assert [p["chair"] for p in json.loads(path.read_text())["picks"]][:2] == ["snare 1", "bass 1"]

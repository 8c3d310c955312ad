"""What a part asks for: figures worked out by hand, the word they suggest, and the sentence that explains it."""

import pytest

from submissions.engine.music.demand import LEVELS, crossings, demand
from submissions.engine.music.score import for_drum, read_part
from submissions.engine.rehearsal.cadence import cadence

from . import page as p


def asked(*notes: str, tempo: str = "120", name: str = "Snare"):
    return demand(read_part(p.page(p.bar(1, p.first(p.tempo(tempo)), *notes), name=name)))


class TestFigures:
    def test_sixteenths_at_120_are_eight_a_second(self):
        figure = asked(p.note("s") * 16)
        assert figure.strokes_a_second == 8.0
        assert figure.smallest_gap_ms == 125.0  # 60000 / (120 x 4)
        assert figure.strokes_in_all == 16

    def test_a_diddle_counts_once_for_the_hands(self):
        figure = asked(p.note("s", tremolo=(1, "single")) * 16)
        assert figure.strokes_a_second == 8.0
        assert figure.strokes_in_all == 32
        assert figure.rolls == 16

    def test_flams_and_drags_are_told_apart(self):
        flam, drag = p.note("e", grace=True), p.note("s", grace=True) * 2
        figure = asked(flam + p.note(), flam + p.note(), drag + p.note(), p.rest())
        assert (figure.flams, figure.drags) == (2, 1)

    def test_moves_round_the_drums_are_counted_for_tenors(self):
        notes = [p.note("q", place) for place in ("E5", "C5", "C5", "F4")]
        assert asked(*notes, name="Tenors").moves == 2
        assert asked(*notes, name="Snare").moves == 0

    def test_an_entry_after_a_silence_off_the_beat_is_counted(self):
        assert asked(p.note("q"), p.rest("s"), p.note("s"), p.rest("e"), p.rest("h")).entries == 1
        assert asked(p.note("q"), p.rest("e"), p.note("e"), p.rest("h")).entries == 0


class TestCrossings:
    def test_a_right_hand_left_of_the_left_hand_crosses(self):
        """Left to right the drums stand 4 2 1 3 (common practice)."""
        notes = [p.note("q", "E5", lyric="L"), p.note("q", "F4", lyric="R"), p.rest("h")]
        part = read_part(p.page(p.bar(1, p.first(), *notes), name="Tenors"))
        assert [part.strokes[n].drum for n in crossings(part)] == ["tenor-4"]

    def test_without_sticking_nothing_crosses(self):
        part = read_part(p.page(p.bar(1, p.first(), p.note("q", "E5"), p.note("q", "F4"), p.rest("h")), name="Tenors"))
        assert crossings(part) == ()


class TestLevels:
    @pytest.mark.parametrize(
        ("length", "count", "tempo", "level"),
        [
            ("q", 4, "100", "first-year"),
            ("e", 8, "120", "first-year"),
            ("s", 16, "88", "second-year"),
            ("s", 16, "120", "experienced"),
            ("s", 16, "160", "advanced"),
        ],
    )
    def test_faster_hands_make_a_harder_part(self, length, count, tempo, level):
        bars = [p.bar(n, p.first(p.tempo(tempo)) if n == 1 else "", p.note(length) * count) for n in (1, 2, 3)]
        assert demand(read_part(p.page(*bars))).level == level

    def test_one_drum_of_a_split_is_easier_than_the_whole_line_on_one_drum(self):
        whole = read_part(cadence()[0].musicxml_text.encode(), "P3")
        line = demand(whole)
        each = [demand(for_drum(read_all(), str(drum))) for drum in range(1, 6)]
        assert all(one.strokes_a_second < line.strokes_a_second for one in each)
        assert all(LEVELS.index(one.level) < line.rank for one in each)

    def test_the_sentence_names_the_figures(self):
        says = asked(p.note("s") * 16).says
        assert says.startswith("Experienced: up to 8.0 notes a second")
        assert "125 ms" in says
        assert "suggestion" in says

    def test_an_empty_part_is_for_anyone(self):
        assert asked(p.bar_rest()).level == "first-year"


def read_all():
    from submissions.engine.music.score import read_score

    return read_score(cadence()[0].musicxml_text.encode()).parts[2]

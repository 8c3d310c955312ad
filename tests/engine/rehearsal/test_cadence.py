"""The invented demo cadence: what it holds, and that a wrong part or a shift by bars shows in its rhythm."""

from collections import Counter

import pytest

from submissions.engine.music.score import read_part, read_score
from submissions.engine.rehearsal.cadence import cadence
from submissions.engine.rehearsal.cadence_xml import Voice, write_score

SEGMENTS = {segment.name: read_score(segment.musicxml_text.encode()) for segment in cadence()}
PARTS = [(name, part.part_id) for name, score in SEGMENTS.items() for part in score.parts]
BASS = [(segment.name, drum) for segment in cadence() for drum in "12345"]


def part_of(name: str, part_id: str):
    return next(part for part in SEGMENTS[name].parts if part.part_id == part_id)


def bars_of(part) -> list[frozenset]:
    """Every bar as the set of its strokes' places."""
    return [frozenset(s.at_q - bar.at_q for s in part.scored() if s.played_bar == n) for n, bar in enumerate(part.bars)]


def likeness(one: list[frozenset], other: list[frozenset]) -> float:
    """Share of strokes of either that both have, bar by bar."""
    both = sum(len(a & b) for a, b in zip(one, other, strict=False))
    return both / max(1, sum(len(a | b) for a, b in zip(one, other, strict=False)))


class TestTheCadence:
    def test_has_three_segments_of_8_16_and_12_bars(self):
        assert [(score.title, len(score.parts[0].bars)) for score in SEGMENTS.values()] == [
            ("Copper Gate", 8),
            ("Long Ladder", 16),
            ("Last Lantern", 12),
        ]

    def test_has_four_sections(self):
        assert all(
            [part.instrument for part in score.parts] == ["snare", "tenors", "bass", "cymbals"]
            for score in SEGMENTS.values()
        )

    def test_goes_at_108(self):
        assert {part.bpm for score in SEGMENTS.values() for part in score.parts} == {108.0}

    def test_holds_flams_drags_rolls_buzzes_accents_sticking_and_rests(self):
        strokes = [s for score in SEGMENTS.values() for part in score.parts for s in part.strokes]
        kinds = Counter(s.kind for s in strokes)
        assert min(kinds[kind] for kind in ("stroke", "grace", "diddle", "buzz")) >= 3
        assert any(s.accent for s in strokes)
        assert {s.hand for s in strokes} == {"R", "L", None}
        assert all("<rest/>" in segment.musicxml_text for segment in cadence())

    @pytest.mark.parametrize(("name", "part_id"), PARTS)
    def test_does_not_loop(self, name, part_id):
        bars = bars_of(part_of(name, part_id))
        assert len(set(bars)) >= len(bars) - 1
        assert all(bars)

    @pytest.mark.parametrize(("name", "part_id"), PARTS)
    def test_a_shift_by_bars_shows(self, name, part_id):
        bars = bars_of(part_of(name, part_id))
        assert all(likeness(bars[shift:], bars) < 0.75 for shift in range(1, len(bars) - 2))

    @pytest.mark.parametrize("name", SEGMENTS)
    def test_no_part_has_the_rhythm_of_another(self, name):
        parts = [bars_of(part) for part in SEGMENTS[name].parts]
        assert all(likeness(one, other) < 0.75 for n, one in enumerate(parts) for other in parts[n + 1 :])

    @pytest.mark.parametrize(("name", "drum"), BASS)
    def test_every_bass_drum_has_enough_to_be_heard(self, name, drum):
        segment = next(segment for segment in cadence() if segment.name == name)
        part = read_part(segment.musicxml_text.encode(), "P3", drum)
        assert len(part.scored()) >= 24

    def test_the_bass_line_is_really_split(self):
        bass = part_of("Copper Gate", "P3")
        together = Counter(s.at_q for s in bass.scored())
        assert Counter(together.values())[1] > 40
        assert Counter(together.values())[5] > 5

    def test_a_cell_that_lasts_no_beat_is_refused(self):
        wrong = Voice("P1", "Snare", "snare", "S.D.", {"a": "q s"}, {1: "C5"})
        with pytest.raises(ValueError, match="do not last a beat"):
            write_score("x", 100, (wrong,), {"snare": "a"})

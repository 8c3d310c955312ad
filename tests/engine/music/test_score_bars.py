"""Bars on the line of time: zero, pickups, split and short bars, meters, tempi, counts. Expectations by hand."""

from fractions import Fraction

import pytest

from submissions.engine.errors import ScoreError
from submissions.engine.music.grid import beats_of, count_name, make_meter
from submissions.engine.music.score import read_part

from . import page as p

F = Fraction


def starts(part) -> list[tuple[int, Fraction, Fraction]]:
    return [(bar.number, bar.at_q, bar.length_q) for bar in part.bars]


class TestZero:
    def test_is_the_first_downbeat_of_a_score_without_a_pickup(self):
        part = read_part(p.page(p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("w"))))
        assert starts(part) == [(1, 0, 4), (2, 4, 4)]

    @pytest.mark.parametrize(("number", "implicit"), [(0, True), (0, False), (1, False), ("X0", True)])
    def test_a_pickup_is_negative(self, number, implicit):
        part = read_part(
            p.page(p.bar(number, p.first(p.tempo("120")), p.note("q"), implicit=implicit), p.bar(1, p.note("w")))
        )
        assert [s.at_q for s in part.strokes] == [-1, 0]
        assert part.strokes[0].at_s == -0.5
        assert part.strokes[0].count == "4"
        assert part.beats[0].at_q == 0
        assert part.beats[0].downbeat

    def test_a_whole_bar_numbered_nought_stands_before_bar_one(self):
        part = read_part(p.page(p.bar(0, p.first(), p.rest("h"), p.note("h"), implicit=True), p.bar(1, p.note("w"))))
        assert [(s.at_q, s.count) for s in part.strokes] == [(-2, "3"), (0, "1")]

    def test_a_first_bar_split_in_two_is_no_pickup(self):
        part = read_part(
            p.page(p.bar(1, p.first(), p.note("h")), p.bar("X1", p.note("h"), implicit=True), p.bar(2, p.note("w")))
        )
        assert [(s.at_q, s.bar, s.count) for s in part.strokes] == [(0, 1, "1"), (2, 1, "3"), (4, 2, "1")]

    def test_the_tempo_of_bar_one_is_the_performance_tempo(self):
        """A pickup in another tempo does not give the click its tempo."""
        part = read_part(
            p.page(p.bar(0, p.first(p.tempo("60")), p.note("q"), implicit=True), p.bar(1, p.tempo("120"), p.note("w")))
        )
        assert part.bpm == 120
        assert part.strokes[0].at_s == -1.0

    def test_a_repeated_pickup_stands_inside_the_played_order(self):
        pickup = p.bar(0, p.first(), p.note("q"), implicit=True)
        part = read_part(
            p.page(pickup, p.bar(1, p.note("w")), p.bar(2, p.note("h"), p.note("q"), p.repeat("backward")))
        )
        assert [(s.at_q, s.count) for s in part.strokes] == [
            (-1, "4"),
            (0, "1"),
            (4, "1"),
            (6, "3"),
            (7, "4"),
            (8, "1"),
            (12, "1"),
            (14, "3"),
        ]
        assert [beat.at_q for beat in part.beats if beat.downbeat] == [0, 4, 8, 12]


class TestLengths:
    def test_a_bar_split_by_a_repeat_sign_counts_on(self):
        bars = (
            p.bar(1, p.first(), p.note("w")),
            p.bar(2, p.note("h"), p.repeat("backward")),
            p.bar("X1", p.repeat("forward"), p.note("h"), implicit=True),
            p.bar(3, p.note("w")),
        )
        part = read_part(p.page(*bars))
        assert [(s.at_q, s.bar, s.count) for s in part.strokes] == [
            (0, 1, "1"),
            (4, 2, "1"),
            (6, 1, "1"),
            (10, 2, "1"),
            (12, 2, "3"),
            (14, 3, "1"),
        ]
        assert [beat.number for beat in part.beats if beat.bar == 2 and beat.at_q >= 10] == [1, 2, 3, 4]
        assert part.warnings == ("the score gives no tempo; 120 quarters a minute is assumed",)

    def test_two_numbered_halves_make_a_bar(self):
        part = read_part(
            p.page(
                p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("h")), p.bar(3, p.note("h")), p.bar(4, p.note("w"))
            )
        )
        assert [bar.at_q for bar in part.bars] == [0, 4, 6, 8]

    def test_a_short_bar_without_a_reason_is_short_and_told(self):
        """As music21 and verovio read it: a bar lasts as long as its notes and rests."""
        part = read_part(p.page(p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("q")), p.bar(3, p.note("w"))))
        assert [s.at_q for s in part.strokes] == [0, 4, 5]
        assert [s.count for s in part.strokes] == ["1", "1", "1"]
        assert "bar 2: its notes and rests last 1 of 4 quarters; the bar is taken as that short" in part.warnings

    def test_a_bar_with_too_many_notes_is_believed_and_told(self):
        part = read_part(p.page(p.bar(1, p.first(), p.note("q") * 5), p.bar(2, p.note("w"))))
        assert part.strokes[-1].at_q == 5
        assert any("its notes last 5 quarters and the meter 4" in warning for warning in part.warnings)

    def test_rests_that_overflow_are_cut(self):
        """As files have it: a half rest where a quarter rest is left to the bar."""
        part = read_part(
            p.page(p.bar(1, p.first(beats="3"), p.note("q") * 2, p.rest("h")), p.bar(2, p.note("h", dots=1)))
        )
        assert part.strokes[-1].at_q == 3
        assert "bar 1: a voice lasts 4 quarters and the meter 3; the meter is believed" in part.warnings

    def test_a_part_that_fits_the_meter_is_believed_against_one_that_does_not(self):
        parts = (
            p.part(p.bar(1, p.first(), p.note("q") * 5), p.bar(2, p.note("w"))),
            p.part(p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("w")), part_id="P2"),
        )
        part = read_part(p.document(p.listed("P1", "Snare") + p.listed("P2", "Bass"), *parts), "P2")
        assert [s.at_q for s in part.strokes] == [0, 4]

    def test_another_part_fills_the_bar(self):
        parts = (
            p.part(p.bar(1, p.first(), p.note("q")), p.bar(2, p.note("w"))),
            p.part(p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("w")), part_id="P2"),
        )
        part = read_part(p.document(p.listed("P1", "Snare") + p.listed("P2", "Bass"), *parts), "P1")
        assert [s.at_q for s in part.strokes] == [0, 4]

    def test_an_empty_bar_lasts_its_meter(self):
        part = read_part(p.page(p.bar(1, p.first(beats="3"), ""), p.bar(2, p.note("h", dots=1))))
        assert part.strokes[0].at_q == 3

    def test_a_whole_rest_of_four_quarters_fits_any_meter(self):
        part = read_part(p.page(p.bar(1, p.first(beats="3"), p.bar_rest(4)), p.bar(2, p.note("h", dots=1))))
        assert part.strokes[0].at_q == 3

    def test_without_measure_a_bar_is_as_long_as_its_notes(self):
        free = "<attributes><time><senza-misura/></time></attributes>"
        part = read_part(
            p.page(
                p.bar(1, p.first(), p.note("w")),
                p.bar(2, free, p.note("q") * 7),
                p.bar(3, p.attributes(p.time("4", "4")), p.note("w")),
            )
        )
        assert [bar.at_q for bar in part.bars] == [0, 4, 11]
        assert [beat.number for beat in part.beats if beat.bar == 2] == [1, 2, 3, 4, 5, 6, 7]

    @pytest.mark.parametrize(
        ("divisions", "units"),
        [(256, (85, 85, 86)), (256, (85, 85, 85)), (8, (3, 2, 3)), (1024, (341, 341, 342)), (4, (1, 2, 1))],
    )
    def test_rounded_tuplets_are_exact(self, divisions, units):
        """Divisions of 256 cannot hold a triplet: programs round each note, and some make up for it."""
        triplets = "".join(p.note("e", tuplet=(3, 2), duration=one) for one in units)
        attributes = p.attributes(f"<divisions>{divisions}</divisions>", p.time("4", "4"))
        part = read_part(p.page(p.bar(1, attributes, triplets * 4), p.bar(2, p.note("w", duration=4 * divisions))))
        assert [s.at_q for s in part.strokes] == [F(n, 3) for n in range(13)]
        assert not any("bar 1" in warning for warning in part.warnings)

    def test_rounded_tuplets_in_two_voices_meet(self):
        triplets = "".join(p.note("e", tuplet=(3, 2), duration=units) for units in (85, 85, 86))
        attributes = p.attributes("<divisions>256</divisions>", p.time("2", "4"))
        back = "<backup><duration>341</duration></backup>"  # 256 + 85: back to the second triplet note of beat 1
        part = read_part(
            p.page(
                p.bar(
                    1,
                    attributes,
                    triplets,
                    p.note("q", duration=256),
                    back.replace("341", "427"),
                    p.note("e", "E5", voice=2, tuplet=(3, 2), duration=85),
                ),
                name="Tenors",
            )
        )
        assert F(1, 3) in {s.at_q for s in part.strokes}

    def test_coarse_divisions_are_exact_whatever_the_type_says(self):
        """Triplets written without their time-modification: the duration is what sounds."""
        notes = p.note("e", duration=1) * 6
        part = read_part(p.page(p.bar(1, p.attributes("<divisions>3</divisions>", p.time("2", "4")), notes)))
        assert [s.at_q for s in part.strokes] == [F(n, 3) for n in range(6)]

    def test_divisions_may_change_inside_a_bar(self):
        half = p.note("h", duration=4)
        part = read_part(
            p.page(
                p.bar(
                    1,
                    p.attributes("<divisions>2</divisions>", p.time("4", "4")),
                    half,
                    "<attributes><divisions>480</divisions></attributes>",
                    p.note("q", duration=480) * 2,
                )
            )
        )
        assert [s.at_q for s in part.strokes] == [0, 2, 3]

    def test_a_bar_of_thousands_of_quarters_is_refused(self):
        with pytest.raises(ScoreError, match="mistake in the file"):
            read_part(p.page(p.bar(1, p.first(), p.note("w", duration=10**10))))


class TestTempo:
    def test_none_at_all_is_assumed_and_told(self):
        part = read_part(p.page(p.bar(1, p.first(), p.note("q") * 4)))
        assert part.bpm == 120
        assert part.warnings == ("the score gives no tempo; 120 quarters a minute is assumed",)

    @pytest.mark.parametrize(
        ("mark", "quarters"),
        [
            (p.tempo("116"), 116),
            (p.tempo("80", dots=1), 120),
            (p.tempo("80", dots=1, sound="120"), 120),
            (p.tempo("80", dots=1, sound="80"), 120),
            (p.tempo("60", unit="half"), 120),
            (p.tempo("168", unit="eighth"), 84),
            (p.tempo("c. 116"), 116),
            (p.tempo("116-120"), 116),
            (p.tempo("116", sound="116.0005"), 116),
            ('<sound tempo="92.5"/>', F(185, 2)),
            (p.words("Fast ♩ = 116"), 116),
            (p.words("♩. = 80"), 120),
            (p.words("ca. 104 bpm"), 104),
            (p.words("♩ = 116", 'tempo="112"'), 112),
        ],
    )
    def test_is_quarters_a_minute(self, mark, quarters):
        part = read_part(p.page(p.bar(1, p.first(mark), p.note("w"))))
        assert part.tempi[0].quarters_per_minute == quarters

    def test_a_tempo_typed_as_text_is_told(self):
        part = read_part(p.page(p.bar(1, p.first(p.words("♩ = 116")), p.note("w"))))
        assert part.warnings == ("bar 1: “♩ = 116” stands there as text; it is taken for the tempo",)

    def test_a_sound_that_ignores_the_beat_unit_is_told(self):
        part = read_part(
            p.page(p.bar(1, p.first(p.tempo("80", dots=1, sound="80"), beats="6", beat_type="8"), p.note("h", dots=1)))
        )
        assert part.bpm == 80
        assert any("ignores the printed beat unit" in warning for warning in part.warnings)

    def test_changes_inside_a_bar_hold_from_there(self):
        part = read_part(
            p.page(
                p.bar(1, p.first(p.tempo("120")), p.note("h"), p.tempo("60"), p.note("q") * 2), p.bar(2, p.note("w"))
            )
        )
        assert [s.at_s for s in part.strokes] == [0.0, 1.0, 2.0, 3.0]

    def test_only_an_offset_for_the_sound_moves_a_change(self):
        """MusicXML: an offset moves the print alone unless it says sound="yes"."""
        printed, heard = (f"<offset{how}>{2 * p.DIVISIONS}</offset>" for how in ("", ' sound="yes"'))
        seconds = [
            read_part(p.page(p.bar(1, p.first(p.tempo("120")), p.tempo("60", offset=offset), p.note("q") * 4))).end_s
            for offset in (printed, heard)
        ]
        assert seconds == [4.0, 3.0]

    def test_a_mark_printed_elsewhere_than_it_sounds_is_told(self):
        part = read_part(
            p.page(
                p.bar(
                    1, p.first(p.tempo("120")), p.tempo("60", offset=f"<offset>{p.DIVISIONS}</offset>"), p.note("q") * 4
                )
            )
        )
        assert (
            "bar 1: a tempo mark is printed at another place than it sounds; the sounding place is taken"
            in part.warnings
        )

    def test_a_beat_unit_equals_another(self):
        same = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit>quarter</beat-unit><beat-unit-dot/></metronome></direction-type></direction>"
        part = read_part(p.page(p.bar(1, p.first(p.tempo("120")), p.note("w")), p.bar(2, same, p.note("w"))))
        assert [tempo.quarters_per_minute for tempo in part.tempi] == [120, 180]

    def test_is_taken_from_whichever_part_has_it(self):
        parts = (
            p.part(p.bar(1, p.first(), p.note("w"))),
            p.part(p.bar(1, p.first(p.tempo("90")), p.note("w")), part_id="P2"),
        )
        assert read_part(p.document(p.listed("P1", "Snare") + p.listed("P2", "Bass"), *parts), "P1").bpm == 90

    def test_holds_over_a_repeat_until_the_next_mark(self):
        bars = (
            p.bar(1, p.first(p.tempo("120")), p.repeat("forward"), p.note("w")),
            p.bar(2, p.tempo("60"), p.note("w"), p.repeat("backward")),
        )
        part = read_part(p.page(*bars))
        assert [s.at_s for s in part.strokes] == [0.0, 2.0, 6.0, 8.0]

    def test_long_scores_do_not_drift(self):
        """24827 samples a beat, the integer for 116 at 48 kHz, would be 4.7 ms early after 384 beats (check: 198.6 s)."""
        bars = [p.bar(n, p.first(p.tempo("116")) if n == 1 else "", p.note("q") * 4) for n in range(1, 98)]
        part = read_part(p.page(*bars))
        after = part.strokes[384]
        assert after.at_s == pytest.approx(384 * 60 / 116, abs=1e-9)
        assert (after.at_s - 384 * 24827 / 48_000) * 1000 == pytest.approx(4.7, abs=0.05)


class TestMeters:
    @pytest.mark.parametrize(
        ("beats", "unit", "groups"),
        [
            ("4", "4", (1, 1, 1, 1)),
            ("6", "8", (3, 3)),
            ("9", "8", (3, 3, 3)),
            ("12", "8", (3, 3, 3, 3)),
            ("2", "2", (1, 1)),
            ("7", "8", (1,) * 7),
            ("3+2", "8", (3, 2)),
            ("2+2+3", "8", (2, 2, 3)),
            ("3", "8", (1, 1, 1)),
            ("6", "4", (1,) * 6),
        ],
    )
    def test_have_clicked_beats(self, beats, unit, groups):
        meter = make_meter(beats, unit)
        assert meter is not None
        assert meter.groups == groups
        assert meter.length == F(4 * sum(groups), int(unit))

    @pytest.mark.parametrize(
        ("beats", "unit"),
        [("0", "4"), ("4", "3"), ("x", "4"), ("4", ""), ("3+", "8"), ("999", "4"), ("-4", "4"), ("²", "4")],
    )
    def test_that_cannot_be_are_refused(self, beats, unit):
        assert make_meter(beats, unit) is None

    def test_several_signatures_add_up(self):
        time = "<time><beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type></time>"
        part = read_part(
            p.page(p.bar(1, p.attributes(f"<divisions>{p.DIVISIONS}</divisions>", time), p.note("q") * 3 + p.note("e")))
        )
        assert [beat.at_q for beat in part.beats] == [0, 1, 2]
        assert part.bars[0].length_q == F(7, 2)

    def test_change_in_the_middle(self):
        bars = (
            p.bar(1, p.first(), p.note("w")),
            p.bar(2, p.attributes(p.time("6", "8")), p.note("h", dots=1)),
            p.bar(3, p.attributes(p.time("2", "4")), p.note("h")),
        )
        part = read_part(p.page(*bars))
        assert starts(part) == [(1, 0, 4), (2, 4, 3), (3, 7, 2)]
        assert [beat.at_q for beat in part.beats] == [0, 1, 2, 3, 4, F(11, 2), 7, 8]

    def test_beats_of_a_pickup_keep_their_numbers(self):
        meter = make_meter("4", "4")
        assert beats_of(meter, F(1), F(3)) == [(0, 4, 1)]
        assert beats_of(meter, F(3, 2), F(5, 2)) == [(F(1, 2), 4, 1)]


class TestCounts:
    """As the trade speaks them; triplet words vary from line to line (from memory, no source)."""

    @pytest.mark.parametrize(
        ("beats", "unit", "places", "names"),
        [
            ("4", "4", [0, F(1, 4), F(1, 2), F(3, 4), 1, F(13, 4)], ["1", "1e", "1&", "1a", "2", "4e"]),
            ("4", "4", [1, F(4, 3), F(5, 3)], ["2", "2la", "2li"]),
            ("6", "8", [0, F(1, 2), 1, F(3, 2), 2, F(5, 2)], ["1", "1la", "1li", "2", "2la", "2li"]),
            ("2", "2", [0, F(1, 2), 1, F(3, 2), 2], ["1", "1e", "1&", "1a", "2"]),
            ("3+2", "8", [0, F(1, 2), F(3, 2), 2], ["1", "1la", "2", "2&"]),
            ("4", "4", [F(1, 8), F(1, 5), F(1, 6)], ["1+1/8", "1+1/5", "1ta"]),
        ],
    )
    def test_names(self, beats, unit, places, names):
        meter = make_meter(beats, unit)
        assert [count_name(meter, F(place)) for place in places] == names

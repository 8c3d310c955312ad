"""Which part, which instrument, which drum: guessed from names and places, shown, and corrected by the organizer."""

import pytest

from submissions.engine.errors import ScoreError
from submissions.engine.music.score import bass_map, read_part, read_score

from . import page as p

FIVE = ("G5", "E5", "C5", "A4", "F4")


def line(*notes: str, name: str = "Bass Drums", instruments=(), **more):
    return read_part(p.page(p.bar(1, p.first(p.tempo("120")), *notes), name=name, instruments=instruments), **more)


def run(places=FIVE[:4], length="q", **more) -> str:
    return "".join(p.note(length, place, **more) for place in places)


def chord(places=FIVE, length="q", **more) -> str:
    return "".join(p.note(length, place, chord=n > 0, **more) for n, place in enumerate(places))


class TestInstrument:
    @pytest.mark.parametrize(
        ("name", "instrument"),
        [
            ("Snare", "snare"),
            ("Snare Line", "snare"),
            ("Snare Drum 1", "snare"),
            ("S.D.", "snare"),
            ("Side Drum", "snare"),
            ("Marching Snare", "snare"),
            ("Tenors", "tenors"),
            ("Tenor Drums", "tenors"),
            ("Quads", "tenors"),
            ("Quints", "tenors"),
            ("Tenor Line", "tenors"),
            ("Bass Drums", "bass"),
            ("Basses", "bass"),
            ("Bass Line", "bass"),
            ("B.D.", "bass"),
            ("Bass Drum 3", "bass"),
            ("BD3", "bass"),
            ("Bass1", "bass"),
            ("BassDrums", "bass"),
            ("Bassoon", "other"),
            ("Field Drum", "snare"),
            ("Marching Bass Drums", "bass"),
            ("Cymbals", "cymbals"),
            ("Crash Cymbals", "cymbals"),
            ("Cym.", "cymbals"),
            ("Drumline", "other"),
            ("Percussion", "other"),
            ("Xylophone", "other"),
            ("Bass Guitar", "other"),
            ("Bass Clarinet", "other"),
            ("Snare and Bass", "other"),
            ("", "other"),
        ],
    )
    def test_from_the_name(self, name, instrument):
        assert line(p.note("w"), name=name).instrument == instrument

    def test_from_the_abbreviation_where_the_name_says_nothing(self):
        listed = (
            '<score-part id="P1"><part-name>Line A</part-name><part-abbreviation>S.D.</part-abbreviation></score-part>'
        )
        assert read_part(p.document(listed, p.part(p.bar(1, p.first(), p.note("w"))))).instrument == "snare"

    def test_from_used_instruments_alone(self):
        """Programs list a whole kit with every percussion part."""
        kit = ("K1", "Bass Drum 1"), ("K2", "Acoustic Snare"), ("K3", "Crash Cymbal 1")
        assert line(p.note("w", instrument="K2"), name="Percussion", instruments=kit).instrument == "snare"

    def test_a_voice_called_tenor_is_no_tenor_line(self):
        scale = "".join(
            p.note("e", place, pitched=True) for place in ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5")
        )
        part = line(scale, name="Tenor")
        assert part.instrument == "other"
        assert len(part.strokes) == 9


class TestBassLine:
    def test_top_of_the_staff_is_bass_one(self):
        assert [s.drum for s in line(run(FIVE, "e"), p.rest("q"), p.rest("e")).strokes] == ["bass"] * 5
        score = read_score(p.page(p.bar(1, p.first(), run(FIVE, "e"), p.rest("q"), p.rest("e")), name="Bass Drums"))
        assert [s.drum for s in score.parts[0].strokes] == ["bass-1", "bass-2", "bass-3", "bass-4", "bass-5"]

    @pytest.mark.parametrize("drum", ["1", "2", "3", "4", "5"])
    def test_a_split_gives_each_player_their_own(self, drum):
        part = line(run(FIVE, "e"), p.rest("e"), chord(), drum=drum)
        assert [float(s.at_q) for s in part.strokes] == [(int(drum) - 1) / 2, 3.0]
        assert {s.drum for s in part.strokes} == {f"bass-{drum}"}
        assert part.drum == drum

    def test_on_one_drum_a_unison_is_one_hit_and_keeps_the_accent(self):
        accented = (
            p.note("q", "G5") + p.note("q", "E5", chord=True, articulations="accent") + p.note("q", "C5", chord=True)
        )
        part = line(accented, p.rest("q"), p.rest("h"))
        assert [(s.at_q, s.drum, s.accent) for s in part.strokes] == [(0, "bass", True)]

    def test_flams_in_unison_merge_too(self):
        graces = p.note("e", "G5", grace=True) + p.note("e", "E5", grace=True, chord=True)
        part = line(graces + chord(FIVE[:2]), p.rest("q"), p.rest("h"))
        assert [s.kind for s in part.strokes] == ["grace", "stroke"]

    @pytest.mark.parametrize(
        ("places", "drums"),
        [
            (("F5", "D5", "B4", "G4", "E4"), (1, 2, 3, 4, 5)),
            (("E5", "C5", "A4", "F4", "D4"), (1, 2, 3, 4, 5)),
            (("G5", "E5", "C5", "A4", "F4"), (1, 2, 3, 4, 5)),
            (("G5", "F5", "E5", "D5", "C5"), (1, 2, 3, 4, 5)),
            (("B4", "G4", "E4"), (3, 4, 5)),
            (("E5", "C5", "A4", "F4"), (1, 2, 3, 4)),
            (("G5", "A4"), (1, 4)),
        ],
    )
    def test_places_are_read_by_usual_layouts_and_else_from_the_top(self, places, drums):
        score = read_score(p.page(p.bar(1, p.first(), run(places, "e")), name="Bass"))
        rows = {row.key: row.drums for row in bass_map(score)["P1"]}
        assert rows == {place: (drum,) for place, drum in zip(places, drums, strict=True)}

    def test_the_mapping_says_why_and_can_be_corrected(self):
        xml = p.page(p.bar(1, p.first(), run(("G5", "A4"), "h")), name="Bass")
        row = bass_map(read_score(xml))["P1"][1]
        assert (row.key, row.drums, row.notes) == ("A4", (4,), 1)
        assert "usual place" in row.why
        corrected = read_score(xml, bass={"A4": 2, "G5": 5}).parts[0]
        assert [s.drum for s in corrected.strokes] == ["bass-5", "bass-2"]
        assert {row.why for row in corrected.drum_map} == {"set by the organizer"}

    def test_a_place_can_be_made_a_unison_or_nothing(self):
        xml = p.page(p.bar(1, p.first(), run(("G5", "A4"), "h")), name="Bass")
        assert len(read_part(xml, drum="3", bass={"G5": (1, 2, 3, 4, 5)}).strokes) == 1
        left_out = read_score(xml, bass={"G5": 0}).parts[0]
        assert [s.drum for s in left_out.strokes] == ["bass-4"]
        assert [u.element for u in left_out.unread] == ["note"]

    def test_numbers_in_instrument_names_go_before_places(self):
        ids = tuple((f"P1-I{n}", f"Bass Drum {6 - n}") for n in range(1, 6))
        notes = "".join(p.note("e", place, instrument=f"P1-I{n}") for n, place in enumerate(FIVE, start=1))
        score = read_score(p.page(p.bar(1, p.first(), notes), name="Bass", instruments=ids))
        assert [s.drum for s in score.parts[0].strokes] == ["bass-5", "bass-4", "bass-3", "bass-2", "bass-1"]

    def test_one_instrument_for_all_places_says_nothing(self):
        notes = "".join(p.note("e", place, instrument="P1-I36") for place in FIVE)
        score = read_score(p.page(p.bar(1, p.first(), notes), name="Bass", instruments=(("P1-I36", "Bass Drum 1"),)))
        assert [s.drum for s in score.parts[0].strokes] == [f"bass-{n}" for n in range(1, 6)]

    def test_instruments_on_one_place_go_in_listed_order(self):
        ids = ("A", "Large"), ("B", "Small")
        notes = p.note("h", instrument="A") + p.note("h", instrument="B")
        score = read_score(p.page(p.bar(1, p.first(), notes), name="Bass", instruments=ids))
        assert [s.drum for s in score.parts[0].strokes] == ["bass-1", "bass-2"]

    def test_a_unison_instrument_is_everyones(self):
        ids = ("A", "Bass 1"), ("B", "Bass 2"), ("U", "Unison")
        notes = (
            p.note("q", "G5", instrument="A") + p.note("q", "E5", instrument="B") + p.note("h", "C5", instrument="U")
        )
        xml = p.page(p.bar(1, p.first(), notes), name="Bass", instruments=ids)
        assert [s.at_q for s in read_part(xml, drum="5").strokes] == [2]
        assert [s.at_q for s in read_part(xml).strokes] == [0, 1, 2]

    def test_pitched_notes_in_a_bass_clef_are_read_by_their_line(self):
        clef = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>"
        notes = "".join(p.note("e", place, pitched=True) for place in ("A3", "F3", "D3", "B2", "G2"))
        score = read_score(p.page(p.bar(1, p.first(), clef, notes), name="Bass"))
        assert [s.drum for s in score.parts[0].strokes] == [f"bass-{n}" for n in range(1, 6)]

    def test_five_parts_of_one_file(self):
        listed = "".join(p.listed(f"P{n}", f"Bass Drum {n}") for n in range(1, 6))
        parts = [
            p.part(p.bar(1, p.first(), p.rest("q") * (n - 1), p.note("q") * (5 - n)), part_id=f"P{n}")
            for n in range(1, 5)
        ]
        parts.append(p.part(p.bar(1, p.first(), p.note("w")), part_id="P5"))
        xml = p.document(listed, *parts)
        part = read_part(xml, drum="3")
        assert (part.part_id, part.drum) == ("P3", "3")
        assert {s.drum for s in part.strokes} == {"bass-3"}

    def test_a_part_without_a_telling_name_is_a_bass_line_when_a_drum_is_asked_for(self):
        assert len(line(run(FIVE, "e"), name="Part 1", drum="2").strokes) == 1

    def test_asking_a_snare_for_its_second_drum_is_refused(self):
        with pytest.raises(ScoreError, match="no bass line"):
            line(p.note("w"), name="Snare", drum="2")

    def test_a_drum_that_plays_nothing_is_told(self):
        with pytest.raises(ScoreError, match="no stroke for bass 5"):
            line(run(FIVE[:4]), drum="5")

    def test_clicks_off_the_drums_places_leave_the_drums_alone(self):
        notes = run(("F5", "D5", "B4", "G4"), "e") + p.note("h", "A5", head="x")
        part = read_score(p.page(p.bar(1, p.first(), notes), name="Bass")).parts[0]
        assert [s.drum for s in part.strokes] == ["bass-1", "bass-2", "bass-3", "bass-4"]
        assert [u.says for u in part.unread] == ["bar 1: a note at A5 stands for no drum; that stroke is missing"]

    def test_notes_on_no_drum_are_told(self):
        seven = ("A5", "G5", "F5", "E5", "D5", "C5", "B4")
        score = read_score(p.page(p.bar(1, p.first(), run(seven, "e")), name="Bass"))
        assert [(u.element, u.bar) for u in score.parts[0].unread] == [("note", 1)]


class TestTenors:
    def test_four_drums_in_the_spaces(self):
        part = line(run(("E5", "C5", "A4", "F4")), name="Tenors")
        assert [s.drum for s in part.strokes] == ["tenor-1", "tenor-2", "tenor-3", "tenor-4"]

    def test_six_drums_keep_the_small_ones_above(self):
        part = line(run(("E5", "C5", "A4", "F4", "G5", "B5"), "e"), name="Tenors")
        assert [s.drum for s in part.strokes] == [f"tenor-{n}" for n in range(1, 7)]

    def test_small_drums_above_an_unusual_layout_are_five_and_six(self):
        part = line(run(("A5", "E5", "C5", "A4", "F4"), "e"), name="Tenors")
        assert [s.drum for s in part.strokes] == ["tenor-5", "tenor-1", "tenor-2", "tenor-3", "tenor-4"]

    def test_two_hands_at_once_are_two_strokes(self):
        part = line(chord(("E5", "F4"), "w"), name="Tenors")
        assert [(s.at_q, s.drum) for s in part.strokes] == [(0, "tenor-1"), (0, "tenor-4")]


class TestSeveralInstrumentsInOnePart:
    def test_each_note_is_called_by_its_instrument(self):
        ids = ("A", "Snare Drum"), ("B", "Bass Drum 2"), ("C", "Crash Cymbals"), ("D", "Woodblock")
        notes = "".join(
            p.note("q", place, instrument=own) for place, own in zip(("C5", "F4", "G5", "E5"), "ABCD", strict=True)
        )
        part = line(notes, name="Drumline", instruments=ids)
        assert part.instrument == "other"
        assert [s.drum for s in part.strokes] == ["snare", "bass-2", "cymbal", "Woodblock"]


class TestChoosingAPart:
    def pair(self) -> bytes:
        parts = p.part(p.bar(1, p.first(), p.bar_rest())), p.part(p.bar(1, p.first(), p.note("w")), part_id="P2")
        return p.document(p.listed("P1", "Flute") + p.listed("P2", "Snare"), *parts)

    def test_by_id_or_by_name(self):
        assert read_part(self.pair(), "P2").name == "Snare"
        assert read_part(self.pair(), "snare").part_id == "P2"

    def test_without_one_the_first_with_strokes_is_taken_and_told(self):
        part = read_part(self.pair())
        assert part.part_id == "P2"
        assert "the score holds 2 parts; “Snare” was taken" in part.warnings

    def test_an_unknown_one_is_refused_with_those_there_are(self):
        with pytest.raises(ScoreError, match=r"no part “P9”; it has P1 \(Flute\), P2 \(Snare\)"):
            read_part(self.pair(), "P9")

    def test_an_unknown_drum_is_refused(self):
        with pytest.raises(ScoreError, match="no drum of a bass line"):
            read_part(self.pair(), drum="6")

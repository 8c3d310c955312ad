"""What an organizer corrects of a reading: strokes, sheet and what is said of it agree afterwards."""

import re
from xml.etree.ElementTree import fromstring

import music21
import pytest

from submissions.engine.music.engraving.as_corrected import slashes_for, write_corrections
from submissions.engine.music.engraving.bar_boxes import bar_boxes
from submissions.engine.music.engraving.engrave import engrave
from submissions.engine.music.score import Corrections, read_part, read_score
from submissions.engine.music.score.drums import DOUBTFUL_HEADS, HEADS, ORDINARY_HEADS
from submissions.engine.music.score.intake import open_tree
from submissions.engine.music.sheet_words import words_of
from tests.engine.music.page import bar, document, first, listed, note, page, part, rest, tempo

ROLL = page(bar(1, first(tempo("120")), note("q", tremolo=(3, "single")), note("q"), note("h", tremolo=(2, "single"))))


def corrected(source: bytes, rolls: dict) -> list:
    return list(read_part(source, rolls=rolls).rolls)


class TestARoll:
    def test_tells_what_was_read_how_long_it_lasts_and_which_notes_it_is(self):
        one, two = read_part(ROLL).rolls
        assert (one.bar, one.count, one.strokes_a_note, one.read_as, one.corrected) == (1, "1", 8, 8, False)
        assert (one.length_s, one.elements, two.elements) == (0.5, (0,), (2,))

    @pytest.mark.parametrize("strokes", [0, 1, 4, 5, 7, 16])
    def test_is_struck_as_corrected(self, strokes):
        read = read_part(ROLL, rolls={(1, "1"): strokes})
        struck = [s for s in read.strokes if s.at_q < 1 and s.scored]
        assert len(struck) == strokes
        assert (read.rolls[0].read_as, read.rolls[0].corrected) == (8, True)
        assert [r.corrected for r in read.rolls[1:]] == [False]

    def test_of_two_notes_in_alternation_is_corrected_too(self):
        pair = page(
            bar(1, first(), note("h", tremolo=(1, "start")), note("h", "E5", tremolo=(1, "stop"))), name="Snare"
        )
        assert read_part(pair).rolls[0].read_as == 8
        again = read_part(pair, rolls={(1, "1"): 12})
        assert (again.rolls[0].strokes_a_note, again.rolls[0].elements) == (12, (0, 1))
        assert len([s for s in again.strokes if s.scored]) == 12

    def test_of_one_part_leaves_another_part_with_the_same_place_alone(self):
        two = document(
            listed("P1", "Snare") + listed("P2", "Snare 2"),
            part(bar(1, first(), note("q", tremolo=(1, "single")), rest("q"), rest("h"))),
            part(bar(1, first(), note("q", tremolo=(1, "single")), rest("q"), rest("h")), part_id="P2"),
        )
        score = read_score(two, corrected={"P2": Corrections(rolls={(1, "1"): 3})})
        assert [len(one.scored()) for one in score.parts] == [2, 3]

    def test_in_two_voices_that_differ_is_told(self):
        both = page(
            bar(1, first(), note("h", "C5", tremolo=(1, "single")), rest("h"), "<backup><duration>20160</duration></backup>",
                note("q", "E5", voice=2, tremolo=(1, "single")), rest("q", voice=2), rest("h", voice=2)), name="Quads",
        )  # fmt: skip
        assert any("two rolls begin on 1 and differ" in says for says in read_part(both).warnings)

    def test_says_its_figures_in_singular_and_plural(self):
        says = [roll.says for roll in read_part(page(bar(1, first(), note("e", tremolo=(1, "single")), note("e", tremolo=(2, "single")), rest("q"), rest("h")))).rolls]  # fmt: skip
        assert says == ["1 slash and 1 beam: 2 strokes", "2 slashes and 1 beam: 4 strokes"]


class TestTheDrumsOfALine:
    LINE = page(bar(1, first(), note("q", "E5"), note("q", "C5"), note("q", "A4"), note("q", "F4")), name="Bass Drums")

    def test_are_told_with_their_bars_and_what_was_read(self):
        place = read_part(self.LINE).drum_map[0]
        assert (place.key, place.drums, place.read_as, place.bars) == ("E5", (1,), (1,), (1,))

    def test_name_the_bar_with_most_of_their_notes_first(self):
        line = page(
            bar(1, first(), note("w", "E5"), note("w", "C5", chord=True)),
            bar(2, note("q", "C5"), note("q", "C5"), note("h", "E5")),
            name="Bass Drums",
        )
        assert {p.key: p.bars for p in read_part(line).drum_map} == {"E5": (1, 2), "C5": (2, 1)}

    def test_are_struck_as_corrected_and_keep_what_was_read(self):
        read = read_score(self.LINE, corrected={"P1": Corrections(drums={"E5": (1, 2, 3), "F4": ()})}).parts[0]
        assert sorted(s.drum for s in read.strokes) == ["bass-1", "bass-2", "bass-2", "bass-3", "bass-3"]
        assert {p.key: p.read_as for p in read.drum_map}["E5"] == (1,)

    def test_of_tenors_are_corrected_too(self):
        quads = page(bar(1, first(), note("q", "E5"), note("q", "C5"), note("h", "A4")), name="Tenors")
        read = read_score(quads, corrected={"P1": Corrections(drums={"C5": (4,)})}).parts[0]
        assert [s.drum for s in read.strokes] == ["tenor-1", "tenor-4", "tenor-3"]


class TestTheSheet:
    def test_has_slashes_that_say_the_corrected_strokes(self):
        """Read again without any correction, the changed page gives the corrected strokes: sheet and ear agree."""
        for strokes in (2, 4, 8, 16):
            root = open_tree(ROLL)
            write_corrections(root, corrected(ROLL, {(1, "1"): strokes}))
            tremolo = root.find(".//note/notations/ornaments/tremolo")
            assert tremolo is not None
            assert 2 ** int(tremolo.text or 0) == strokes
            assert root.find(".//direction/direction-type/words") is None

    @pytest.mark.parametrize("strokes", [5, 7, 12])
    def test_says_in_words_what_slashes_cannot(self, strokes):
        root = open_tree(ROLL)
        write_corrections(root, corrected(ROLL, {(1, "1"): strokes}))
        assert [words.text for words in root.iter("words")] == [f"{strokes}×"]

    def test_shows_a_buzz_as_a_buzz_and_a_plain_note_as_plain(self):
        root = open_tree(ROLL)
        write_corrections(root, corrected(ROLL, {(1, "1"): 0, (1, "3"): 1}))
        kinds = [tremolo.get("type") for tremolo in root.iter("tremolo")]
        assert kinds == ["unmeasured"]

    def test_leaves_a_part_without_corrections_as_it_is(self):
        root, before = open_tree(ROLL), open_tree(ROLL)
        write_corrections(root, read_part(ROLL).rolls)
        assert [t.text for t in root.iter("tremolo")] == [t.text for t in before.iter("tremolo")]

    def test_names_bar_and_count_of_what_was_corrected(self):
        read = read_part(ROLL, rolls={(1, "1"): 5})
        assert words_of(read, 2).rolls[0] == "bar 1 on 1: 5 strokes, set by the organizer"

    def test_is_drawn_with_the_correction_and_every_bar_has_a_box(self):
        read = read_part(ROLL, rolls={(1, "1"): 5})
        engraving = engrave(open_tree(ROLL), "P1", None, read.rolls)
        assert "5×" in engraving.phone_svg
        boxes, size = bar_boxes(engraving.phone_svg), fromstring(engraving.phone_svg).get("viewBox", "").split()
        assert list(boxes) == ["bar-1"]
        x, y, width, height = boxes["bar-1"]
        assert x >= 0 and y >= 0 and x + width <= float(size[2]) + 3 and height > 100

    @pytest.mark.parametrize(
        ("strokes", "length", "beams", "slashes"),
        [(2, 1, 0, 1), (8, 1, 0, 3), (8, 2, 0, 2), (4, 0.5, 1, 2), (1, 1, 0, 0), (6, 1.5, 0, 2), (3, 1, 0, None)],
    )
    def test_counts_slashes_by_length_and_beams(self, strokes, length, beams, slashes):
        """Slashes stand for beams: each one halves the note value that is repeated (MusicXML 4.0, tremolo)."""
        from fractions import Fraction

        assert slashes_for(strokes, Fraction(length), beams) == slashes


class TestNoteheads:
    def test_of_the_standard_all_have_a_reading(self):
        """The names of MusicXML 4.0's notehead-value, as music21 lists them, are all read or told."""
        assert len(music21.note.noteheadTypeNames) == 28
        assert set(music21.note.noteheadTypeNames) - set(HEADS) - ORDINARY_HEADS - DOUBTFUL_HEADS == set()

    def test_are_drawn_as_they_are_scored(self):
        """SMuFL code points by their published names: X, diamond, circled X, plus, ordinary black, slash."""
        drawn = {"rim": {"E0A9"}, "shot": {"E0DB"}, "cross": {"E0B3", "E0AF"}, "": {"E0A4", "E101"}}
        heads = sorted(music21.note.noteheadTypeNames)
        bars = [
            bar(n + 1, first() if n == 0 else "", *(note("q", head=head) for head in heads[4 * n : 4 * n + 4]))
            for n in range(7)
        ]
        source = page(*bars)
        techniques = [stroke.technique for stroke in read_part(source).strokes]
        svg = engrave(open_tree(source), "P1").phone_svg
        found = re.findall(r'class="notehead"[^>]*>(?:<title>.*?</title>)?<use xlink:href="#(E\w+)-', svg)
        assert len(found) == len(techniques) == len(heads) == 28
        for head, technique, code in zip(heads, techniques, found, strict=True):
            assert code in drawn[technique], head

    @pytest.mark.parametrize("head", ["square", "cluster", "none", "other", "splat"])
    def test_that_the_trade_does_not_read_are_struck_and_told(self, head):
        read = read_part(page(bar(1, first(), note("q", head=head), note("q"), note("h", head="x"))))
        assert [s.technique for s in read.strokes] == ["", "", "rim"]
        assert [says for says in read.warnings if "notehead" in says] and f"“{head}" in " ".join(read.warnings)

    def test_of_singing_are_struck_like_any_other(self):
        read = read_part(page(bar(1, first(), note("h", head="do"), note("h", head="fa up"))))
        assert len(read.strokes) == 2 and not any("notehead" in says for says in read.warnings)

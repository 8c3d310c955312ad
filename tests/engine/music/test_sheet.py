"""The sheet as PDF: what is on it, its paper and fonts, where pages turn; the cautions' figures."""

import io
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from submissions.engine.errors import EngineError
from submissions.engine.music import cautions
from submissions.engine.music.engraving.engrave import Engraving, System, engrave
from submissions.engine.music.score import read_part
from submissions.engine.music.score.intake import open_tree
from submissions.engine.music.sheet import HEADING_MM, LINE_GAP_MM, SheetText, sheet_pdf, turns_of
from submissions.engine.music.sheet_words import credited, words_of
from submissions.engine.rehearsal.cadence import cadence

from .pages import note, score

WORDS = SheetText(
    title="Großer Übermut",
    part="Bass 2",
    tempo="116 quarters a minute, count-off 2 bars",
    credit="Arranged by Ada Example",
    tips=((2, "Stay low."), (77, "No such bar.")),
    rudiments=("single paradiddle (16)", "flam (20)"),
    demand="7.7 strokes a second.",
    rights="The organizer states: this may be shared.",
)


def pdf_of(source: bytes, words=WORDS, paper="a4") -> PdfReader:
    return PdfReader(io.BytesIO(sheet_pdf(engrave(open_tree(source), "P1"), words, paper)))


def text_of(pdf: PdfReader) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pdf.pages))


@pytest.fixture(scope="module")
def pdf() -> PdfReader:
    return pdf_of(score(*[note() * 4] * 8))


class TestThePaper:
    @pytest.mark.parametrize(("paper", "width_mm", "height_mm"), [("a4", 210, 297), ("us-letter", 215.9, 279.4)])
    def test_has_the_published_size(self, paper, width_mm, height_mm):
        """ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch."""
        box = pdf_of(score(note() * 4), paper=paper).pages[0].mediabox
        assert float(box.width) / 72 * 25.4 == pytest.approx(width_mm, abs=0.1)
        assert float(box.height) / 72 * 25.4 == pytest.approx(height_mm, abs=0.1)

    def test_is_one_of_those_the_desk_has(self):
        with pytest.raises(EngineError, match="no paper called foolscap"):
            pdf_of(score(note() * 4), paper="foolscap")


class TestTheWords:
    @pytest.mark.parametrize(
        "words",
        [
            WORDS.title, WORDS.part, WORDS.tempo, WORDS.credit, "bar 2 Stay low.", "Bar 77: No such bar.", WORDS.demand,
            WORDS.rights, "single paradiddle (16); flam (20).", "NIOSH 98-126", "WHO-ITU H.870", "pain is not practice",
            "Local law and licensed professionals come first", "page 1 of 1",
        ],
    )  # fmt: skip
    def test_stand_on_the_sheet(self, pdf, words):
        assert words in text_of(pdf)

    def test_say_what_could_not_be_read(self):
        words = replace(WORDS, unread=("bar 12: a slash is not read; strokes there are missing",))
        assert "bar 12: a slash is not read" in text_of(pdf_of(score(note() * 4), words))

    def test_number_the_bars_at_the_start_of_each_line(self, pdf):
        assert re.search(r"\b5\b", text_of(pdf))

    def test_of_a_part_alone_give_tempo_unit_and_special_heads(self):
        part = read_part(score(note(head="x") + note() * 3, tempo=96))
        words = words_of(part, 1)
        assert words.tempo == "96 quarters a minute, count-off 1 bar"
        assert words.heads == ("x is on the rim",)

    def test_of_a_snare_part_suggest_rudiments_with_their_bars(self):
        words = words_of(read_part(cadence()[0].musicxml_text.encode(), "P1"), 2)
        assert "Single Paradiddle (16) in bars 2, 7" in words.rudiments
        assert words.demand.startswith("Advanced: up to 7.5 notes a second")
        assert any("2 strokes" in says for says in words.rolls)

    def test_of_tenors_say_where_hands_cross(self):
        words = words_of(read_part(cadence()[0].musicxml_text.encode(), "P2"), 2)
        assert words.crossings == ("bar 2 on 1e, 1&, 1a, 2", "bar 7 on 4")

    def test_take_credit_and_rights_from_the_score_where_the_call_gives_none(self):
        identification = (
            b"<identification><creator type='composer'>Ada Example</creator><creator type='arranger'>Ben Example</creator>"
            b"<rights>To be shared within the line</rights></identification><part-list>"
        )
        tree = open_tree(score(note() * 4).replace(b"<part-list>", identification))
        words = credited(SheetText("T", "Snare", "116"), tree)
        assert words.credit == "Composed by Ada Example, Arranged by Ben Example"
        assert words.rights == "To be shared within the line"
        assert credited(WORDS, tree) == WORDS

    def test_of_a_bass_chair_name_its_drum(self):
        part = read_part(cadence()[0].musicxml_text.encode(), "P3", "4")
        assert words_of(part, 2).part == "Bass 4"


class TestTheFonts:
    def test_are_all_inside_the_file(self, pdf):
        fonts = [font.get_object() for page in pdf.pages for font in page["/Resources"]["/Font"].values()]
        inner = [
            f["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            if "/DescendantFonts" in f
            else f["/FontDescriptor"]
            for f in fonts
        ]
        assert fonts
        assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor.get_object()) for descriptor in inner)

    def test_have_every_letter_of_the_demo_and_of_european_names(self):
        """A letter that no font has would come out of the PDF as nothing or as the replacement sign."""
        words = replace(WORDS, credit="Åse Ørsted, Łukasz Żak, Ödön Őry, Ελένη, Юлия, “ß” – ½ × 3 …")
        found = text_of(pdf_of(score(note() * 4, note(hand="R") + note(hand="L") * 3), words))
        assert words.credit in found
        assert "\ufffd" not in found
        assert "\x00" not in found


class TestThePageTurns:
    def systems(self, count, height=24.0, resting=()) -> tuple[System, ...]:
        return tuple(System("", (4 * n + 1, 4 * n + 4), height, n in resting) for n in range(count))

    def test_are_not_needed_for_a_short_part(self):
        assert turns_of(self.systems(6), WORDS, 269) == frozenset()

    def test_come_when_the_page_is_full(self):
        fits = int((269 - HEADING_MM) / (24 + LINE_GAP_MM))
        assert turns_of(self.systems(fits + 2), replace(WORDS, tips=()), 269) == {fits - 1}

    def test_come_earlier_at_a_rest_near_the_foot_of_the_page(self):
        fits = int((269 - HEADING_MM) / (24 + LINE_GAP_MM))
        assert turns_of(self.systems(fits + 2, resting={fits - 2}), replace(WORDS, tips=()), 269) == {fits - 2}

    def test_do_not_leave_half_a_page_empty_for_a_rest(self):
        fits = int((269 - HEADING_MM) / (24 + LINE_GAP_MM))
        assert turns_of(self.systems(fits + 2, resting={1}), replace(WORDS, tips=()), 269) == {fits - 1}

    def test_of_a_long_part_come_where_the_typesetter_has_room(self):
        """The pages of the PDF are those that were planned: no line slips over by itself."""
        source = score(*[note("eighth", 2) * 8] * 70)
        engraved = engrave(open_tree(source), "P1")
        tips = tuple((bar, "Relax. " * 30) for bar in range(1, 70, 9))
        for paper, height in (("a4", 297 - 28), ("us-letter", 279.4 - 28)):
            words = replace(WORDS, tips=tips)
            turns = turns_of(engraved.systems, words, height)
            pages = PdfReader(io.BytesIO(sheet_pdf(engraved, words, paper))).pages
            lines = [0, *(turn + 1 for turn in sorted(turns)), len(engraved.systems)]
            first_bars = [engraved.systems[start].bars[0] for start in lines[:-1]]
            texts = [page.extract_text() for page in pages]
            assert len(pages) in (len(first_bars), len(first_bars) + 1)  # words after the music may need one more
            for bar, text in list(zip(first_bars, texts, strict=False))[1:]:
                assert re.search(rf"\b{bar}\b", text)


def test_two_runs_set_the_same_bytes():
    engraved = engrave(open_tree(score(note() * 4)), "P1")
    assert isinstance(engraved, Engraving)
    assert sheet_pdf(engraved, WORDS) == sheet_pdf(engraved, WORDS)


class TestTheCautions:
    @pytest.mark.parametrize(
        ("level", "minutes"),
        [(85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15), (103, 7.5), (106, 3.75), (110, 1.49)],
    )
    def test_halve_the_time_every_three_decibels(self, level, minutes):
        """NIOSH 98-126: 85 dBA for 8 hours, 3 dB exchange rate."""
        assert cautions.minutes_at(level) == pytest.approx(minutes, abs=0.005)

    def test_name_the_figures_of_their_sources(self):
        said = " ".join(cautions.ON_SHEET)
        assert "85 dBA for 8 hours" in said
        assert "100 dBA for 15 minutes" in said
        assert "80 dBA for 40 hours a week" in said  # WHO-ITU H.870: 0.2 Pa squared times 40 h is 1.6 Pa2h
        assert "licensed" in said

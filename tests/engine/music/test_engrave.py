"""The engraving: every sign is drawn, a bass chair's notes stand out, nothing is clipped, lines are evenly filled."""

import re

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from submissions.engine.errors import ScoreError
from submissions.engine.music.engraving.beams import beam_and_stem
from submissions.engine.music.engraving.engrave import _draw, engrave
from submissions.engine.music.engraving.lines import PHONE_SPACES, PRINT_WIDTH_MM, STAFF_MM, lines_of
from submissions.engine.music.engraving.one_part import OTHERS_GRAY
from submissions.engine.music.engraving.own_notes import own_notes
from submissions.engine.music.score import read_part
from submissions.engine.music.score.intake import open_tree
from submissions.engine.music.sheet import sheet_pdf
from submissions.engine.music.sheet_words import words_of
from submissions.engine.rehearsal.cadence import cadence

from .generated import FORMS, scores
from .pages import note, score

# SMuFL code points: noteheads, flags and strokes by their published names.
BLACK, HALF, X_HEAD, DIAMOND, CIRCLE_X = "E0A4", "E0A3", "E0A9", "E0DB", "E0B3"
TREMOLO = {1: "E220", 2: "E221", 3: "E222"}
BUZZ = "E22A"  # buzzRoll
ACCENT = "E4A0"
GRACE_SLASH = "graceSlash"


def drawn(svg: str, code: str) -> int:
    return len(re.findall(rf'<use xlink:href="#{code}-', svg))


def print_svg(source: bytes, part_id="P1") -> str:
    return "".join(system.svg for system in engrave(open_tree(source), part_id).systems)


class TestTheSigns:
    def test_draw_a_flam_before_its_stroke(self):
        svg = print_svg(score(note(grace=True, kind="eighth") + note() * 4))
        small = re.findall(r'<use xlink:href="#E0A4-[^"]*" transform="translate\(\d+, \d+\) scale\(([\d.]+)', svg)
        assert [float(scale) < 0.6 for scale in small] == [True, False, False, False, False]
        assert drawn(svg, BLACK) == 5
        assert len(re.findall(r'class="stem"', svg)) == 5

    def test_draw_a_drag_as_two_beamed_graces(self):
        svg = print_svg(score(note(grace=True, kind="eighth") * 2 + note() * 4))
        assert drawn(svg, BLACK) == 6
        assert svg.count('class="beam"') == 1

    @pytest.mark.parametrize("slashes", [1, 2, 3])
    def test_draw_as_many_slashes_as_are_written(self, slashes):
        svg = print_svg(score(note(tremolo=slashes) + note() * 3))
        assert {n: drawn(svg, code) for n, code in TREMOLO.items()} == {n: int(n == slashes) for n in TREMOLO}

    def test_draw_a_buzz_as_a_z_on_the_stem(self):
        assert drawn(print_svg(score(note(tremolo=0) + note() * 3)), BUZZ) == 1

    @pytest.mark.parametrize(
        ("head", "code"),
        [("", BLACK), ("x", X_HEAD), ("diamond", DIAMOND), ("circle-x", CIRCLE_X), ("slashed", DIAMOND)],
    )
    def test_tell_special_noteheads_apart(self, head, code):
        assert drawn(print_svg(score(note(head=head) + note(rest=True) * 3)), code) == 1

    def test_draw_accents_above_and_sticking_below(self):
        svg = print_svg(score(note(accent=True, hand="R") + note(hand="L") + note() * 2))
        accent = int(re.search(rf'<use xlink:href="#{ACCENT}-[^"]*" transform="translate\(\d+, (\d+)\)', svg)[1])
        staff = int(re.search(r'class="staff">\s*<path d="M\d+ (\d+)', svg)[1])
        letters = re.findall(
            r'<text x="\d+" y="(\d+)"[^>]*>(?:(?!</text>).)*?<tspan[^>]*>([RL])</tspan>', svg, re.DOTALL
        )
        assert accent < staff
        assert [letter for _, letter in letters] == ["R", "L"]
        assert all(int(y) > staff for y, _ in letters)

    def test_draw_the_tempo_without_a_music_font(self):
        """The note sign is a path: neither a browser nor the typesetter has the music font."""
        svg = print_svg(score(note() * 4, tempo=132))
        assert "132" in svg
        assert "Leipzig" not in svg
        assert not re.search("[\ue000-\uf8ff]", svg)

    def test_keep_words_as_text_never_as_markup(self):
        words = "<direction><direction-type><words>&lt;script&gt;edge &amp; rim&lt;/script&gt;</words></direction-type></direction>"
        svg = print_svg(score(words + note() * 4))
        assert "<script" not in svg
        assert "edge &amp; rim" in svg

    def test_give_every_sheet_the_tempo_of_the_scores_first_part(self):
        source = cadence()[0].musicxml_text.encode()
        for part in ("P1", "P2", "P3", "P4"):
            assert print_svg(source, part).count('class="tempo"') == 1

    def test_draw_every_bar_of_a_multi_bar_rest(self):
        style = "<attributes><measure-style><multiple-rest>3</multiple-rest></measure-style></attributes>"
        rest = '<note><rest measure="yes"/><duration>16</duration><voice>1</voice></note>'
        engraved = engrave(open_tree(score(note() * 4, style + rest, rest, rest, note() * 4)), "P1")
        assert [name for _, name in engraved.bar_ids] == [f"bar-{n}" for n in range(1, 6)]
        assert engraved.phone_svg.count('class="measure"') == 5

    def test_close_the_part_with_a_thick_line_but_keep_a_repeat(self):
        repeat = '<barline location="right"><bar-style>light-heavy</bar-style><repeat direction="backward"/></barline>'
        for ending, dots in (("", 0), (repeat, 2)):
            lines = re.findall(r'class="barLine">(.*?)</g>', print_svg(score(note() * 4, note() * 4 + ending)))
            assert [line.count("<path") for line in lines] == [1, 2]
            assert drawn(lines[-1], "E044") == dots  # SMuFL repeatDot

    def test_leave_the_score_that_was_given_unchanged(self):
        from xml.etree.ElementTree import tostring

        tree = open_tree(cadence()[0].musicxml_text.encode())
        before = tostring(tree)
        engrave(tree, "P3", frozenset({0}))
        assert tostring(tree) == before

    def test_refuse_a_part_that_is_not_there(self):
        with pytest.raises(ScoreError, match="no part P9"):
            engrave(open_tree(score(note() * 4)), "P9")


class TestADamagedScore:
    def test_that_makes_the_engraver_run_away_is_refused_in_bounded_time(self):
        """A note a million octaves up: without limits the engraver draws ledger lines for ever."""
        bar = note().replace("<display-octave>5<", "<display-octave>999999<") + note() * 3
        with pytest.raises(ScoreError, match="cannot draw this part"):
            _draw(score(bar).decode(), False, cpu_s=3)

    def test_with_a_place_off_the_staff_is_drawn_all_the_same(self):
        bar = note().replace("<display-octave>5<", "<display-octave>999999<") + note() * 3
        assert drawn(print_svg(score(bar)), BLACK) == 4

    def test_that_is_no_score_for_the_engraver_is_refused(self):
        with pytest.raises(ScoreError):
            _draw("<score-partwise><part-list/></score-partwise>", False)


class TestAnyScore:
    @pytest.mark.parametrize("form", FORMS)
    @settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(data=st.data())
    def test_that_the_reader_takes_comes_out_as_a_sheet_with_every_bar(self, form, data):
        """Scores generated with every construct the reader knows: well-formed pictures, all bars, a PDF."""
        made = data.draw(scores(form))
        part = read_part(made.xml)
        engraved = engrave(open_tree(made.xml), part.part_id)
        for svg in (engraved.phone_svg, *(system.svg for system in engraved.systems)):
            fromstring(svg)
        assert {bar.number for bar in part.bars} <= {number for number, _ in engraved.bar_ids}
        assert sheet_pdf(engraved, words_of(part, 2)).startswith(b"%PDF")


class TestABassChair:
    RUN = "".join(note("eighth", 2, place) for place in ("G5", "E5", "C5", "A4", "F4", "A4", "C5", "E5"))

    def gray_and_black(self, svg: str) -> tuple[int, int]:
        heads = re.findall(r'<g[^>]*class="notehead"[^>]*>', svg)
        notes = re.split(r'<g id="[^"]*" class="note"', svg)[1:]
        gray = sum(OTHERS_GRAY in piece.split('class="stem"')[0] for piece in notes)
        return gray, len(heads) - gray

    def test_sees_its_own_notes_in_black_and_the_others_in_gray(self):
        source = score(self.RUN, name="Bass Drums")
        tree, part = open_tree(source), read_part(source, "P1", "2")
        svg = "".join(s.svg for s in engrave(tree, "P1", own_notes(tree, part)).systems)
        assert len(part.strokes) == 2
        assert self.gray_and_black(svg) == (6, 2)

    def test_keeps_the_accent_of_a_unison_black(self):
        unison = note(accent=True, place="F4") + "".join(note(place=p, chord=True) for p in ("A4", "C5", "E5", "G5"))
        source = score(unison + note(rest=True) * 3, self.RUN, name="Bass Drums")
        tree, part = open_tree(source), read_part(source, "P1", "3")
        svg = engrave(tree, "P1", own_notes(tree, part)).systems[0].svg
        sign = svg.split('class="artic"')[1].split("</g>")[0]
        assert OTHERS_GRAY not in sign

    def test_on_one_drum_plays_every_note(self):
        source = score(self.RUN, name="Bass Drums")
        tree = open_tree(source)
        assert own_notes(tree, read_part(source, "P1", "all")) is None
        assert OTHERS_GRAY not in print_svg(source)

    @pytest.mark.parametrize("drum", "12345")
    def test_of_the_demo_cadence_has_as_many_black_notes_as_it_strikes(self, drum):
        """Notes on the page, counted by place; the demo has no repeats, so each is struck once (rolls more often)."""
        source = cadence()[0].musicxml_text.encode()
        tree, part = open_tree(source), read_part(source, "P3", drum)
        struck = sum(stroke.kind in ("stroke", "grace", "buzz") for stroke in part.strokes)
        assert len(own_notes(tree, part)) == struck


class TestAFileWithoutBeams:
    """Exports that carry no beams would come out as flags; notes of one beat are beamed, stems stand up."""

    def beams(self, *bars, **options) -> list[list[str]]:
        root = open_tree(score(*bars, **options))
        part = root.find("part")
        for stem in [s for n in part.iter("note") for s in n.findall("stem")]:
            stem.text = "up"
        beam_and_stem(part)
        return [[b.text for b in n.findall("beam")] for n in part.iter("note") if n.find("rest") is None]

    def test_joins_the_notes_of_a_beat(self):
        found = self.beams(note("16th", 1) * 4 + note("eighth", 2) * 2 + note() * 2)
        assert found[:4] == [["begin"] * 2, ["continue"] * 2, ["continue"] * 2, ["end"] * 2]
        assert found[4:] == [["begin"], ["end"], [], []]

    def test_hooks_a_lone_sixteenth_beside_a_dotted_eighth(self):
        found = self.beams(note("eighth", 3) + note("16th", 1) + note("16th", 1) + note("eighth", 3) + note() * 2)
        assert found[:4] == [["begin"], ["end", "backward hook"], ["begin", "forward hook"], ["end"]]

    def test_breaks_at_a_rest_and_at_the_beat(self):
        found = self.beams(
            note("eighth", 2) + note("eighth", 2, rest=True) + note("eighth", 2) * 3 + note("eighth", 2) + note()
        )
        assert found == [[], ["begin"], ["end"], ["begin"], ["end"], []]

    def test_joins_three_eighths_in_six_eight(self):
        bar = note("eighth", 2) * 6
        data = score(bar).replace(
            b"<beats>4</beats><beat-type>4</beat-type>", b"<beats>6</beats><beat-type>8</beat-type>"
        )
        part = open_tree(data).find("part")
        beam_and_stem(part)
        assert [n.findtext("beam") for n in part.iter("note")] == ["begin", "continue", "end"] * 2

    def test_counts_a_pickup_from_its_end(self):
        part = open_tree(score(note("eighth", 2) * 3, note() * 4)).find("part")
        beam_and_stem(part)
        assert [n.findtext("beam") for n in part.iter("note")][:3] == [None, "begin", "end"]

    def test_keeps_the_beams_a_file_has(self):
        source = cadence()[0].musicxml_text.encode()
        part = open_tree(source).find("part")
        before = [b.text for b in part.iter("beam")]
        beam_and_stem(part)
        assert before
        assert [b.text for b in part.iter("beam")] == before


class TestTheLines:
    WIDTH = PRINT_WIDTH_MM / STAFF_MM * 4

    def test_are_whole_fours_where_they_fit(self):
        assert lines_of([25.0] * 12, self.WIDTH, "print", False) == ((0, 4), (4, 8), (8, 12))

    def test_are_fewer_and_even_where_the_music_is_dense(self):
        assert lines_of([42.0] * 9, self.WIDTH, "print", False) == ((0, 3), (3, 6), (6, 9))

    def test_take_six_bars_of_long_light_parts(self):
        assert lines_of([12.0] * 36, self.WIDTH, "print", False)[0] == (0, 6)

    def test_do_not_count_a_pickup(self):
        assert lines_of([8.0] + [22.0] * 8, self.WIDTH, "print", True) == ((0, 5), (5, 9))

    def test_give_a_bar_wider_than_the_page_a_line_of_its_own(self):
        assert lines_of([20.0, 400.0, 20.0], self.WIDTH, "print", False) == ((0, 1), (1, 2), (2, 3))

    @given(st.lists(st.floats(5, 300), min_size=1, max_size=60), st.sampled_from(["print", "phone"]), st.booleans())
    def test_hold_every_bar_once_in_order(self, weights, kind, pickup):
        lines = lines_of(weights, self.WIDTH if kind == "print" else PHONE_SPACES, kind, pickup)
        assert [n for start, stop in lines for n in range(start, stop)] == list(range(len(weights)))


CLIPPED = """
() => [...document.querySelectorAll("body > div")].flatMap((holder) => {
  const svg = holder.querySelector("svg"), frame = svg.getBoundingClientRect();
  return [...svg.querySelectorAll("use, path, polygon, text, rect, ellipse")].filter((node) => {
    const box = node.getBoundingClientRect();
    return !node.closest("defs, .placeholder") && (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1);
  }).map((node) => `${holder.id}: ${node.parentNode.getAttribute("class")}`);
})
"""


@pytest.mark.browser
class TestThePicture:
    def test_has_nothing_outside_its_frame_for_print_or_phone(self, browser):
        """All twelve parts of the demo cadence, two of them as bass chairs, every line of print and the phone's picture."""
        page = browser.new_page(viewport={"width": 900, "height": 800})
        for segment, bass in zip(cadence(), ("1", "5", "all"), strict=True):
            source = segment.musicxml_text.encode()
            tree = open_tree(source)
            for part_id, drum in (("P1", "all"), ("P2", "all"), ("P3", bass), ("P4", "all")):
                engraved = engrave(tree, part_id, own_notes(tree, read_part(source, part_id, drum)))
                pictures = [*(s.svg for s in engraved.systems), engraved.phone_svg]
                page.set_content("".join(f'<div id="{part_id}-{n}">{svg}</div>' for n, svg in enumerate(pictures)))
                assert page.evaluate(CLIPPED) == []

    def test_shows_a_staff_of_at_least_22_pixels_on_a_phone(self, browser):
        source = cadence()[0].musicxml_text.encode()
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.set_content(
            f'<body style="margin:0"><div style="width:366px">{engrave(open_tree(source), "P1").phone_svg}</div>'
        )
        lines = page.evaluate(
            "[...document.querySelector('g.staff').children].filter(n => n.tagName === 'path')"
            ".map(n => n.getBoundingClientRect().top)"
        )
        assert len(lines) == 5
        assert max(lines) - min(lines) > 22

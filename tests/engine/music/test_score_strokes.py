"""What the page asks for, stroke by stroke: expectations written by hand from MusicXML 4.0's own text and the trade."""

from fractions import Fraction

import pytest

from submissions.engine.music.score import read_part

from . import page as p

F = Fraction


def read(*notes: str, name: str = "Snare", tempo: str = "120", **more):
    return read_part(p.page(p.bar(1, p.first(p.tempo(tempo)), *notes), name=name), **more)


def kinds(part) -> list[tuple[str, Fraction]]:
    return [(s.kind, s.at_q) for s in part.strokes]


class TestGraces:
    def test_a_flam_is_one_event_for_scoring_and_two_for_listening(self):
        part = read(p.note("e", grace=True), p.note("q"), p.rest("q"), p.rest("h"))
        grace, stroke = part.strokes
        assert (grace.kind, stroke.kind) == ("grace", "stroke")
        assert grace.at_s == pytest.approx(-0.028, abs=1e-12)
        assert len(part.scored()) == 1

    def test_the_graces_of_a_ruff_come_28_ms_apart(self):
        part = read(p.rest("q"), p.note("s", grace=True) * 3, p.note("q"), p.rest("h"))
        assert [round(s.at_s - 0.5, 6) for s in part.strokes] == [-0.084, -0.056, -0.028, 0.0]
        assert [s.kind for s in part.strokes] == ["grace"] * 3 + ["stroke"]

    def test_a_rolled_grace_is_a_drag(self):
        part = read(p.note("e", grace=True, tremolo=(1, "single")), p.note("w"))
        assert [round(s.at_s, 6) for s in part.strokes] == [-0.056, -0.028, 0.0]

    def test_graces_take_no_time_from_the_bar(self):
        part = read(p.note("e", grace=True) + p.note(), p.note("e", grace=True) + p.note(), p.note() * 2)
        assert [s.at_q for s in part.scored()] == [0, 1, 2, 3]

    def test_a_chord_of_graces_comes_at_once(self):
        chord = p.note("e", "E5", grace=True) + p.note("e", "C5", grace=True, chord=True)
        part = read(chord + p.note("q", "E5") + p.note("q", "C5", chord=True), p.rest("q"), p.rest("h"), name="Tenors")
        assert [(s.drum, round(s.at_s, 6)) for s in part.strokes if s.kind == "grace"] == [
            ("tenor-1", -0.028),
            ("tenor-2", -0.028),
        ]

    def test_a_grace_at_the_end_of_a_bar_belongs_to_the_next_stroke(self):
        one = p.bar(1, p.first(p.tempo("120")), p.note() * 4, p.note("e", grace=True))
        part = read_part(p.page(one, p.bar(2, p.note() * 4)))
        grace = next(s for s in part.strokes if s.kind == "grace")
        assert (grace.bar, round(grace.at_s, 6)) == (2, 1.972)

    def test_a_grace_before_a_rest_is_told(self):
        part = read(p.note("e", grace=True), p.rest("q"), p.note() * 3)
        assert [s.kind for s in part.strokes] == ["grace"] + ["stroke"] * 3
        assert [(u.bar, u.element) for u in part.unread] == [(1, "grace")]

    def test_a_tie_from_a_grace_does_not_swallow_its_stroke(self):
        """Programs let slurs of graces come out as ties."""
        part = read(p.note("e", grace=True, tie="start"), p.note("q", tie="stop"), p.rest("q"), p.rest("h"))
        assert [s.kind for s in part.strokes] == ["grace", "stroke"]


class TestTies:
    def test_a_tied_note_is_not_struck_again(self):
        part = read(p.note("q", tie="start"), p.note("q", tie="stop"), p.note("h"))
        assert kinds(part) == [("stroke", 0), ("stroke", 2)]

    def test_a_tie_holds_over_a_barline_and_over_several_notes(self):
        one = p.bar(1, p.first(), p.note("h"), p.note("h", tie="start"))
        two = p.bar(2, p.note("q", tie="stop start"), p.note("q", tie="stop"), p.note("h"))
        assert [s.at_q for s in read_part(p.page(one, two)).strokes] == [0, 2, 6]

    def test_a_tie_into_both_endings_holds_in_both(self):
        one = p.bar(1, p.first(), p.repeat("forward"), p.note("h"), p.note("h", tie="start"))
        first = p.bar(2, p.ending("1", "start"), p.note("h", tie="stop"), p.note("h"), p.ending("1", "stop", back=True))
        second = p.bar(3, p.ending("2", "start"), p.note("h", tie="stop"), p.note("h"), p.ending("2", "stop"))
        assert [s.at_q for s in read_part(p.page(one, first, second)).strokes] == [0, 2, 6, 8, 10, 14]

    def test_a_tie_from_nowhere_is_struck_and_told(self):
        part = read(p.note("h"), p.note("h", tie="stop"))
        assert [s.at_q for s in part.strokes] == [0, 2]
        assert "bar 1: a tie into a note comes from nowhere; the note is struck" in part.warnings

    def test_a_tie_on_another_drum_does_not_hold(self):
        part = read(p.note("h", "E5", tie="start"), p.note("h", "C5", tie="stop"), name="Tenors")
        assert [s.drum for s in part.strokes] == ["tenor-1", "tenor-2"]

    def test_another_voice_on_the_drum_does_not_break_a_tie(self):
        part = read(
            p.note("h", tie="start"),
            p.note("h", tie="stop"),
            p.backup(4),
            p.rest("q", voice=2),
            p.note("q", voice=2),
            p.rest("h", voice=2),
        )
        assert [s.at_q for s in part.strokes] == [0, 1]

    def test_tied_alone_is_believed(self):
        tied = '<tied type="start"/>', '<tied type="stop"/>'
        part = read(p.note("h", notations=tied[0]), p.note("h", notations=tied[1]))
        assert [s.at_q for s in part.strokes] == [0]

    def test_let_ring_is_no_tie(self):
        part = read(p.note("h", notations='<tied type="let-ring"/>'), p.note("h"))
        assert [s.at_q for s in part.strokes] == [0, 2]


class TestRolls:
    """Slashes plus beams give the value of the strokes: the standard's <tremolo> counts no beams."""

    @pytest.mark.parametrize(
        ("length", "dots", "tuplet", "slashes", "strokes"),
        [
            ("q", 0, None, 1, 2),
            ("q", 0, None, 2, 4),
            ("q", 0, None, 3, 8),
            ("e", 0, None, 1, 2),
            ("e", 0, None, 2, 4),
            ("s", 0, None, 1, 2),
            ("h", 0, None, 3, 16),
            ("q", 1, None, 3, 12),
            ("e", 1, None, 2, 6),
            ("e", 0, (3, 2), 1, 2),
            ("e", 0, (3, 2), 2, 4),
            ("q", 0, (3, 2), 2, 4),
        ],
    )
    def test_strokes_on_a_note(self, length, dots, tuplet, slashes, strokes):
        part = read(p.note(length, dots=dots, tuplet=tuplet, tremolo=(slashes, "single")), tempo="60")
        assert [s.kind for s in part.strokes] == ["stroke"] + ["diddle"] * (strokes - 1)
        gaps = {b.at_q - a.at_q for a, b in zip(part.strokes, part.strokes[1:], strict=False)}
        assert gaps == {part.strokes[0].length_q}
        assert part.rolls[0].strokes_a_note == strokes

    @pytest.mark.parametrize(("slashes", "kinds", "strokes"), [(-1, {"buzz"}, 1), (99, {"stroke", "diddle"}, 512)])
    def test_slashes_that_cannot_be_stay_within_bounds(self, slashes, kinds, strokes):
        part = read(p.note("h", tremolo=(slashes, "single")))
        assert {s.kind for s in part.strokes} == kinds
        assert len(part.strokes) == strokes

    def test_a_note_without_a_type_has_the_beams_its_length_needs(self):
        bare = p.note("e", dots=1, tremolo=(1, "single")).replace("<type>eighth</type>", "").replace("<dot/>", "")
        assert len(read(bare).strokes) == 3

    def test_only_the_first_stroke_carries_the_accent(self):
        part = read(p.note("q", tremolo=(2, "single"), articulations="accent"))
        assert [s.accent for s in part.strokes] == [True, False, False, False]

    def test_three_slashes_on_a_short_note_are_read_as_an_open_roll(self):
        part = read(p.note("e", tremolo=(3, "single")), p.rest("e"), p.rest("q"), p.rest("h"))
        assert len(part.strokes) == 4
        assert "by the letter they would be 8" in part.rolls[0].says

    def test_three_slashes_at_a_slow_tempo_are_read_by_the_letter(self):
        part = read(p.note("e", tremolo=(3, "single")), p.rest("e"), tempo="50")
        assert len(part.strokes) == 8

    def test_the_organizer_can_correct_a_reading(self):
        music = p.note("e", tremolo=(3, "single")), p.rest("e"), p.note("q", tremolo=(3, "single")), p.rest("h")
        part = read(*music, rolls={(1, "1"): 8, (1, "2"): 0})
        assert len(part.scored()) == 8
        assert [s.kind for s in part.strokes if s.at_q == 1] == ["buzz"]
        assert [roll.strokes_a_note for roll in part.rolls] == [8, 0]

    def test_a_roll_tied_into_a_plain_note_is_released_by_a_stroke(self):
        part = read(p.note("q", tremolo=(2, "single"), tie="start"), p.note("q", tie="stop"), p.rest("h"))
        assert [s.kind for s in part.strokes] == ["stroke", "diddle", "diddle", "diddle", "stroke"]
        assert part.rolls[1].says == "a roll is tied into this note: its first moment is struck, the release"

    def test_the_organizer_can_take_the_release_away(self):
        part = read(
            p.note("q", tremolo=(2, "single"), tie="start"), p.note("q", tie="stop"), p.rest("h"), rolls={(1, "2"): 0}
        )
        assert [s.at_q for s in part.strokes] == [0, F(1, 4), F(1, 2), F(3, 4)]

    def test_a_roll_tied_into_a_roll_goes_on(self):
        part = read(
            p.note("q", tremolo=(1, "single"), tie="start"), p.note("q", tremolo=(1, "single"), tie="stop"), p.rest("h")
        )
        assert [s.kind for s in part.strokes] == ["stroke", "diddle", "diddle", "diddle"]

    def test_two_notes_alternate_over_the_time_of_both(self):
        """The standard: each note has half the length it is written with (time-modification 2:1)."""
        pair = p.note("h", "E5", tuplet=(2, 1), tremolo=(3, "start")) + p.note(
            "h", "C5", tuplet=(2, 1), tremolo=(3, "stop")
        )
        part = read(pair, p.rest("h"), name="Tenors")
        assert [s.drum for s in part.strokes] == ["tenor-1", "tenor-2"] * 8
        assert part.strokes[-1].at_q == F(15, 8)

    def test_half_a_two_note_tremolo_is_told(self):
        part = read(p.note("h", tremolo=(3, "start")), p.rest("h"))
        assert [u.element for u in part.unread] == ["tremolo"]
        assert len(part.strokes) == 1

    @pytest.mark.parametrize(
        "buzz",
        [
            {"tremolo": (0, "unmeasured")},
            {"tremolo": (0, "single")},
            {"tremolo": (3, "unmeasured")},
            {"lyric": "z"},
            {"notations": '<ornaments><other-ornament smufl="buzzRoll"/></ornaments>'},
            {"notations": '<other-notation type="single">buzz roll</other-notation>'},
            {"notations": "<ornaments><trill-mark/></ornaments>"},
        ],
    )
    def test_a_buzz_is_a_region_and_never_counted(self, buzz):
        part = read(p.note("h", **buzz), p.note("h"))
        assert [(s.kind, s.length_q) for s in part.strokes] == [("buzz", 2), ("stroke", 2)]
        assert part.rolls[0].strokes_a_note == 0
        assert len(part.scored()) == 1


class TestVoicesAndChords:
    def test_two_voices_on_one_drum_are_struck_once(self):
        part = read(p.note("q") * 4, p.backup(4), p.note("h", voice=2, articulations="accent"), p.note("h", voice=2))
        assert [(s.at_q, s.accent) for s in part.strokes] == [(0, True), (1, False), (2, False), (3, False)]

    def test_a_chord_on_one_staff_place_is_struck_once(self):
        part = read(p.note("q") + p.note("q", chord=True), p.rest("q"), p.rest("h"))
        assert len(part.strokes) == 1

    def test_a_forward_leaves_silence(self):
        part = read(p.forward(2), p.note("h"))
        assert [s.at_q for s in part.strokes] == [2]

    def test_cue_notes_are_left_out_and_take_their_time(self):
        part = read(p.note("q", cue=True) * 2, p.note("h"))
        assert [s.at_q for s in part.strokes] == [2]

    def test_notes_that_are_not_printed_are_left_out_and_told(self):
        part = read(p.note("q", attrs=' print-object="no"'), p.note("q"), p.rest("h"))
        assert [s.at_q for s in part.strokes] == [1]
        assert "bar 1: a note that is not printed is left out" in part.warnings

    def test_a_note_for_the_second_time_only_sounds_then(self):
        music = p.repeat("forward"), p.note("h"), p.note("h", attrs=' time-only="2"'), p.repeat("backward")
        assert [s.at_q for s in read(*music).strokes] == [0, 4, 6]

    def test_two_staves_are_read_together(self):
        part = read(
            p.note("q", staff=1) * 4, p.backup(4), p.rest("q"), p.note("e", staff=2, voice=5) * 2, p.rest("h", voice=5)
        )
        assert [s.at_q for s in part.strokes] == [0, 1, F(3, 2), 2, 3]


class TestMarks:
    def test_accents_and_dynamics_are_levels(self):
        part = read(
            p.dynamic("p"),
            p.note("q"),
            p.note("q", articulations="accent"),
            p.dynamic("ff"),
            p.note("q"),
            p.note("q", articulations="strong-accent"),
        )
        levels = [s.level for s in part.strokes]
        assert levels[0] < levels[1] < levels[2] < levels[3] <= 1.0
        assert [s.accent for s in part.strokes] == [False, True, False, True]

    def test_a_hairpin_grows_from_level_to_level(self):
        start, stop = (
            f'<direction><direction-type><wedge type="{kind}"/></direction-type></direction>'
            for kind in ("crescendo", "stop")
        )
        part = read(p.dynamic("p"), start, p.note("q") * 3, stop, p.dynamic("f"), p.note("q"))
        levels = [s.level for s in part.strokes]
        assert levels == sorted(levels)
        assert levels[0] == pytest.approx(0.34)
        assert levels[3] == pytest.approx(0.7)

    def test_a_ghost_note_is_softer(self):
        ghost = '<notehead parentheses="yes">normal</notehead>'
        part = read(p.note("q"), p.note("q", head=ghost), p.rest("h"))
        assert part.strokes[1].level < part.strokes[0].level

    @pytest.mark.parametrize(
        ("head", "technique"),
        [
            ("x", "rim"),
            ("circle-x", "cross"),
            ("cross", "cross"),
            ("diamond", "shot"),
            ("slashed", "shot"),
            ("", ""),
            ("normal", ""),
        ],
    )
    def test_noteheads_name_the_technique(self, head, technique):
        assert read(p.note("q", head=head)).strokes[0].technique == technique

    def test_an_x_is_the_ordinary_head_of_a_cymbal(self):
        assert read(p.note("q", head="x"), name="Cymbals").strokes[0].technique == ""

    def test_muted_notes(self):
        assert read(p.note("q", technical="<stopped/>")).strokes[0].technique == "muted"

    @pytest.mark.parametrize(
        "how",
        [{"lyric": "R"}, {"lyric": "r"}, {"technical": "<fingering>R</fingering>"}, {"technical": "<pluck>R</pluck>"}],
    )
    def test_sticking_from_lyric_fingering_or_pluck(self, how):
        assert read(p.note("q", **how)).strokes[0].hand == "R"

    def test_sticking_from_text_is_dealt_out_note_by_note(self):
        part = read(p.words("R L R R"), p.note("q") * 4)
        assert [s.hand for s in part.strokes] == ["R", "L", "R", "R"]

    def test_both_letters_of_a_flam_and_of_a_diddle(self):
        part = read(
            p.note("e", grace=True) + p.note("q", lyric="lR"),
            p.note("q", lyric="RR", tremolo=(1, "single")),
            p.rest("h"),
        )
        assert [(s.kind, s.hand) for s in part.strokes] == [
            ("grace", None),
            ("stroke", "R"),
            ("stroke", "R"),
            ("diddle", "R"),
        ]

    def test_other_words_are_no_sticking(self):
        assert read(p.note("q", lyric="Roll")).strokes[0].hand is None


class TestRepeatedBarsAndSlashes:
    def test_a_repeated_bar_is_filled(self):
        sign = '<attributes><measure-style><measure-repeat type="{}">1</measure-repeat></measure-style></attributes>'
        one = p.bar(1, p.first(), p.note("q"), p.note("e") * 2, p.note("h"))
        part = read_part(
            p.page(
                one,
                p.bar(2, sign.format("start"), p.bar_rest()),
                p.bar(3, p.bar_rest()),
                p.bar(4, sign.format("stop"), p.note("w")),
            )
        )
        pattern = [F(0), F(1), F(3, 2), F(2)]
        assert [s.at_q for s in part.strokes] == [4 * n + at for n in range(3) for at in pattern] + [12]
        assert part.unread == ()

    def test_two_bars_are_repeated_together(self):
        sign = '<attributes><measure-style><measure-repeat type="start">2</measure-repeat></measure-style></attributes>'
        one, two = p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("h") * 2)
        part = read_part(p.page(one, two, p.bar(3, sign, p.bar_rest()), p.bar(4, p.bar_rest())))
        assert [s.at_q for s in part.strokes] == [0, 4, 6, 8, 12, 14]

    def test_a_repeated_beat_is_filled(self):
        sign = '<attributes><measure-style><beat-repeat type="{}" slashes="1"/></measure-style></attributes>'
        part = read(p.note("e") * 2, sign.format("start"), p.rest("q") * 2, sign.format("stop"), p.note("q"))
        assert [s.at_q for s in part.strokes] == [0, F(1, 2), 1, F(3, 2), 2, F(5, 2), 3]

    def test_slashes_are_told(self):
        part = read(p.note("q", head="slash", stem="none") * 4)
        assert part.strokes == ()
        assert [u.says for u in part.unread] == [
            "bar 1: rhythm slashes leave the strokes free; strokes there are missing"
        ]

    def test_slash_heads_with_stems_are_a_rhythm(self):
        part = read(p.note("q", head="slash", stem="up") * 4)
        assert len(part.strokes) == 4

    def test_multi_bar_rests_are_bars(self):
        sign = "<attributes><measure-style><multiple-rest>3</multiple-rest></measure-style></attributes>"
        bars = (
            [p.bar(1, p.first(), p.note("w"))]
            + [p.bar(n, sign if n == 2 else "", p.bar_rest()) for n in (2, 3, 4)]
            + [p.bar(5, p.note("w"))]
        )
        assert [s.at_q for s in read_part(p.page(*bars)).strokes] == [0, 16]


class TestWhatIsNotReadIsTold:
    @pytest.mark.parametrize(
        ("music", "element"),
        [
            (p.words("rit."), "words"),
            (p.words("accelerando poco a poco"), "words"),
            (p.words("Swing"), "words"),
            (p.words("2nd time only"), "words"),
            (p.note("q", notations="<fermata/>") + p.note("q"), "fermata"),
            (p.note("q", articulations="caesura"), "caesura"),
            (p.note("q", notations="<ornaments><turn/></ornaments>"), "turn"),
            ("<note><rest/><voice>1</voice></note>", "note"),
            ("<something-new><inside/></something-new>", "something-new"),
            ('<sound tempo="0"/>', "tempo"),
            ("<attributes><time><beats>x</beats><beat-type>4</beat-type></time></attributes>", "time"),
            ("<sound><swing><first>2</first><second>1</second></swing></sound>", "swing"),
            ('<barline location="middle"><repeat direction="backward"/></barline>', "repeat"),
            (p.words("D.S.", 'dalsegno="nowhere"'), "dalsegno"),
            (p.words("To Coda", 'tocoda="nowhere"'), "tocoda"),
        ],
    )
    def test_with_bar_and_element(self, music, element):
        part = read_part(p.page(p.bar(1, p.first(), p.note("w")), p.bar(2, music, p.note("w"))))
        assert (2, element) in [(u.bar, u.element) for u in part.unread]
        assert all(u.says.startswith(f"bar {u.bar}: ") and len(u.says) > 25 for u in part.unread)

    def test_a_fermata_over_the_last_stroke_changes_nothing(self):
        held = "<fermata/>"
        last = p.bar(2, p.note("h"), p.note("q", notations=held), p.rest("q"))
        assert read_part(p.page(p.bar(1, p.first(p.tempo("120")), p.note("w")), last)).unread == ()
        early = p.bar(2, p.note("h", notations=held), p.note("h"))
        assert [u.element for u in read_part(p.page(p.bar(1, p.first(), p.note("w")), early)).unread] == ["fermata"]

    def test_a_technique_in_words_is_a_warning(self):
        part = read(p.words("on rim"), p.note("w"))
        assert part.warnings == ("bar 1: “on rim” is not followed; noteheads and instruments tell the technique",)

    def test_a_plain_bar_has_nothing_to_tell(self):
        part = read(p.note("q", notations='<slur type="start"/>', articulations="staccato"), p.note("q"), p.rest("h"))
        assert (part.unread, part.warnings) == ((), ())

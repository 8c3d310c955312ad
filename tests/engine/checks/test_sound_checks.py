"""What is said of sound, part and playing: every check at both sides of its limits, with something to do."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from submissions.engine.checks import CHECKS, FOLLOWS_FROM, judge, loose_timing, unsure_of_zero, wrong_tempo
from submissions.engine.facts import (
    ContainerFacts,
    LevelFacts,
    PlayedStroke,
    StrokeFacts,
    TakeFacts,
    TimingFacts,
    ZeroFacts,
)
from submissions.engine.findings import Level, Verdict, verdict_of
from submissions.engine.music.score import read_part
from submissions.engine.rehearsal.cadence import cadence

PART = read_part(cadence()[0].musicxml_text.encode(), "P1")
CODES = {code for code, _ in CHECKS}


def strokes(missing=(), explained=0.95, written=100):
    rows = tuple(
        PlayedStroke(n, 1 + n // 10, "1", "stroke", n * 0.1, None if n in missing else 2 + n * 0.1, None if n in missing else 1.0)
        for n in range(written)
    )
    matched = written - len(missing)
    heard = tuple(2 + n * 0.1 for n in range(max(matched, 10)))
    return StrokeFacts(rows, (), heard, written, matched, len(missing), explained)


def said(level=None, zero=None, played=None, timing=None, container=None, **more):
    """{code: level} of what is said of a good take with these facts changed."""
    values = {"zero_s": 2.0, "source": "marks", "sure": True, "sd_s": 0.0001} | (zero or {})
    facts = TakeFacts(
        container=ContainerFacts(**({"has_sound": True, "has_picture": True, "width": 1280, "height": 720, "fps": 30.0} | (container or {}))),
        level=LevelFacts(**({"peak_db": -6.0, "strokes_over_noise_db": 50.0} | (level or {}))),
        zero=ZeroFacts(**values),
        strokes=played or strokes(),
        timing=TimingFacts(**({"spread_ms": 15.0} | (timing or {}))),
        **more,
    )
    return {finding.code: finding.level for finding in judge(facts, PART)}


class TestAGoodTake:
    def test_gets_no_finding(self):
        assert said() == {}

    def test_is_ready(self):
        assert verdict_of(()) == Verdict.READY


class TestTheLevel:
    @pytest.mark.parametrize(
        ("facts", "code", "level"),
        [
            ({"silent": True}, "silent", Level.REDO),
            ({"peak_db": -45.0}, "too-quiet", Level.LOOK),
            ({"clipped_share": 0.5}, "clipped", Level.REDO),
            ({"clipped_share": 0.15}, "clipped", Level.LOOK),
            ({"clipped_share": 0.5, "clipped_sure": False}, "clipped", Level.LOOK),
            ({"strokes_over_noise_db": 24.0}, "noisy", Level.LOOK),
            ({"pumping_db": 4.0}, "noisy", Level.NOTE),
            ({"pumping_db": 9.0}, "noisy", Level.LOOK),
            ({"wind": True}, "noisy", Level.LOOK),
            ({"talk_s": 0.2, "talk_at_s": 12.0}, "noisy", Level.NOTE),
            ({"dead_channel": True}, "noisy", Level.NOTE),
            ({"click_under_drums_db": 4.0}, "click-audible", Level.REDO),
            ({"click_under_drums_db": 18.0}, "click-audible", Level.LOOK),
        ],
    )
    def test_says(self, facts, code, level):
        assert said(level=facts)[code] == level

    @pytest.mark.parametrize("facts", [{"clipped_share": 0.03}, {"click_under_drums_db": 33.0}, {"peak_db": -30.0}, {"strokes_over_noise_db": 26.0}, {"pumping_db": 2.0}, {"talk_s": 0.09, "talk_at_s": 12.0}])
    def test_lets_small_things_be(self, facts):
        assert said(level=facts) == {}


class TestThePart:
    def test_is_another_one_when_little_fits_either_way(self):
        assert said(played=strokes(missing=range(0, 100, 3), explained=0.6))["not-this-part"] == Level.REDO

    def test_is_another_one_when_a_dense_page_covers_a_sparse_take(self):
        assert said(played=strokes(explained=0.4))["not-this-part"] == Level.REDO

    def test_is_looked_at_by_a_person_where_its_place_is_unsure(self):
        found = said(zero={"sure": False}, played=strokes(missing=range(0, 100, 4), explained=0.8))
        assert found["not-this-part"] == Level.LOOK

    @pytest.mark.parametrize(("beyond", "spread", "told"), [(0.4, 42.0, True), (0.5, 42.0, False), (0.4, 20.0, False), (None, 42.0, False)])
    @pytest.mark.parametrize("chosen", [{"sure": False}, {"sure": True, "tempo_ratio": 0.988}])
    def test_is_doubted_where_it_lies_wide_at_a_chosen_place_or_tempo_as_chance_would_put_it(self, beyond, spread, told, chosen):
        found = said(zero=chosen, played=strokes(missing=range(0, 100, 9), explained=0.85), timing={"spread_ms": spread, "beyond_chance": beyond})
        assert found.get("not-this-part") == (Level.LOOK if told else None)

    def test_may_be_played_by_a_beginner(self):
        assert "not-this-part" not in said(played=strokes(missing=range(0, 100, 9), explained=0.85))

    @pytest.mark.parametrize(("explained", "level"), [(0.84, Level.LOOK), (0.7, Level.REDO)])
    def test_is_another_one_where_clear_strokes_say_so_though_most_fit_by_chance(self, explained, level):
        played = replace(strokes(missing=range(0, 100, 5), explained=0.85), clear_found_share=0.85, clear_explained_share=explained)
        assert said(played=played)["not-this-part"] == level

    def test_is_nobodys_fault_where_clear_strokes_are_left_over_at_an_unsure_place(self):
        played = replace(strokes(missing=range(0, 100, 5), explained=0.85), clear_found_share=0.85, clear_explained_share=0.5)
        assert said(played=played)["not-this-part"] == Level.REDO
        assert said(zero={"sure": False}, played=played)["not-this-part"] == Level.LOOK

    def test_is_not_doubted_where_only_soft_strokes_are_lost_in_the_room(self):
        played = replace(strokes(missing=range(0, 100, 4), explained=0.95), clear_found_share=0.75)
        assert "not-this-part" not in said(played=played)

    def test_is_looked_at_where_noise_hides_the_strokes(self):
        found = said(level={"strokes_over_noise_db": 26.0}, played=strokes(missing=range(0, 100, 2), explained=0.8))
        assert found == {"not-this-part": Level.LOOK, "noisy": Level.LOOK}

    @pytest.mark.parametrize(("instrument", "level"), [("snare", Level.REDO), ("cymbals", Level.LOOK)])
    def test_with_hardly_a_stroke_goes_back_unless_crashes_may_swell(self, instrument, level):
        played = StrokeFacts(heard_s=(1.0, 2.0), written=100, missed=100)
        facts = TakeFacts(container=ContainerFacts(has_sound=True), level=LevelFacts(strokes_over_noise_db=50.0), zero=ZeroFacts(2.0, sure=True), strokes=played)
        found = {f.code: f.level for f in judge(facts, replace(PART, instrument=instrument))}
        assert found["not-this-part"] == level

    @pytest.mark.parametrize(("noise_db", "level"), [(-42.0, Level.LOOK), (-52.0, Level.REDO), (-62.0, Level.REDO)])
    def test_with_hardly_a_stroke_over_a_noise_that_may_hide_low_drums_is_looked_at(self, noise_db, level):
        heard = LevelFacts(peak_db=-6.0, noise_db=noise_db)
        facts = TakeFacts(container=ContainerFacts(has_sound=True), level=heard, zero=ZeroFacts(2.0, sure=True), strokes=StrokeFacts(written=100, missed=100))
        assert {f.code: f.level for f in judge(facts, PART)}["not-this-part"] == level

    @pytest.mark.parametrize(("spread", "doubted"), [(50.0, False), (70.0, True)])
    def test_that_lies_wider_at_a_tempo_of_its_own_than_players_do_is_doubted_beside_the_tempo(self, spread, doubted):
        found = said(zero={"tempo_ratio": 1.5}, timing={"spread_ms": spread, "beyond_chance": 0.8})
        assert found["wrong-tempo"] == Level.REDO
        assert ("not-this-part" in found) == doubted

    def test_that_is_doubted_is_told_to_have_no_certain_zero(self):
        """Where zero was put may be what makes it look like another part."""
        found = said(zero={"source": "written", "sure": False}, played=strokes(missing=range(0, 100, 4), explained=0.8))
        assert found == {"not-this-part": Level.LOOK, "unsure-of-zero": Level.LOOK}

    def test_is_not_asked_about_where_noise_drowns_everything(self):
        level = LevelFacts(peak_db=-6.0, noise_db=-30.0)
        facts = TakeFacts(container=ContainerFacts(has_sound=True), level=level, zero=ZeroFacts(2.0, sure=True), strokes=StrokeFacts(written=100, missed=100))
        assert {f.code: f.level for f in judge(facts, PART) if f.code != "no-picture"} == {"noisy": Level.LOOK}

    @pytest.mark.parametrize(("extras", "under_db", "doubted"), [(20, 2.0, False), (20, 20.0, True), (400, 2.0, True)])
    def test_is_not_doubted_for_a_click_that_is_as_loud_as_the_drums(self, extras, under_db, doubted):
        played = replace(strokes(explained=0.3), extra_s=tuple(0.1 * n for n in range(extras)), clear_explained_share=0.3)
        found = said(level={"click_under_drums_db": under_db}, played=played)
        assert ("not-this-part" in found) == doubted
        assert "click-audible" in found

    def test_is_doubted_beside_a_loud_click_where_strokes_lie_wider_than_players_do(self):
        """A click as loud as the drums explains strokes that are not written, and not strokes anywhere."""
        played = replace(strokes(missing=range(0, 100, 5), explained=0.85), extra_s=(1.0,) * 17, clear_found_share=0.79, clear_explained_share=0.82)
        assert "not-this-part" not in said(level={"click_under_drums_db": 6.0}, played=played)
        assert said(level={"click_under_drums_db": 6.0}, played=played, timing={"spread_ms": 82.0})["not-this-part"] == Level.LOOK

    def test_that_only_seems_to_stop_is_looked_at(self):
        """Bar 1 is a guess, and strokes lie before it: perhaps the take begins there, and nothing is missing."""
        played = replace(strokes(missing=range(80, 100)), extra_s=(0.2, 0.6, 1.0, 1.4))
        assert said(played=played)["incomplete"] == Level.REDO
        assert said(played=played, zero={"sure": False})["incomplete"] == Level.LOOK
        guessed = said(played=strokes(missing=range(80, 100)), zero={"sure": False, "tempo_ratio": 0.75})
        assert guessed["incomplete"] == Level.LOOK

    def test_that_seems_to_stop_after_a_count_off_is_no_guess(self):
        beats = sum(beat.played_bar == PART.beats[0].played_bar for beat in PART.beats)
        played = replace(strokes(missing=range(60, 100)), extra_s=tuple(0.1 * n for n in range(2 * beats)))
        assert said(played=played, zero={"sure": False, "count_off_bars": 2})["incomplete"] == Level.REDO
        assert said(played=played, zero={"sure": False, "count_off_bars": 0})["incomplete"] == Level.LOOK

    @pytest.mark.parametrize(
        ("every", "clear", "told"),
        [(12, 0.90, False), (8, 0.88, True), (8, 0.97, False), (5, 0.97, False), (3, 0.97, True)],
    )
    def test_without_strokes_here_and_there_is_looked_at(self, every, clear, told):
        played = replace(strokes(missing=range(0, 100, every)), clear_found_share=clear, clear_explained_share=1.0)
        found = said(played=played)
        assert found == ({"incomplete": Level.LOOK} if told else {})

    @pytest.mark.parametrize(("others", "level"), [(6, Level.LOOK), (2, Level.REDO)])
    def test_with_a_bar_that_was_played_otherwise_is_looked_at(self, others, level):
        played = replace(strokes(missing=range(40, 52)), extra_s=tuple(6.05 + 0.11 * n for n in range(others)))
        assert said(played=played)["incomplete"] == level

    def test_of_a_doubtful_part_is_not_sent_back_for_what_is_missing(self):
        found = said(level={"strokes_over_noise_db": 26.0}, played=replace(strokes(missing=[*range(0, 60, 2), *range(60, 75)], explained=0.8)))
        assert found["not-this-part"] == found["incomplete"] == Level.LOOK

    def test_that_stops_is_incomplete_and_no_other_part(self):
        found = said(played=strokes(missing=range(50, 100)))
        assert found["incomplete"] == Level.REDO and "not-this-part" not in found

    @pytest.mark.parametrize(("missing", "told"), [((17, 18, 19), {"incomplete": Level.LOOK}), ((18, 19), {}), ((8, 9, 10), {})])
    def test_of_few_strokes_that_stops_is_looked_at(self, missing, told):
        assert said(played=strokes(missing=missing, written=20)) == told

    def test_that_stops_is_told_with_its_bars(self):
        facts = TakeFacts(
            container=ContainerFacts(has_sound=True), zero=ZeroFacts(zero_s=2.0, sure=True), strokes=strokes(missing=range(50, 100))
        )
        assert any("bars 6 to 10" in finding.says for finding in judge(facts, PART))

    def test_with_one_drum_that_nobody_hears_is_looked_at(self):
        low = tuple(replace(s, drum="tenor-4") if 40 <= n < 60 else s for n, s in enumerate(PART.strokes))
        facts = TakeFacts(
            container=ContainerFacts(has_sound=True), level=LevelFacts(strokes_over_noise_db=50.0),
            zero=ZeroFacts(zero_s=2.0, sure=True), strokes=strokes(missing=range(40, 60)),
        )  # fmt: skip
        found = {f.code: f for f in judge(facts, replace(PART, strokes=low))}
        assert found["incomplete"].level == Level.LOOK
        assert "tenor 4" in found["incomplete"].says

    def test_that_is_only_doubted_does_not_hide_a_certain_tempo(self):
        doubted = replace(strokes(missing=range(0, 100, 5), explained=0.85), clear_found_share=0.85, clear_explained_share=0.84)
        found = said(zero={"tempo_ratio": 0.9}, played=doubted)
        assert found == {"not-this-part": Level.LOOK, "wrong-tempo": Level.REDO}

    def test_that_lies_by_chance_at_another_tempo_is_doubted_instead_of_the_tempo(self):
        by_chance = said(zero={"tempo_ratio": 0.9}, timing={"beyond_chance": 0.2})
        assert by_chance == {"not-this-part": Level.LOOK}
        assert said(zero={"tempo_ratio": 0.9}, timing={"beyond_chance": 0.8}) == {"wrong-tempo": Level.REDO}

    def test_that_surely_lies_at_the_clicks_own_tempo_is_loose_and_no_other_part(self):
        nothing = strokes(missing=range(100), explained=0.0)
        guessed = {"tempo_ratio": 0.97}
        assert said(zero=guessed, played=nothing)["not-this-part"] == Level.REDO
        kept = said(zero=guessed, played=nothing, timing={"spread_ms": None, "click_beyond_chance": 0.9, "click_spread_ms": 60.0})
        assert kept == {"loose-timing": Level.LOOK}

    def test_may_miss_single_strokes(self):
        assert "incomplete" not in said(played=strokes(missing=range(0, 100, 12)))


class TestTheTempo:
    @pytest.mark.parametrize(("ratio", "wrong"), [(1.0, False), (1.01, False), (1.02, True), (0.9, True)])
    def test_is_the_clicks(self, ratio, wrong):
        assert ("wrong-tempo" in said(zero={"tempo_ratio": ratio})) == wrong

    def test_that_is_only_guessed_sends_nobody_back(self):
        found = said(zero={"tempo_ratio": 0.9, "sure": False}, played=strokes(missing=range(0, 100, 4), explained=0.95))
        assert found["wrong-tempo"] == Level.LOOK

    @pytest.mark.parametrize(("end_ms", "drifts"), [(20.0, False), (-80.0, True), (80.0, True)])
    def test_is_kept(self, end_ms, drifts):
        bars = tuple((n + 1, end_ms * n / 11, 10.0, 8) for n in range(12))
        assert ("drifts" in said(timing={"by_bar": bars})) == drifts

    def test_of_single_strokes_is_said_to_drift(self):
        bars = tuple((n + 1, -12.0 * n, 0.0, 1) for n in range(10))
        assert said(timing={"by_bar": bars})["drifts"] == Level.REDO

    def test_that_wanders_is_looked_at_wherever_it_comes_out(self):
        there_and_back = (0, -40, -60, -60, 0, -10, -50, -50, 0, 5, 20, 0, 35, 20, 50, 55)
        bars = tuple((n + 1, float(late), 8.0, 8) for n, late in enumerate(there_and_back))
        assert said(timing={"by_bar": bars}, zero={"path": ((0.0, 0.0), (20.0, 0.05))})["drifts"] == Level.LOOK

    def test_is_not_said_to_drift_by_a_few_bars_that_stray(self):
        bars = tuple((n + 1, late, 30.0, 2) for n, late in enumerate((45.0, -18.0, 12.0, -30.0, -14.0, -47.0)))
        assert "drifts" not in said(timing={"by_bar": bars})
        assert "drifts" in said(timing={"by_bar": bars}, zero={"path": ((0.0, 0.0), (20.0, -0.1))})

    def test_begins_in_time(self):
        assert said(zero={"late_bars": 2})["starts-late"] == Level.LOOK

    @pytest.mark.parametrize(("spread", "loose"), [(34.0, False), (40.0, True)])
    def test_is_even_enough(self, spread, loose):
        assert ("loose-timing" in said(timing={"spread_ms": spread})) == loose

    def test_of_who_wanders_is_told_about_the_click(self):
        away = {"path": ((0.0, 0.0), (20.0, 0.05))}
        assert said(zero=away, timing={"spread_ms": 30.0, "click_spread_ms": 45.0}) == {"loose-timing": Level.LOOK}

    def test_of_who_surely_drifts_is_even_about_the_drift(self):
        bars = tuple((n + 1, 12.0 * n, 10.0, 8) for n in range(12))
        found = said(timing={"by_bar": bars, "spread_ms": 12.0, "click_spread_ms": 45.0})
        assert found == {"drifts": Level.REDO}

    @pytest.mark.parametrize(("slow", "drifts"), [(lambda at: 0.03 * at, False), (lambda at: 0.003 * at * at, True)])
    def test_that_goes_on_changing_is_a_drift_and_no_steady_other_tempo(self, slow, drifts):
        strays = np.random.default_rng(4).normal(0, 0.012, 100)
        late = [1e3 * (slow(row.written_s) + stray) for row, stray in zip(strokes().strokes, strays, strict=True)]
        rows = tuple(replace(row, late_ms=ms) for row, ms in zip(strokes().strokes, late, strict=True))
        bars = tuple((n + 1, float(np.mean(late[10 * n : 10 * n + 10])), 10.0, 10) for n in range(10))
        found = said(zero={"tempo_ratio": 0.97}, played=replace(strokes(), strokes=rows), timing={"by_bar": bars})
        assert found["wrong-tempo"] == Level.REDO
        assert ("drifts" in found) == drifts

    @pytest.mark.parametrize(
        ("quarters", "bars", "told"),
        [(120, (6, 2), "bars 2 and 6 slowly first, at about 80,"), (72, (7,), "bar 7 slowly first, at about 56,"), (120, (), "slowly first, then")],
    )
    def test_that_is_loose_is_practised_under_its_own_tempo(self, quarters, bars, told):
        part = replace(PART, tempi=(replace(PART.tempi[0], quarters_per_minute=Fraction(quarters)),))
        facts = TakeFacts(timing=TimingFacts(spread_ms=45.0, worst_bars=bars))
        assert f"Practise {told}" in next(loose_timing.check(facts, part)).do

    @pytest.mark.parametrize(("ratio", "too_fast"), [(0.9, True), (1.1, False)])
    def test_of_the_click_may_be_too_fast_only_for_who_was_too_slow(self, ratio, too_fast):
        facts = TakeFacts(zero=ZeroFacts(zero_s=2.0, sure=True, tempo_ratio=ratio))
        assert ("too fast" in next(wrong_tempo.check(facts, PART)).do) == too_fast

    @pytest.mark.parametrize(
        ("zero_s", "runner_up_s", "told"),
        [(3.5, 5.25, "at 3.50 s. It might also be at 5.25 s."), (3.5, -1.0, "at 3.50 s."), (3.5, 3.504, "at 3.50 s."), (-0.4, 3.0, "seems to begin after it.")],
    )
    def test_that_is_unsure_names_places_in_the_recording_only(self, zero_s, runner_up_s, told):
        facts = TakeFacts(container=ContainerFacts(has_sound=True), zero=ZeroFacts(zero_s, "written", 0.02, runner_up_s=runner_up_s))
        found = next(unsure_of_zero.check(facts, PART))
        assert found.says.endswith(told)
        assert all(at >= 0 for at in found.at_s)

    def test_without_certainty_of_zero_is_looked_at(self):
        assert said(zero={"sure": False})["unsure-of-zero"] == Level.LOOK
        assert said(zero={"zero_s": None, "sure": False})["unsure-of-zero"] == Level.LOOK


class TestACopy:
    def test_is_named(self):
        assert said(copy_of="your take of Monday") == {"copy-of-a-take": Level.LOOK}


class TestEveryFinding:
    def test_says_what_to_do(self):
        facts = TakeFacts(
            container=ContainerFacts(has_sound=True),
            level=LevelFacts(peak_db=-45, clipped_share=0.5, strokes_over_noise_db=5, click_under_drums_db=3, dead_channel=True),
            zero=ZeroFacts(zero_s=1.0, tempo_ratio=1.2, late_bars=1),
            strokes=strokes(missing=range(40, 80), explained=0.2),
        )
        found = judge(facts, PART)
        assert len(found) > 5
        assert all(f.says.endswith(".") and f.do.endswith(".") for f in found)

    def test_that_only_follows_from_another_is_left_out(self):
        assert "loose-timing" not in said(played=strokes(explained=0.2), timing={"spread_ms": 60.0})

    def test_follows_from_codes_that_exist(self):
        assert set(FOLLOWS_FROM) <= CODES and set().union(*FOLLOWS_FROM.values()) <= CODES

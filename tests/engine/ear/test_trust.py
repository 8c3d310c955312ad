"""When a faint click is certain: only where it is no chance, or the strokes know their place and say the same."""

from dataclasses import replace

import pytest

from submissions.engine.ear import listen as listening
from submissions.engine.ear.clicks.search import FoundClick
from submissions.engine.ear.marks.believed import Marks
from submissions.engine.ear.marks.one_group import by_end_group, with_clock
from submissions.engine.ear.trust import is_certain, is_chance, is_nearer, is_off_beat, lies_by_chance, tells_tempo
from submissions.engine.ear.votes.ballot import Hypothesis
from submissions.engine.facts import TimingFacts, ZeroFacts
from submissions.engine.music.click import click_layout
from submissions.engine.rehearsal.spec import TakeSpec

from .heard import part_of, take_of


def hypothesis(zero_s: float, gain: float) -> Hypothesis:
    return Hypothesis(zero_s, 1.0, gain, 40, 0.9, 0.9, 0, 0, 0.01, 0.002)


@pytest.mark.parametrize(
    ("height", "ballot", "certain"),
    [
        (60.0, [], True),
        (60.0, [(9.0, 50.0), (3.0, 49.0)], True),  # whatever the strokes say
        (18.0, [(5.0, 50.0), (3.0, 20.0)], True),  # they know their place, and it is this one
        (18.0, [(5.0, 50.0), (3.0, 49.9)], False),  # a page that repeats: two places are as good
        (18.0, [(9.0, 50.0), (3.0, 20.0)], False),  # they know another place
        (18.0, [], False),
    ],
)
def test_a_faint_click_needs_strokes_that_know_their_place(height, ballot, certain):
    click = FoundClick(5.01, 1.0, 1e-4, 0.01, True, (), height=height)
    assert is_certain(click, [hypothesis(*one) for one in ballot]) == certain


@pytest.mark.parametrize(
    ("height", "click_s", "ballot", "chance"),
    [
        (18.0, 1.0, [(5.05, 50.0), (3.0, 20.0)], False),  # two bars late, on the beat as well as players are
        (18.0, 1.0, [(5.20, 50.0), (3.0, 20.0)], True),  # between the bars
        (18.0, -3.0, [(1.05, 50.0), (3.0, 20.0)], True),  # two bars late in a recording that begins after the count-off
        (60.0, 1.0, [(5.20, 50.0), (3.0, 20.0)], False),  # no chance, whatever the strokes say
        (18.0, 1.0, [(5.20, 50.0), (3.0, 49.0)], False),  # strokes that do not know their place refute nothing
        (18.0, 1.0, [], False),
    ],
)
def test_a_faint_click_is_refuted_by_strokes_that_lie_off_its_bars(height, click_s, ballot, chance):
    click = FoundClick(click_s, 1.0, 1e-4, 0.01, True, (), height=height)
    assert is_chance(click, [hypothesis(*one) for one in ballot], bar_s=2.0) == chance


@pytest.mark.parametrize(
    ("ours", "click_s", "ballot", "stretch", "refuted"),
    [
        (False, 1.0, [(5.05, 50.0), (3.0, 20.0)], 1.0, False),  # on the eighth beat after it, pushed
        (False, 1.0, [(5.20, 50.0), (3.0, 20.0)], 1.0, True),  # between its beats
        (False, 1.0, [(5.20, 50.0), (3.0, 49.0)], 1.0, False),  # another place is as good and on a beat
        (False, 1.0, [(5.20, 50.0), (3.0, 20.0)], 1.05, False),  # a player who does not keep its tempo
        (True, 1.0, [(5.20, 50.0), (3.0, 20.0)], 1.0, False),  # our own click is known by its sound
        (False, 1.0, [], 1.0, False),
    ],
)
def test_a_strange_click_is_refuted_by_strokes_that_lie_off_its_beats(ours, click_s, ballot, stretch, refuted):
    click = FoundClick(click_s, 1.0, 1e-4, 0.01, ours, ())
    places = [replace(hypothesis(*one), stretch=stretch) for one in ballot]
    assert is_off_beat(click, places, beat_s=0.5) == refuted


@pytest.mark.parametrize(
    ("sd_s", "ratio", "push_s", "refuted"),
    [(4e-4, 1.0002, 0.07, False), (4e-3, 1.0, 0.03, False), (4e-3, 1.0, 0.07, True), (4e-3, 1.0002, 0.0, True)],
)
def test_a_strange_click_without_a_foot_lies_where_players_do(sd_s, ratio, push_s, refuted):
    click = FoundClick(1.0, ratio, sd_s, 0.01, False, ())
    assert is_off_beat(click, [hypothesis(5.0 + push_s, 50.0)], beat_s=0.5) == refuted


@pytest.mark.parametrize(
    ("bpm", "stretch", "support", "nearer"),
    [(121, 1.0, 0.9, False), (121, 120 / 121, 0.9, True), (80, 1.5, 0.9, True), (80, 1.0, 0.4, True)],
)
def test_marks_of_another_tempo_need_strokes_at_that_tempo(bpm, stretch, support, nearer):
    best = replace(hypothesis(5.0, 50.0), stretch=stretch, support=support)
    assert is_nearer(click_layout(part_of("snare"), 2, bpm), [best]) == nearer


@pytest.mark.parametrize(("support", "explained", "told"), [(0.61, 0.8, False), (0.9, 0.6, False), (0.85, 0.9, True)])
def test_a_tempo_is_told_by_strokes_that_fit_the_page_both_ways(support, explained, told):
    best = replace(hypothesis(5.0, 50.0), stretch=0.97, support=support, explained=explained)
    assert tells_tempo([best]) == told
    assert tells_tempo([])


@pytest.mark.parametrize("is_end", [False, True])
def test_one_group_of_marks_takes_its_clock_from_a_leaked_click(is_end):
    layout = click_layout(part_of("snare"), 2)
    due_s = layout.marks_end_s if is_end else layout.marks_start_s
    at_s = 7.0 + 1.0001 * due_s
    marks = Marks(at_s - due_s, 40e-6 * abs(due_s), 1.0, False, None if is_end else at_s, at_s if is_end else None)
    told = with_clock(marks, FoundClick(7.0003, 1.0001, 1e-4, 0.01, True, ()), layout)
    assert told.zero_s == pytest.approx(7.0, abs=1e-9)
    assert told.sd_s < marks.sd_s / 3
    assert with_clock(marks, FoundClick(7.0, 1.0001, 1e-4, 0.01, True, (), whole=False), layout) == marks
    assert with_clock(marks, None, layout) == marks


@pytest.mark.parametrize(
    ("click_s", "whole", "marks_stand", "clock_known"),
    [(7.0, True, True, True), (7.02, True, False, False), (7.02, None, True, False)],
)
def test_an_end_group_alone_yields_to_a_whole_click_that_puts_zero_elsewhere(click_s, whole, marks_stand, clock_known):
    layout = click_layout(part_of("snare"), 2)
    marks = Marks(7.0, 1e-3, 1.0, False, None, 7.0 + layout.marks_end_s)
    told = by_end_group(marks, FoundClick(click_s, 1.0, 1e-4, 0.01, True, (), whole=whole), layout)
    assert (told is not None) == marks_stand
    assert (told is not None and told.clock_known) == clock_known


@pytest.mark.parametrize(
    ("source", "beyond", "chance"),
    [
        ("written", 0.29, True),
        ("count-off", 0.29, True),
        ("written", 0.50, False),  # the part itself at another tempo
        ("written", None, False),  # at the click's own tempo and sure: nothing was chosen
        ("marks", 0.29, False),  # marks need no strokes
    ],
)
def test_strokes_that_chose_a_tempo_must_lie_there_better_than_by_chance(source, beyond, chance):
    assert lies_by_chance(ZeroFacts(5.0, source, 0.001, tempo_ratio=1.1, sure=True), beyond) == chance


@pytest.mark.parametrize(("beyond", "sure"), [(0.2, False), (0.9, True)])
def test_a_take_is_told_so(monkeypatch, beyond, sure):
    take = take_of(TakeSpec(count_off="none"))
    monkeypatch.setattr(listening, "measure_timing", lambda *facts: TimingFacts(beyond_chance=beyond))
    zero = listening.listen(take.sound, take.part).zero
    assert (zero.source, zero.sure) == ("written", sure)

"""When a faint click is certain: only where it is no chance, or the strokes know their place and say the same."""

import pytest

from submissions.engine.ear.click_search import FoundClick
from submissions.engine.ear.trust import is_certain, is_chance
from submissions.engine.ear.votes import Hypothesis


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

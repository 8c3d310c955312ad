"""The answer page: one sentence, what to do and where, the timing drawn, and the right bars to practise."""

import re

import numpy as np
import pytest
from django.urls import reverse

from submissions import bridge, queue
from submissions.bridge.takes import PLAIN
from submissions.engine.ear.listen import listen
from submissions.engine.facts import TakeFacts
from submissions.engine.rehearsal.spec import GOOD, INTERMEDIATE, Faults, Marks, TakeSpec
from submissions.engine.rehearsal.take import make_take
from submissions.engine.report import Report
from submissions.models import ProbeReport, Take
from submissions.models.base import Work
from tests import cast
from tests.journeys import gallery

TAKES, RIGHT = 20, 19  # the bars named must be the spoiled ones in 19 of 20 takes


@pytest.fixture
def take(player, part, tmp_path):
    return cast.make_take(player.entry, part, tmp_path)


def page_of(player, take: Take, language: str = "en") -> str:
    response = player.client.get(reverse("my-take", args=[take.public_id]), headers={"accept-language": language})
    assert response.status_code == 200
    return response.content.decode()


def answered(take: Take, verdict: str, spread_ms: float = 9.0) -> Take:
    gallery.report(take, verdict, spread_ms)
    return Take.objects.get(pk=take.pk)


class TestWhileWaiting:
    def test_says_how_many_are_before_it_and_asks_again_by_itself(self, player, take):
        page = page_of(player, take)
        assert "0 takes are measured before it" in page
        assert f'hx-get="{reverse("answer", args=[take.public_id])}"' in page

    def test_a_failure_of_ours_is_said_with_its_reference(self, player, take):
        cast.lease(take)
        queue.fail(
            Take,
            take.pk,
            "a-worker",
            "Something went wrong on our side; the file is safe and we were told.",
            "ab12cd34",
        )
        page = page_of(player, take)
        assert "ab12cd34" in page and "you need not send it again" in page
        assert "hx-get" not in page


class TestTheAnswer:
    @pytest.mark.parametrize(
        ("verdict", "sentence"),
        [
            ("ready", "Your take is usable. Thank you!"),
            ("look", "A person will look at it before it counts."),
            ("redo", "This take cannot be used yet. Please play it again."),
        ],
    )
    def test_is_one_sentence_and_stops_asking(self, player, take, verdict, sentence):
        page = page_of(player, answered(take, verdict))
        assert sentence in page
        assert "hx-get" not in page

    def test_says_what_is_wrong_what_to_do_and_where(self, player, take):
        page = page_of(player, answered(take, "redo"))
        assert "The take is not complete: bars 5 to 8 cannot be heard." in page
        assert "Play from the first bar to the last in one go" in page
        assert 'data-jump="11.300"' in page and "watch 0:11" in page

    def test_speaks_german_to_a_german_reader(self, player, take):
        page = page_of(player, answered(take, "redo"), "de")
        assert "Die Aufnahme ist nicht vollständig. Nicht zu hören: Takt 5 bis 8." in page
        assert "cannot be heard" not in page

    def test_draws_every_written_stroke_once(self, player, take, part):
        page = page_of(player, answered(take, "ready"))
        picture = "".join(re.findall(r'<div class="lines">(.*?)</div>', page, re.DOTALL))
        drawn = picture.count('class="hit"') + picture.count('class="off"') + picture.count('class="missed"')
        assert drawn == len(bridge.part_of(part).scored())

    def test_compares_with_the_players_own_earlier_take_only(self, people, part, tmp_path):
        theirs = answered(cast.make_take(people.other_player.entry, part, tmp_path, b"theirs"), "ready", 5.0)
        first = answered(cast.make_take(people.player.entry, part, tmp_path, b"first"), "redo", 31.0)
        second = answered(cast.make_take(people.player.entry, part, tmp_path, b"second"), "ready", 12.0)
        page = page_of(people.player, second)
        assert reverse("my-take", args=[first.public_id]) in page
        assert theirs.public_id not in page

    def test_shows_a_persons_word_beside_the_machines(self, player, take, call):
        from submissions import actions

        actions.decide(answered(take, "ready"), call.organizer, "redo", "A little further away, please.")
        page = page_of(player, take)
        assert "The organizer asks you to play it again." in page and "A little further away, please." in page


class TestTheBarsToPractise:
    def test_are_the_bars_that_were_spoiled(self, player, part, tmp_path):
        """Outside truth: the generator spoils two bars of each take, drawn anew, in takes of two skills."""
        right = [self.named(player, part, tmp_path, seed) == self.spoiled(part, seed) for seed in range(TAKES)]
        assert sum(right) >= RIGHT, right

    @staticmethod
    def spoiled(row, seed: int) -> list[int]:
        bars = bridge.part_of(row).bars_from_zero()
        return sorted(bars[i].number for i in np.random.default_rng(seed).choice(len(bars) - 1, 2, replace=False))

    def named(self, player, row, tmp_path, seed: int) -> list[int]:
        """The bars that the page names, after the real ear has heard the take."""
        part = bridge.part_of(row)
        first = next(i for i, bar in enumerate(part.bars) if bar.at_q >= 0)
        numbers = self.spoiled(row, seed)
        faults = Faults(
            spoiled_bars=tuple(first + i for i, bar in enumerate(part.bars_from_zero()) if bar.number in numbers)
        )
        made = make_take(
            part, TakeSpec(skill=(GOOD, INTERMEDIATE)[seed % 2], marks=Marks(), faults=faults), 7_700 + seed
        )
        heard = listen(made.sound, part)
        facts = TakeFacts(level=heard.level, zero=heard.zero, strokes=heard.strokes, timing=heard.timing)
        take = cast.make_take(player.entry, row, tmp_path, f"take {seed}".encode())
        self.keep(take, Report(facts, (), {}, 0.0, 0.0).to_json_object())
        page = page_of(player, take)
        return sorted(int(number) for number in re.findall(r"bar (\d+): practise", page))

    @staticmethod
    def keep(take: Take, body: dict) -> None:
        ProbeReport.objects.create(take=take, codes=[], body=body, **{name: body[name] for name in PLAIN})
        Take.objects.filter(pk=take.pk).update(work=Work.DONE)

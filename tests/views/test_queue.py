"""The order of work, leases, and what happens to work that runs twice."""

import random
from datetime import timedelta

import pytest
from django.utils import timezone

from submissions import bridge, queue, tasks
from submissions.engine.facts import StrokeFacts, TakeFacts
from submissions.engine.findings import Finding, Level
from submissions.engine.report import Report
from submissions.models import Call, MailLog, ProbeReport, Take
from tests import cast


def report(*findings: Finding) -> Report:
    return Report(TakeFacts(), findings, {}, 1.0, 1.0)


def performance(seed: int, jitter_s: float = 0.0) -> Report:
    """A report of a take in which these strokes were heard: a bar of sixteenths at 108, played by a person."""
    rng, shake = random.Random(seed), random.Random(seed + 1)
    heard = tuple(n * 60 / 108 / 4 + rng.gauss(0, 0.010) + shake.gauss(0, jitter_s) for n in range(64))
    return Report(TakeFacts(strokes=StrokeFacts(heard_s=heard)), (), {}, 1.0, 1.0)


@pytest.fixture
def take(player, part, tmp_path):
    return cast.make_take(player.entry, part, tmp_path)


def with_other_calls(call, people, tmp_path) -> list[Take]:
    """Waiting takes in four calls, in the order in which they should be claimed."""
    made = []
    for days in (4, -2, 2, -1):
        other = cast.make_call(call.organizer, people.editor.user, title=f"Call {days}")
        entry, _ = cast.enter(other, "Wren Aster")
        for n in range(2):
            one = cast.make_take(entry, other.segments.get().parts.first(), tmp_path, content=f"{days}{n}".encode())
            Take.objects.filter(pk=one.pk).update(received_at=timezone.now() - timedelta(hours=days + 5, minutes=-n))
            made.append((days, n, one))
        Call.objects.filter(pk=other.pk).update(deadline=timezone.now() + timedelta(days=days))
    by = {(days, n): one.pk for days, n, one in made}
    order = [(2, 0), (2, 1), (4, 0), (4, 1), (-1, 0), (-1, 1), (-2, 0), (-2, 1)]
    return [Take.objects.get(pk=by[key]) for key in order]


class TestTheOrder:
    def test_is_least_time_left_first_and_the_late_ones_last_oldest_first(self, call, people, tmp_path):
        expected = with_other_calls(call, people, tmp_path)
        claimed = [queue.claim_take("w") for _ in expected]
        assert claimed == [take.pk for take in expected]
        assert queue.claim_take("w") is None

    def test_tells_each_take_its_place(self, call, people, tmp_path):
        expected = with_other_calls(call, people, tmp_path)
        assert [queue.place_of(take) for take in expected] == list(range(len(expected)))

    def test_follows_a_deadline_that_was_moved(self, call, people, tmp_path):
        expected = with_other_calls(call, people, tmp_path)
        Call.objects.filter(pk=expected[-1].entry.call_id).update(deadline=timezone.now() + timedelta(hours=1))
        assert queue.claim_take("w") == expected[-2].pk

    def test_gives_minutes_from_answers_there_were(self, take, people, part, tmp_path):
        assert queue.minutes_to_answer(take) is None
        done = cast.make_take(people.other_player.entry, part, tmp_path)
        body = cast.report_object(cost={"cpu_s": 100.0, "wall_s": 180.0})
        ProbeReport.objects.create(take=done, verdict="ready", zero_from="marks", body=body)
        Take.objects.filter(pk=done.pk).update(work="done")
        assert queue.minutes_to_answer(take) == 3

    def test_leaves_out_what_was_withdrawn(self, take):
        from submissions import actions

        actions.withdraw_take(take)
        assert queue.claim_take("w") is None


class TestALease:
    def test_is_held_by_one_and_ends_by_time(self, take, settings):
        assert queue.claim_take("first") == take.pk
        assert queue.claim_take("second") is None
        assert queue.renew(Take, take.pk, "first")
        assert not queue.renew(Take, take.pk, "second")
        queue.sweep()
        assert queue.claim_take("second") is None
        Take.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
        queue.sweep()
        assert queue.claim_take("second") == take.pk
        assert not queue.renew(Take, take.pk, "first")

    def test_that_was_lost_stores_nothing(self, take):
        queue.claim_take("first")
        Take.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
        queue.sweep()
        queue.claim_take("second")
        assert not bridge.store_report(take.pk, "first", report())
        assert bridge.store_report(take.pk, "second", report())
        assert not bridge.store_report(take.pk, "second", report())
        assert ProbeReport.objects.count() == 1

    def test_of_a_take_withdrawn_meanwhile_stores_nothing(self, take):
        from submissions import actions

        queue.claim_take("w")
        actions.withdraw_take(take)
        assert not bridge.store_report(take.pk, "w", report())


class TestAProbe:
    def test_that_breaks_is_our_fault_with_a_reference_and_is_raised(self, take, monkeypatch, caplog):
        def broken(take):
            raise RuntimeError("a bug of ours")

        monkeypatch.setattr(bridge, "probe", broken)
        with pytest.raises(RuntimeError, match="a bug"):
            tasks.probe_next()
        take.refresh_from_db()
        assert (take.work, take.leased_by) == ("failed", "")
        assert len(take.failure_ref) == 8
        assert take.failure_ref in caplog.text
        assert "bug" not in take.failure

    def test_of_nothing_is_a_quiet_return(self, db):
        tasks.probe_next()
        tasks.probe_take(12345, "w")

    def test_of_a_text_file_is_a_finding_and_one_mail(self, take, at_once):
        with at_once():
            tasks.probe_next()
            tasks.probe_next()
        take.refresh_from_db()
        assert (take.work, take.verdict, take.report.codes) == ("done", "redo", ["unreadable"])
        assert MailLog.objects.filter(kind="verdict").count() == 1


class TestAVerdict:
    def test_is_never_overwritten_by_a_decision_nor_the_other_way_round(self, take, people):
        from submissions import actions

        queue.claim_take("w")
        bridge.store_report(take.pk, "w", report(Finding("noisy", Level.LOOK, "Noisy.", "Move.")))
        actions.decide(take, people.organizer.user, "accept")
        actions.decide(take, people.organizer.user, "redo", "The last bar, please.")
        take.refresh_from_db()
        assert take.verdict == "look"
        assert [d.word for d in take.decisions.order_by("pk")] == ["accept", "redo"]
        assert take.decision.word == "redo"


class TestACopy:
    """The words for a copy tell a player nothing about another player."""

    def test_of_another_players_file_is_found_by_its_sum(self, people, part, tmp_path):
        first = cast.make_take(people.player.entry, part, tmp_path, content=b"same")
        second = cast.make_take(people.other_player.entry, part, tmp_path, content=b"same")
        for take in (first, second):
            cast.lease(take)
            assert bridge.store_report(take.pk, "a-worker", report())
        first, second = ProbeReport.objects.order_by("take__pk")
        assert (first.copy_of, second.copy_of_id) == (None, first.take_id)
        assert ["copy-of-a-take" in one.codes for one in (first, second)] == [False, True]
        assert people.player.entry.display_name not in str(second.body)

    def test_encoded_anew_and_measured_before_its_original_is_marked_afterwards(self, people, part, tmp_path):
        first = cast.make_take(people.player.entry, part, tmp_path, content=b"one")
        second = cast.make_take(people.other_player.entry, part, tmp_path, content=b"the same, encoded again")
        third = cast.make_take(people.other_player.entry, part, tmp_path, content=b"another performance")
        for take, played in ((third, performance(8)), (second, performance(7, 0.0001)), (first, performance(7))):
            cast.lease(take)
            assert bridge.store_report(take.pk, "a-worker", played)
        reports = [ProbeReport.objects.get(take=take) for take in (first, second, third)]
        assert [one.copy_of for one in reports] == [None, first, None]
        assert [(one.verdict, one.codes) for one in reports] == [
            ("ready", []),
            ("look", ["copy-of-a-take"]),
            ("ready", []),
        ]


    def test_sent_for_another_part_of_the_call_is_found_and_in_another_call_is_none(self, call, people, tmp_path):
        snare, tenors = call.segments.get().parts.filter(instrument__in=["snare", "tenors"]).order_by("instrument")
        first = cast.make_take(people.player.entry, snare, tmp_path, content=b"one")
        again = cast.make_take(people.other_player.entry, tenors, tmp_path, content=b"the same, encoded again")
        other = cast.make_call(call.organizer, people.editor.user, title="Elsewhere")
        entry, _ = cast.enter(other, "Wren Aster")
        elsewhere = cast.make_take(entry, other.segments.get().parts.first(), tmp_path, content=b"encoded once more")
        for n, take in enumerate((first, again, elsewhere)):
            cast.lease(take)
            assert bridge.store_report(take.pk, "a-worker", performance(7, 0.0001 * n))
        assert [ProbeReport.objects.get(take=take).copy_of for take in (first, again, elsewhere)] == [None, first, None]

    def test_costs_the_same_to_find_among_many_takes_as_among_few(self, people, part, tmp_path):
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        def store(number: int) -> int:
            take = cast.make_take(people.player.entry, part, tmp_path, content=f"{number}".encode())
            cast.lease(take)
            with CaptureQueriesContext(connection) as asked:
                assert bridge.store_report(take.pk, "a-worker", performance(100 + 2 * number))
            return len(asked)

        spent = [store(number) for number in range(12)]
        assert spent[-1] == spent[1]
        assert not ProbeReport.objects.filter(copy_of__isnull=False).exists()


class TestSignIn:
    def test_is_closed_for_a_while_after_five_wrong_passwords(self, people, settings):
        from django.test import Client
        from django.urls import reverse

        client, url = Client(), reverse("sign-in")
        wrong = {"username": "organizer", "password": "not it"}
        codes = [client.post(url, wrong).status_code for _ in range(settings.AXES_FAILURE_LIMIT)]
        assert set(codes[:-1]) == {200}
        assert codes[-1] == 429
        right = client.post(url, {"username": "organizer", "password": cast.PASSWORD})
        assert right.status_code == 429


class TestAPlainForm:
    def test_sends_a_take_without_a_script(self, player, part, settings):
        from django.core.files.uploadedfile import SimpleUploadedFile
        from django.urls import reverse

        url = reverse("send-take", args=[player.entry.public_id, part.pk])
        response = player.client.post(url, {"video": SimpleUploadedFile("a.mp4", b"bytes", "video/mp4")})
        take = Take.objects.get()
        assert response["Location"] == reverse("my-take", args=[take.public_id])
        assert (take.bytes, take.on_time) == (5, True)
        assert list(settings.SPOOL_DIR.iterdir()) == []

    def test_says_on_its_field_what_is_refused(self, player, part):
        from django.core.files.uploadedfile import SimpleUploadedFile
        from django.urls import reverse

        url = reverse("send-take", args=[player.entry.public_id, part.pk])
        response = player.client.post(url, {"video": SimpleUploadedFile("a.txt", b"bytes", "text/plain")})
        assert response.status_code == 422
        assert not Take.objects.exists()

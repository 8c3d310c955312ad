"""Entering, agreeing, leaving: consent is kept with its text, minors wait for their guardian, withdrawal deletes."""

from datetime import date, timedelta
from io import BytesIO

import pytest
from django.core import mail
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from submissions import actions, tasks
from submissions.models import AgeOfConsent, Chair, Consent, Entry, MailLog, Pick, Take, Upload
from tests import cast

GUARDIAN = "parent@example.org"


@pytest.fixture
def minor(call):
    entry, secret = cast.enter(call, "Young Rook", age_band="14", guardian_email=GUARDIAN)
    client = Client()
    cast.open_link(client, secret)
    return cast.Person(client, entry=entry, secret=secret)


class TestAge:
    @pytest.mark.parametrize(
        ("country", "age"),
        [
            ("DE", 16),
            ("AT", 14),
            ("BE", 13),
            ("CZ", 15),
            ("FR", 15),
            ("IT", 14),
            ("US", 13),
            ("XX", 18),
            ("", 18),
            ("de", 16),
        ],
    )
    def test_of_consent_is_read_by_country(self, db, country, age):
        # Source of the European ages: a law firm's tracker of GDPR Art. 8; of the American one: 16 CFR 312.
        assert AgeOfConsent.for_country(country, date(2026, 11, 25)) == age

    def test_of_consent_changes_on_its_day(self, db):
        AgeOfConsent.objects.create(country="DE", age=15, valid_from=date(2027, 1, 1), source="invented for this test")
        assert AgeOfConsent.for_country("DE", date(2026, 12, 31)) == 16
        assert AgeOfConsent.for_country("DE", date(2027, 1, 1)) == 15

    @pytest.mark.parametrize(
        ("band", "country", "call_age", "needed"),
        [
            ("0", "DE", None, True),
            ("15", "DE", None, True),
            ("16", "DE", None, False),
            ("14", "AT", None, False),
            ("16", "DE", 18, True),
            ("18", "DE", 18, False),
            ("13", "IT", 13, True),
            ("16", "XX", None, True),
        ],
    )
    def test_band_needs_a_guardian_below_the_higher_age(self, call, band, country, call_age, needed):
        call.consent_age = call_age
        assert Entry.must_have_guardian(call, band, country) is needed


class TestAMinor:
    def test_cannot_enter_without_a_guardians_address(self, call):
        with pytest.raises(actions.Refused, match="guardian") as refused:
            cast.enter(call, "Young Rook", age_band="14")
        assert refused.value.field == "guardian_email"

    def test_cannot_be_their_own_guardian(self, call):
        with pytest.raises(actions.Refused, match="own mail address"):
            cast.enter(call, "Young Rook", age_band="14", guardian_email="Young.Rook@example.org")

    def test_take_is_seen_by_the_organizer_alone_until_the_guardian_agrees(self, people, minor, part, call, tmp_path):
        take = cast.make_take(minor.entry, part, tmp_path)
        video = reverse("take-video", args=[take.public_id])
        clients = {name: getattr(people, name).client for name in ("organizer", "editor", "other_player", "stranger")}
        before = {name: client.get(video).status_code for name, client in clients.items()}
        assert before == {"organizer": 200, "editor": 404, "other_player": 404, "stranger": 404}
        assert not Take.objects.for_editor(call).exists()
        actions.guardian_agrees(minor.entry, "Robin Rook", call.consent_texts.first())
        assert clients["editor"].get(video).status_code == 200
        assert clients["stranger"].get(video).status_code == 404
        assert Take.objects.for_editor(call).get() == take

    def test_take_cannot_be_picked_before_and_leaves_its_chair_when_the_yes_is_taken_back(
        self, people, minor, part, call, tmp_path
    ):
        take, chair = cast.make_take(minor.entry, part, tmp_path), part.chairs.get()
        with pytest.raises(actions.Refused, match="has not"):
            actions.pick(chair, take, people.editor.user)
        actions.guardian_agrees(minor.entry, "Robin Rook", call.consent_texts.first())
        actions.pick(chair, take, people.editor.user)
        actions.guardian_takes_back(minor.entry)
        assert not Pick.objects.exists()
        assert people.editor.client.get(reverse("take-video", args=[take.public_id])).status_code == 404
        assert people.organizer.client.get(reverse("take-video", args=[take.public_id])).status_code == 200

    def test_own_link_does_not_open_the_guardians_page(self, minor):
        assert minor.client.get(reverse("guardian", args=[minor.entry.public_id])).status_code == 404

    def test_guardian_agrees_by_the_link_in_the_mail(self, call, at_once):
        from tests.views.test_links import follow, links_in

        with at_once():
            entry, _ = cast.enter(call, "Young Rook", age_band="14", guardian_email=GUARDIAN)
        (message,) = [m for m in mail.outbox if m.to == [GUARDIAN]]
        (secret,) = links_in(message.body)
        guardian = Client()
        page = follow(guardian, secret)["Location"]
        assert guardian.get(reverse("my-page", args=[entry.public_id])).status_code == 404
        guardian.post(page, {"name": "Robin Rook", "agree": "on"})
        consent = entry.consents.get(by="guardian")
        assert (consent.name, consent.text) == ("Robin Rook", call.consent_texts.first())
        assert entry.guardian_agreed


class TestConsent:
    def test_keeps_the_text_it_was_given_to(self, player, call):
        old = call.consent_texts.first()
        new = actions.add_consent_text(call, "Another text.")
        assert (old.version, new.version) == (1, 2)
        assert player.entry.consents.get().text == old
        actions.agree_again(player.entry, new)
        assert player.entry.consents.count() == 2

    def test_to_a_text_that_has_changed_meanwhile_is_refused(self, call):
        old = call.consent_texts.first()
        actions.add_consent_text(call, "Another text.")
        with pytest.raises(actions.Refused, match="changed"):
            actions.enter(call, display_name="A", email="a@example.org", age_band="18", consent_text=old)

    def test_text_that_is_the_same_is_no_new_version(self, call):
        assert actions.add_consent_text(call, call.consent_texts.first().text).version == 1


class TestWithdrawing:
    def test_a_take_deletes_its_file_and_opens_its_chair(self, people, player, part, tmp_path, at_once):
        take = cast.make_take(player.entry, part, tmp_path)
        key = take.storage_key
        actions.pick(part.chairs.get(), take, people.editor.user)
        with at_once():
            actions.withdraw_take(take)
        take.refresh_from_db()
        assert not default_storage.exists(key)
        assert (take.storage_key, take.filename, bool(take.withdrawn_at)) == ("", "", True)
        assert not Pick.objects.exists()
        assert [m.to for m in mail.outbox] == [["organizer@example.org"]]
        for person in (people.organizer, player):
            assert person.client.get(reverse("take-video", args=[take.public_id])).status_code == 404

    def test_altogether_forgets_name_address_files_and_uploads(self, people, player, part, tmp_path, at_once, settings):
        take, upload = cast.make_take(player.entry, part, tmp_path), player.upload(part)
        actions.receive_bytes(upload, 0, BytesIO(b"abc").read)
        name, address = player.entry.display_name, player.entry.email
        with at_once():
            actions.withdraw_entry(player.entry)
        player.entry.refresh_from_db()
        assert not default_storage.exists(take.storage_key)
        assert not Upload.objects.exists()
        assert list(settings.SPOOL_DIR.iterdir()) == []
        stored = str(list(Entry.objects.filter(pk=player.entry.pk).values())) + str(list(Take.objects.values()))
        assert name not in stored
        assert address not in stored
        assert [m.to for m in mail.outbox] == [["organizer@example.org"]]
        assert not Consent.objects.filter(entry=player.entry, withdrawn_at=None).exists()

    def test_reopens_the_chair_on_the_board(self, people, player, part, call, tmp_path, at_once):
        from submissions import overview

        take = cast.make_take(player.entry, part, tmp_path)
        actions.pick(part.chairs.get(), take, people.editor.user)
        with at_once():
            actions.withdraw_entry(player.entry)
        (now,) = [now for now in overview.parts_now(call) if now.part == part]
        assert [state for state, _ in now.seat_states] == ["empty"]


class TestMyData:
    def test_holds_everything_of_mine_and_nothing_of_others(self, people, player, part, tmp_path):
        cast.make_take(player.entry, part, tmp_path, content=b"mine")
        cast.make_take(people.other_player.entry, part, tmp_path, content=b"theirs")
        response = player.client.get(reverse("my-data", args=[player.entry.public_id]))
        data = response.json()
        assert data["entry"]["email"] == player.entry.email
        assert data["consents"][0]["text"] == cast.CONSENT
        assert len(data["takes"]) == 1
        assert people.other_player.entry.email not in response.content.decode()
        assert "digest" not in response.content.decode()


class TestTryOuts:
    def test_are_shown_to_nobody_and_deleted_after_two_days(self, people, player, part, call, tmp_path):
        take = cast.make_take(player.entry, part, tmp_path, is_tryout=True)
        video = reverse("take-video", args=[take.public_id])
        assert player.client.get(video).status_code == 200
        assert people.organizer.client.get(video).status_code == 404
        assert not Take.objects.for_organizer(call).exists()
        tasks.tidy()
        assert Take.objects.count() == 1
        assert take.delete_after - take.received_at == timedelta(days=2)
        Take.objects.update(delete_after=timezone.now() - timedelta(seconds=1))
        tasks.tidy()
        assert not Take.objects.exists()
        assert not default_storage.exists(take.storage_key)


class TestMail:
    def test_on_entering_holds_a_way_back_and_a_way_to_stop(self, call, at_once):
        from tests.views.test_links import follow, links_in

        with at_once():
            entry, _ = cast.enter(call, "Wren Aster")
        (message,) = mail.outbox
        assert message.to == [entry.email]
        assert call.title in message.subject
        assert follow(Client(), *links_in(message.body)).status_code == 302
        (stop,) = links_in(message.body, "stop-mail")
        assert stop in message.extra_headers["List-Unsubscribe"]
        client = Client()
        assert client.get(reverse("stop-mail", args=[stop])).status_code == 200
        entry.refresh_from_db()
        assert entry.mail_stopped == []  # mail programs open links by themselves: opening stops nothing
        client.post(reverse("stop-mail", args=[stop]))
        entry.refresh_from_db()
        assert entry.mail_stopped == ["link"]

    @pytest.mark.parametrize("kind", ["link", "guardian", "verdict", "decision", "reminder", "thanks"])
    def test_of_every_kind_can_be_written_in_every_language_and_stopped(
        self, people, part, call, tmp_path, settings, kind, at_once
    ):
        entry, _ = cast.enter(call, "Young Rook", age_band="14", guardian_email=GUARDIAN, zone="Asia/Kathmandu")
        take = cast.make_take(entry, part, tmp_path)
        decision = actions.decide(take, people.organizer.user, "redo", "The last bar again, please.")
        from submissions.models import ProbeReport

        report = cast.report_object("redo")
        ProbeReport.objects.create(take=take, verdict="redo", zero_from="marks", body=report)
        key = {"verdict": f"take-{take.pk}", "decision": f"decision-{decision.pk}"}.get(kind, "x")
        for number, (language, _) in enumerate(settings.LANGUAGES):
            Entry.objects.filter(pk=entry.pk).update(language=language)
            MailLog.objects.all().delete()
            with at_once():
                tasks.order_mail(kind, Entry.objects.get(pk=entry.pk), key)
            assert len(mail.outbox) == number + 1
            message = mail.outbox[-1]
            assert "{" not in message.subject + message.body
            assert settings.BASE_URL in message.body
            assert "/stop/" in message.body
            assert message.subject.strip()
        actions.stop_mail(Entry.objects.get(pk=entry.pk), kind)
        MailLog.objects.all().delete()
        with at_once():
            tasks.order_mail(kind, Entry.objects.get(pk=entry.pk), key)
        assert len(mail.outbox) == len(settings.LANGUAGES)

    def test_that_was_stopped_after_it_was_ordered_does_not_go_out(self, player):
        row = tasks.mail.order("reminder", player.entry, "3-days")
        actions.stop_mail(player.entry, "reminder")
        tasks.mail_out(row.pk)
        assert mail.outbox == []

    def test_goes_out_once_however_often_its_task_runs(self, player):
        row = tasks.mail.order("reminder", player.entry, "3-days")
        assert tasks.mail.order("reminder", player.entry, "3-days") is None
        for _ in range(3):
            tasks.mail_out(row.pk)
        assert len(mail.outbox) == 1

    def test_that_failed_to_go_out_is_tried_again_later_and_later(self, player, monkeypatch):
        def down(self):
            raise OSError("the mail server is away")

        row = tasks.mail.order("reminder", player.entry, "3-days")
        links = player.entry.links.count()
        with monkeypatch.context() as patch:
            patch.setattr("django.core.mail.EmailMessage.send", down)
            for tries in (1, 2):
                with pytest.raises(OSError, match="away"):
                    tasks.mail_out(row.pk)
                row.refresh_from_db()
                wait = row.next_try_at - timezone.now()
                assert (row.tries, round(wait.total_seconds(), -1)) == (tries, 30 * 2 ** (tries - 1))
        assert player.entry.links.count() == links
        MailLog.objects.exclude(pk=row.pk).delete()
        assert tasks.mail.overdue() == []
        MailLog.objects.update(next_try_at=timezone.now(), ordered_at=timezone.now() - timedelta(minutes=1))
        assert tasks.mail.overdue() == [row.pk]
        tasks.mail_out(row.pk)
        assert len(mail.outbox) == 1
        assert tasks.mail.overdue() == []

    def test_is_not_lost_with_the_broker(self, call, settings, django_capture_on_commit_callbacks, monkeypatch):
        """Entering, and sending a take, work while the broker is away; the sweep makes up for it."""
        from kombu.exceptions import OperationalError

        def away(*arguments):
            raise OperationalError("connection refused")

        with monkeypatch.context() as patch:
            patch.setattr("celery.app.task.Task.delay", away)
            with django_capture_on_commit_callbacks(execute=True):
                entry, _ = cast.enter(call, "Wren Aster")
        assert mail.outbox == []
        MailLog.objects.update(ordered_at=timezone.now() - timedelta(minutes=1))
        (pk,) = tasks.mail.overdue()
        tasks.mail_out(pk)
        assert [m.to for m in mail.outbox] == [[entry.email]]

    def test_reminds_those_without_a_take_once_at_three_days_and_once_at_one(
        self, people, part, call, tmp_path, at_once
    ):
        cast.make_take(people.other_player.entry, part, tmp_path)

        def remind(days: float) -> list:
            mail.outbox.clear()
            call.deadline = timezone.now() + timedelta(days=days)
            call.save()
            for _ in range(2):
                with at_once():
                    tasks.remind()
            return [m.to for m in mail.outbox]

        mine = [[people.player.entry.email]]
        assert [remind(days) for days in (5, 2.5, 2, 0.5, -1)] == [[], mine, [], mine, []]

    def test_thanks_those_who_sent_one(self, people, part, call, tmp_path, at_once):
        cast.make_take(people.player.entry, part, tmp_path)
        with at_once():
            actions.close_call(call)
        assert [m.to for m in mail.outbox] == [[people.player.entry.email]]


class TestChairs:
    def test_with_a_pick_are_not_taken_away(self, people, player, part, tmp_path):
        actions.set_chairs(part, 2)
        take = cast.make_take(player.entry, part, tmp_path)
        actions.pick(Chair.objects.get(part=part, number=2), take, people.editor.user)
        with pytest.raises(actions.Refused, match="picked"):
            actions.set_chairs(part, 1)
        assert part.chairs.count() == 2

"""The organizer's and the editor's pages: signing in, making a call, what was read, the shortlist's order."""

import hashlib
import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from submissions import actions, files
from submissions.models import Call, PartRow, Take
from submissions.models.base import Work
from tests import cast
from tests.journeys import gallery

FORM = {
    "title": "Night Ferry", "about": "One line on one screen.", "deadline": "2031-06-01T20:00", "deadline_zone": "Europe/Lisbon", "grace_minutes": "60",
    "count_off_bars": "2", "ladder_from_bpm": "80", "ladder_steps": "5", "max_take_minutes": "10", "consent_text": "I agree.", "rights_statement": "",
}  # fmt: skip


def text_of(response) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


class TestSigningIn:
    def test_rests_after_too_many_wrong_passwords_and_says_so(self, client, call, settings):
        url = reverse("sign-in")
        answers = [client.post(url, {"username": "organizer", "password": "wrong"}) for _ in range(settings.AXES_FAILURE_LIMIT + 1)]
        assert answers[0].status_code == 200
        assert answers[-1].status_code == 429
        assert "The password was wrong too often." in text_of(answers[-1])

    def test_sends_a_visitor_of_the_desk_there_and_back(self, client, call):
        response = client.get(reverse("board", args=[call.slug]))
        assert response["Location"] == f"{reverse('sign-in')}?next={reverse('board', args=[call.slug])}"


class TestMakingACall:
    # Deadlines on both sides of summer time, computed with zoneinfo from the IANA data (check values of the project).
    @pytest.mark.parametrize(
        ("local", "zone", "says"),
        [
            ("2026-03-08T02:30", "America/New_York", "does not exist"),
            ("2026-11-01T01:30", "America/New_York", "happens twice"),
            ("2026-03-29T01:30", "Europe/London", "does not exist"),
            ("2031-06-01T20:00", "Europe/Nowhere", "not a known time zone"),
        ],
    )
    def test_asks_about_a_deadline_that_is_none_and_forgets_nothing(self, people, local, zone, says):
        page = text_of(people.organizer.client.post(reverse("new-call"), FORM | {"deadline": local, "deadline_zone": zone}))
        assert says in page and 'value="Night Ferry"' in page
        assert not Call.objects.filter(title="Night Ferry").exists()

    def test_takes_the_later_of_two_times_when_told_so(self, people):
        people.organizer.client.post(reverse("new-call"), FORM | {"deadline": "2026-11-01T01:30", "deadline_zone": "America/New_York", "fold": "1"})
        assert f"{Call.objects.get(title='Night Ferry').deadline:%H:%M}" == "06:30"  # UTC

    def test_shows_what_is_missing_until_it_can_be_published(self, people, call):
        draft = cast.make_call(people.organizer.user, people.editor.user, title="A Draft", published=False)
        page = reverse("segments", args=[draft.slug])
        assert "State whose music it is" in text_of(people.organizer.client.get(page))
        actions.state_rights(draft, "Ours.")
        assert "Publish the call" in text_of(people.organizer.client.get(page))

    def test_refuses_what_is_no_score_in_a_sentence(self, people, call):
        sent = SimpleUploadedFile("score.musicxml", b"<html>no music</html>")
        page = text_of(people.organizer.client.post(reverse("segments", args=[call.slug]), {"score": sent, "times": "1"}))
        assert 'class="wrong"' in page and "Traceback" not in page


class TestChangingASegment:
    """A corrected score takes the place of the one that is in."""

    @staticmethod
    def change(people, part, content: bytes | None = None, **typed):
        sent = {"title": "", "times": "1"} | typed
        if content is not None:
            sent["score"] = SimpleUploadedFile("corrected.musicxml", content)
        return people.organizer.client.post(reverse("change-segment", args=[part.segment.call.slug, part.segment_id]), sent, follow=True)

    def test_puts_a_new_score_in_and_measures_its_takes_again(self, people, part, tmp_path):
        take = cast.make_take(people.player.entry, part, tmp_path)
        Take.objects.filter(pk=take.pk).update(work=Work.DONE)
        page = text_of(self.change(people, part, cast.score().replace(b"<work-title>", b"<work-title>New ", 1) + b"\n"))
        take.refresh_from_db()
        part.segment.refresh_from_db()
        assert "1 take is measured again." in page and take.work == Work.WAITING
        assert part.segment.score_sha256 == hashlib.sha256(files.read_bytes(part.segment.score)).hexdigest()

    def test_with_the_score_that_is_there_measures_nothing_again(self, people, part, tmp_path):
        take = cast.make_take(people.player.entry, part, tmp_path)
        Take.objects.filter(pk=take.pk).update(work=Work.DONE)
        page = text_of(self.change(people, part, cast.score(), title="Bright Water", times="3"))
        part.segment.refresh_from_db()
        take.refresh_from_db()
        assert "The score is the one that was there." in page and take.work == Work.DONE
        assert (part.segment.title, part.segment.times) == ("Bright Water", 3)

    def test_refuses_a_score_without_a_part_that_takes_were_sent_for(self, people, part, tmp_path):
        cast.make_take(people.player.entry, part, tmp_path)
        before = part.segment.score_sha256
        other = cast.score().replace(f'"{part.part_id}"'.encode(), b'"Somebody-else"')
        page = text_of(self.change(people, part, other, title="Kept Typing"))
        part.segment.refresh_from_db()
        assert "lacks a part that takes were already sent for" in page and 'value="Kept Typing"' in page
        assert part.segment.score_sha256 == before

    def test_refuses_what_is_no_score_and_keeps_the_old_one(self, people, part):
        before = part.segment.score_sha256
        page = text_of(self.change(people, part, b"<html>no music</html>"))
        part.segment.refresh_from_db()
        assert 'class="wrong"' in page and part.segment.score_sha256 == before

    def test_takes_away_a_part_that_nobody_sent_a_take_for_and_says_who_chose_it(self, people, part):
        other = cast.score().replace(f'"{part.part_id}"'.encode(), b'"Somebody-else"')
        actions.choose_parts(people.player.entry, [part])
        page = text_of(self.change(people, part, other))
        assert "1 player had chosen a part that is no longer there" in page
        assert not PartRow.objects.filter(pk=part.pk).exists()


class TestTheReading:
    def test_of_a_part_shows_bars_strokes_and_rolls(self, people, call, part):
        page = text_of(people.organizer.client.get(reverse("desk-part", args=[call.slug, part.pk])))
        assert "Everything in this part was read." in page and "How rolls were read" in page


class TestTheShortlist:
    def test_has_the_evener_take_first_and_says_why(self, people, call, part, tmp_path):
        gallery.report(cast.make_take(people.player.entry, part, tmp_path, b"loose"), "ready", 26.0)
        gallery.report(cast.make_take(people.other_player.entry, part, tmp_path, b"even"), "ready", 8.0)
        page = text_of(people.editor.client.get(reverse("shortlist", args=[call.slug, part.pk])))
        assert page.index("Ivo Larch") < page.index("Wren Aster")
        assert "strokes within 8.0 ms of even" in page

    def test_plays_from_zero_less_its_nudge(self, people, call, part, tmp_path):
        take = cast.make_take(people.player.entry, part, tmp_path)
        gallery.report(take, "ready")
        pick = actions.pick(part.chairs.first(), take, people.editor.user)
        actions.apply_nudge(pick, people.editor.user, -250.0)
        page = text_of(people.editor.client.get(reverse("bench", args=[call.slug])))
        assert f'data-zero="{cast.report_object()["zero_s"] + 0.25:.6f}"' in page  # 250 ms earlier: its zero comes later in the file

    def test_leaves_out_a_minor_until_the_guardian_agreed(self, people, call, part, tmp_path):
        entry, _secret = cast.enter(call, "Evi Brook", age_band="13", guardian_email="brook.family@example.org")
        gallery.report(cast.make_take(entry, part, tmp_path), "ready")
        url = reverse("shortlist", args=[call.slug, part.pk])
        assert "Evi Brook" not in text_of(people.editor.client.get(url))
        actions.guardian_agrees(entry, "A. Brook", call.consent_texts.first())
        assert "Evi Brook" in text_of(people.editor.client.get(url))


class TestThePlayersDesk:
    def test_a_deadline_passed_closes_every_way_in(self, people, call, part):
        Call.objects.filter(pk=call.pk).update(deadline=timezone.now() - timedelta(minutes=1))
        page = text_of(people.player.client.get(reverse("my-page", args=[people.player.entry.public_id])))
        assert "Send a take" not in page
        assert people.player.client.get(reverse("enter", args=[call.slug])).status_code == 302

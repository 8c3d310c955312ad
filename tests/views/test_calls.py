"""The public pages of a call: what they say, the calendar file, entering, and what the board counts."""

import re
from datetime import UTC, datetime

import pytest
from django.urls import reverse
from icalendar import Calendar

from submissions import actions, overview
from submissions.models import Entry, PartRow
from tests import cast
from tests.journeys import gallery


def text_of(response) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


class TestTheCallPage:
    def test_says_in_its_head_what_how_long_and_where_to_begin(self, client, call):
        page = text_of(client.get(reverse("call", args=[call.slug])))
        head = page.split("The line from above")[0]
        assert (
            call.about in head and "days" in head and "(Europe/London)" in head and "Choose my part and enter" in head
        )

    def test_shows_a_head_for_every_chair(self, client, call):
        page = text_of(client.get(reverse("call", args=[call.slug])))
        wanted = sum(part.chairs.count() for part in PartRow.objects.filter(segment__call=call))
        assert page.count('<li class="chair') == wanted

    def test_leads_a_beginner_to_an_easy_part_with_an_open_chair(self, client, call):
        PartRow.objects.filter(segment__call=call).update(demand={"level": "advanced", "rank": 3})
        easy = PartRow.objects.get(segment__call=call, instrument="bass", drum="all")
        PartRow.objects.filter(pk=easy.pk).update(demand={"level": "first-year", "rank": 0})
        actions.set_chairs(easy, 1)
        page = text_of(client.get(reverse("call", args=[call.slug])))
        assert (
            "New to this?" in page and reverse("part", args=[call.slug, easy.pk]) in page.split("New to this?")[1][:400]
        )

    def test_tells_nobody_who_plays(self, client, people, call, part, tmp_path):
        gallery.report(cast.make_take(people.player.entry, part, tmp_path), "ready")
        page = text_of(client.get(reverse("call", args=[call.slug])))
        assert "Wren Aster" not in page

    def test_says_when_it_is_over(self, client, call):
        actions.close_call(call)
        page = text_of(client.get(reverse("call", args=[call.slug])))
        assert "This call is closed" in page and "Choose my part and enter" not in page


class TestTheCalendarFile:
    def test_is_read_by_a_calendar_library_and_ends_at_the_deadline(self, client, call):
        """RFC 5545 through the icalendar library; lines are folded at 75 octets and end in CRLF (section 3.1)."""
        call.title = "é" * 60
        call.deadline = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)  # 01:30 in London, which happens twice that night
        call.save()
        content = client.get(reverse("calendar", args=[call.slug])).content
        event = Calendar.from_ical(content).walk("VEVENT")[0]
        assert event["DTEND"].dt == call.deadline
        assert event["UID"] and event["DTSTAMP"]
        lines = content.split(b"\r\n")
        assert len(lines) > 10 and all(len(line) <= 75 for line in lines)


class TestEntering:
    FORM = {
        "display_name": "Ash Pell",
        "email": "ash.pell@example.org",
        "age_band": "18",
        "country": "IE",
        "agree": "on",
    }

    def post(self, client, call, **changes):
        part = PartRow.objects.get(segment__call=call, instrument="snare")
        return client.post(reverse("enter", args=[call.slug]), self.FORM | {"parts": [part.pk]} | changes)

    def test_needs_no_account(self, client, call):
        response = self.post(client, call)
        entry = Entry.objects.get(display_name="Ash Pell")
        assert response["Location"] == reverse("my-page", args=[entry.public_id])
        assert client.get(response["Location"]).status_code == 200

    def test_forgets_nothing_that_was_typed(self, client, call):
        page = text_of(self.post(client, call, email="no address", agree=""))
        assert 'value="Ash Pell"' in page and 'value="no address"' in page and 'value="18" selected' in page
        assert re.search(r'name="parts" value="\d+" checked', page)
        assert 'aria-invalid="true"' in page

    def test_asks_a_minor_for_a_guardian(self, client, call):
        page = text_of(self.post(client, call, age_band="13"))
        assert "a parent or guardian must agree" in page
        assert not Entry.objects.filter(display_name="Ash Pell").exists()

    def test_says_no_to_too_many_in_a_plain_page(self, client, call, settings):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"entry": (2, 3600)}
        answers = [self.post(client, call, email=f"ash{n}@example.org").status_code for n in range(4)]
        assert answers[-1] == 429

    @pytest.mark.parametrize("purpose", ["name", "email", "country"])
    def test_lets_the_browser_fill_it_in(self, client, call, purpose):
        assert f'autocomplete="{purpose}"' in text_of(client.get(reverse("enter", args=[call.slug])))


class TestANewConsentText:
    def test_is_shown_until_the_player_says_yes_to_it_and_the_old_yes_stays(self, people, call):
        entry, client = people.player.entry, people.player.client
        page = reverse("my-page", args=[entry.public_id])
        assert "The text you agreed to has changed." not in text_of(client.get(page))
        newest = actions.add_consent_text(call, "I agree, and to the broadcast too.")
        assert "and to the broadcast too" in text_of(client.get(page))
        client.post(reverse("agree-again", args=[entry.public_id]))
        assert "The text you agreed to has changed." not in text_of(client.get(page))
        assert set(entry.consents.values_list("text__version", flat=True)) == {1, newest.version}


class TestANewLink:
    def test_is_answered_alike_whether_the_address_is_known(self, client, call, people):
        url = reverse("renew-link", args=[call.slug])
        known = client.post(url, {"email": people.player.entry.email}, follow=True)
        unknown = client.post(url, {"email": "nobody@example.org"}, follow=True)
        cookie = re.compile(r'value="[\w-]{64}"')
        assert cookie.sub("", text_of(known)) == cookie.sub("", text_of(unknown))


class TestTheBoard:
    def test_counts_what_was_wanted_what_came_and_how_it_is(self, people, call, part, tmp_path):
        actions.set_chairs(part, 3)
        gallery.report(cast.make_take(people.player.entry, part, tmp_path, b"one"), "ready")
        gallery.report(cast.make_take(people.other_player.entry, part, tmp_path, b"two"), "redo")
        now = next(n for n in overview.parts_now(call) if n.part.pk == part.pk)
        assert (now.wanted, now.received, now.ready, now.redo, now.open) == (3, 2, 1, 1, 2)
        page = text_of(people.organizer.client.get(reverse("board", args=[call.slug])))
        row = page.split(f'{reverse("part-takes", args=[call.slug, part.pk])}">Snare<')[1].split("</tr>")[0]
        assert re.findall(r'class="number">(?:<b>)?(\d+)', row) == ["2", "3", "1", "0", "1", "2"]

    def test_leaves_tryouts_out(self, people, call, part, tmp_path):
        cast.make_take(people.player.entry, part, tmp_path, is_tryout=True)
        now = next(n for n in overview.parts_now(call) if n.part.pk == part.pk)
        assert now.received == 0

    def test_costs_the_same_number_of_queries_however_many_players_there_are(
        self, call, part, tmp_path, django_assert_num_queries
    ):
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as few:
            overview.parts_now(call)
        for n in range(6):
            entry, _secret = cast.enter(call, f"Player {n}")
            gallery.report(cast.make_take(entry, part, tmp_path, f"{n}".encode()), "ready")
        with CaptureQueriesContext(connection) as many:
            overview.parts_now(call)
        assert len(many) <= len(few) + 1  # decisions are fetched once there are takes

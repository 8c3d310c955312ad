"""The organizer sets right how a part was read: the page, what is refused, and what is done again afterwards."""

import re

import pytest
from django.core import mail as outbox
from django.urls import reverse
from django.utils import timezone

from submissions import actions, bridge, tasks
from submissions.engine.music.written import DrumPlace, RollReading
from submissions.forms import CorrectionsForm
from submissions.models import MailLog, PartRow, Pick, Preview, ProbeReport, Take
from submissions.models.base import Work
from tests import cast
from tests.journeys import gallery


@pytest.fixture
def snare(part):
    return part


@pytest.fixture
def basses(call):
    """Rows of the bass line, by drum."""
    return {row.drum: row for row in PartRow.objects.filter(segment__call=call, instrument="bass")}


def page_of(response) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


def url_of(part: PartRow) -> str:
    return reverse("correct-reading", args=[part.segment.call.slug, part.pk])


def fields_of(organizer, part: PartRow) -> dict[str, object]:
    """What the page would send back unchanged."""
    form = organizer.client.get(url_of(part)).context["form"]
    return {
        name: form[name].initial for name in form.fields if form[name].initial is not None and form[name].initial != []
    }


class TestThePage:
    def test_names_every_roll_with_bar_and_count_and_what_it_was_read_as(self, people, snare):
        page = page_of(people.organizer.client.get(url_of(snare)))
        for roll in bridge.part_of(snare).rolls:
            assert f"Bar {roll.bar}, count {roll.count}".replace("&", "&amp;") in page
            assert roll.says in page

    def test_shows_the_bars_where_the_sheet_is_made(self, people, snare):
        assert "bar-picture" not in page_of(people.organizer.client.get(url_of(snare)))
        roll = bridge.part_of(snare).rolls[0]
        made = {"sheets": ["sheet.svg"], "bars": {f"bar-{roll.bar}": [10, 20, 300, 200]}, "sheet_size": [1116, 900]}
        PartRow.objects.filter(pk=snare.pk).update(materials=made)
        page = page_of(people.organizer.client.get(url_of(snare)))
        assert 'viewBox="10 20 300 200"' in page and 'sheet.svg" width="1116" height="900"' in page
        assert f'aria-label="Bar {roll.bar} of the sheet"' in page

    def test_says_how_many_takes_get_a_new_answer(self, people, player, snare, tmp_path):
        assert "is already here" not in page_of(people.organizer.client.get(url_of(snare)))
        cast.make_take(player.entry, snare, tmp_path)
        cast.make_take(player.entry, snare, tmp_path, b"a try", is_tryout=True)  # which the organizer never hears of
        assert "1 take is already here" in page_of(people.organizer.client.get(url_of(snare)))

    def test_lets_every_place_of_the_bass_line_be_several_drums(self, people, basses):
        page = page_of(people.organizer.client.get(url_of(basses["2"])))
        places = bridge.part_of(basses["2"], whole=True).drum_map
        assert page.count('type="checkbox"') == 5 * len(places) == 25
        assert "over the staff" in page and "space 4 from below" in page

    def test_is_for_its_organizer_alone(self, people, player, snare):
        for person in (people.editor, people.other_organizer, player):
            assert person.client.get(url_of(snare)).status_code in (302, 404)
            assert person.client.post(url_of(snare), {"roll-0": "1"}).status_code in (302, 404)
        snare.segment.refresh_from_db()
        assert snare.segment.corrections == {}

    def test_speaks_german(self, people, snare):
        page = page_of(people.organizer.client.get(url_of(snare), headers={"accept-language": "de"}))
        assert "Richtigstellen, wie gelesen wurde" in page and "Strich" in page and "slash" not in page


class TestTheForm:
    """A six-drum line, and a part so long that one field a roll would be more than a form may have."""

    @staticmethod
    def reading(rolls=(), drums=(), instrument="bass") -> dict:
        return {"rolls": rolls, "drums": drums, "instrument": instrument}

    def test_offers_every_drum_that_was_read_and_changes_none_by_itself(self):
        place = DrumPlace("C4", (6,), 3, "place 6 of 6 from the top of the staff", (6,), (1,))
        form = CorrectionsForm(self.reading(drums=[place]), {"drums-0": ["6"]})
        assert form.is_valid() and form.wanted_drums == {}

    def test_of_a_long_part_has_one_field_for_all_alike_and_keeps_what_was_set(self):
        rolls = [RollReading(bar, "1", 3, 8, "", "roll", 8, 0.5) for bar in range(1, 701)]
        rolls[4] = RollReading(5, "1", 3, 4, "", "roll", 8, 0.5, corrected=True)
        form = CorrectionsForm(self.reading(rolls, instrument="snare"), {"alike-0": ""})
        assert list(form.fields) == ["alike-0"] and form.is_valid()
        assert form.wanted_rolls == {(5, "1"): 4}
        form = CorrectionsForm(self.reading(rolls, instrument="snare"), {"alike-0": "6"})
        assert form.is_valid() and len(form.wanted_rolls) == 700 and set(form.wanted_rolls.values()) == {6}


class TestWhatIsRefused:
    def test_is_said_on_its_field_and_what_was_typed_stays(self, people, snare):
        roll = bridge.part_of(snare).rolls[0]
        answer = people.organizer.client.post(url_of(snare), fields_of(people.organizer, snare) | {"roll-0": "200"})
        assert answer.status_code == 422
        assert f"Bar {roll.bar}, count {roll.count}".replace("&", "&amp;") in page_of(answer)
        assert "the note is too short for 200 strokes; at most 6 can be played" in page_of(answer)
        assert 'value="200"' in page_of(answer)

    @pytest.mark.parametrize("typed", ["-1", "two", "9999", "1.5"])
    def test_is_everything_but_a_sensible_number(self, people, snare, typed):
        answer = people.organizer.client.post(url_of(snare), fields_of(people.organizer, snare) | {"roll-0": typed})
        assert answer.status_code == 422 and 'aria-invalid="true"' in page_of(answer)

    def test_is_a_line_without_any_drum(self, people, basses):
        answer = people.organizer.client.post(url_of(basses["1"]), {})
        assert answer.status_code == 422 and "Tick at least one drum" in page_of(answer)

    def test_is_taking_away_a_drum_that_takes_were_sent_for(self, people, player, basses, tmp_path):
        cast.make_take(player.entry, basses["5"], tmp_path)
        sent = fields_of(people.organizer, basses["5"])
        last = max(name for name in sent if name.startswith("drums-"))
        del sent[last]
        answer = people.organizer.client.post(url_of(basses["5"]), sent)
        assert answer.status_code == 422 and "would have no stroke left" in page_of(answer)
        basses["5"].segment.refresh_from_db()
        assert basses["5"].segment.corrections == {} and PartRow.objects.filter(pk=basses["5"].pk).exists()


class TestACorrection:
    def correct(self, people, part, **changes) -> None:
        answer = people.organizer.client.post(url_of(part), fields_of(people.organizer, part) | changes)
        assert answer.status_code == 302, page_of(answer)
        part.segment.refresh_from_db()

    def test_of_nothing_changes_nothing(self, people, snare):
        PartRow.objects.update(work=Work.DONE)
        self.correct(people, snare)
        assert snare.segment.corrections == {} and not PartRow.objects.exclude(work=Work.DONE).exists()

    def test_reaches_what_is_scored_and_is_the_parts_own(self, people, snare):
        roll = bridge.part_of(snare).rolls[0]
        before = len(bridge.part_of(snare).scored())
        self.correct(people, snare, **{"roll-0": "2"})
        assert snare.segment.corrections == {"P1": {"rolls": [[roll.bar, roll.count, 2]]}}
        snare.refresh_from_db()
        assert len(bridge.part_of(snare).scored()) == before + 2 - roll.strokes_a_note

    def test_of_all_alike_is_one_field(self, people, snare):
        self.correct(people, snare, **{"alike-0": "1"})
        wanted = snare.segment.corrections["P1"]["rolls"]
        alike = [r for r in bridge.part_of(snare).rolls if r.read_as == 2]
        assert len(wanted) == len(alike) > 1 and {strokes for *_, strokes in wanted} == {1}

    def test_goes_back_to_our_own_reading_with_an_empty_field(self, people, snare):
        self.correct(people, snare, **{"roll-0": "2"})
        self.correct(people, snare, **{"roll-0": ""})
        assert snare.segment.corrections == {}

    def test_makes_the_parts_materials_anew_and_no_others(self, people, snare):
        PartRow.objects.update(work=Work.DONE)
        self.correct(people, snare, **{"roll-0": "2"})
        assert list(PartRow.objects.filter(work=Work.WAITING)) == [snare]

    def test_is_told_to_players_who_look_at_the_old_sheet(self, people, player, snare):
        click = {"bpm": 108, "file": "c.wav", "zero_s": 8.0, "marks_s": [[0.5, 1.3], [20, 21]], "performance": True}
        PartRow.objects.update(work=Work.DONE, materials={"clicks": [click], "sheets": ["sheet-a4.pdf", "sheet.svg"]})
        address = reverse("part", args=[snare.segment.call.slug, snare.pk])
        assert "made anew" not in page_of(player.client.get(address))
        self.correct(people, snare, **{"roll-0": "2"})
        assert "made anew" in page_of(player.client.get(address))

    def test_of_the_bass_line_makes_and_drops_drums_and_says_who_had_chosen_them(self, people, player, basses):
        player.entry.parts.add(basses["1"])
        sent = fields_of(people.organizer, basses["1"])
        first = next(name for name in sorted(sent) if name.startswith("drums-"))
        answer = people.organizer.client.post(url_of(basses["1"]), sent | {first: ["2"]})
        assert answer.status_code == 302
        assert "1 player had chosen a part that is no longer there" in page_of(
            people.organizer.client.get(answer["Location"])
        )
        left = PartRow.objects.filter(segment=basses["2"].segment, instrument="bass")
        assert sorted(left.values_list("drum", flat=True)) == ["2", "3", "4", "5", "all"]
        assert all(bridge.part_of(row).strokes for row in left)

    def test_has_takes_measured_again_and_keeps_what_people_decided(self, people, player, snare, tmp_path):
        take = cast.make_take(player.entry, snare, tmp_path)
        other = cast.make_take(player.entry, PartRow.objects.get(segment=snare.segment, instrument="tenors"), tmp_path)
        gallery.report(take, "ready")
        gallery.report(other, "ready")
        Preview.objects.create(take=take)
        actions.pick(snare.chairs.first(), take, people.editor.user)
        actions.decide(take, people.organizer.user, "accept")
        self.correct(people, snare, **{"roll-0": "2"})
        take.refresh_from_db()
        assert (take.work, take.attempts) == (Work.WAITING, 0) and not ProbeReport.objects.filter(take=take).exists()
        assert not Preview.objects.filter(take=take).exists()
        assert Pick.objects.get().take == take and take.decision.word == "accept"
        assert ProbeReport.objects.filter(take=other).exists()
        page = page_of(player.client.get(reverse("my-take", args=[take.public_id])))
        assert "measured once more" in page

    def test_takes_the_work_out_of_the_hands_of_a_worker_with_the_old_page(self, people, player, snare, tmp_path):
        take = cast.make_take(player.entry, snare, tmp_path)
        cast.lease(take)
        self.correct(people, snare, **{"roll-0": "2"})
        take.refresh_from_db()
        assert (take.work, take.leased_by) == (Work.WAITING, "")

    def test_tells_the_player_once_more_and_why(self, people, player, snare, tmp_path):
        take = cast.make_take(player.entry, snare, tmp_path)
        gallery.report(take, "look")
        says = {"says": "The click can be heard (18 dB under the drums).", "do": "Nothing to do.", "at_s": []}
        body = take.report.body | {"findings": [{"code": "click-audible", "level": "look"} | says]}
        ProbeReport.objects.filter(take=take).update(body=body)
        Take.objects.filter(pk=take.pk).update(probed_at=timezone.now())
        tasks.order_mail("verdict", take.entry, f"take-{take.pk}-again-20260101000000")
        row = MailLog.objects.get(kind="verdict")
        player.entry.language = "de"
        player.entry.save()
        tasks.mail_out(row.pk)
        text = outbox.outbox[-1].body
        assert "noch einmal gemessen" in text
        assert "- Der Click ist zu hören (18 dB unter der Trommel). Du musst nichts tun." in text

    def test_is_forgotten_with_a_new_score(self, people, snare):
        self.correct(people, snare, **{"roll-0": "2"})
        actions.update_segment(snare.segment, score=cast.score(1))
        snare.segment.refresh_from_db()
        assert snare.segment.corrections == {}

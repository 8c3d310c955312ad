"""Who may have which page: the named cast against every address that names an object."""

import pytest
from django.urls import reverse

from submissions import actions
from tests import cast

EVERYBODY = {"player", "other_player", "organizer", "editor", "stranger", "other_organizer"}
DESK = {"organizer", "editor"}


@pytest.fixture
def places(people, part, call, tmp_path):
    """Every object of the call that an address can name."""
    take = cast.make_take(people.player.entry, part, tmp_path)
    pick = actions.pick(part.chairs.get(), take, people.editor.user)
    export = actions.order_export(call, people.editor.user, "offsets-json")
    upload = people.player.upload(part)
    return {
        "call": call.slug,
        "part": part.pk,
        "segment": part.segment_id,
        "entry": people.player.entry.public_id,
        "take": take.public_id,
        "pick": pick.pk,
        "export": export.public_id,
        "upload": upload.public_id,
    }


# Name of the address, what it names, who may read it. Everybody else gets 404 (or is sent to sign in: 302).
READING = [
    ("call", ("call",), EVERYBODY),
    ("calendar", ("call",), EVERYBODY),
    ("part", ("call", "part"), EVERYBODY),
    ("practice", ("call", "part"), EVERYBODY),
    ("enter", ("call",), EVERYBODY),
    ("renew-link", ("call",), EVERYBODY),
    ("my-page", ("entry",), {"player"}),
    ("my-data", ("entry",), {"player"}),
    ("my-mails", ("entry",), {"player"}),
    ("withdraw", ("entry",), {"player"}),
    ("send-take", ("entry", "part"), {"player"}),
    ("record", ("entry", "part"), {"player"}),
    ("guardian", ("entry",), set()),
    ("my-take", ("take",), {"player"}),
    ("answer", ("take",), {"player"}),
    ("take-video", ("take",), {"player", "organizer", "editor"}),
    ("board", ("call",), {"organizer"}),
    ("edit-call", ("call",), {"organizer"}),
    ("segments", ("call",), {"organizer"}),
    ("change-segment", ("call", "segment"), {"organizer"}),
    ("desk-part", ("call", "part"), {"organizer"}),
    ("correct-reading", ("call", "part"), {"organizer"}),
    ("part-takes", ("call", "part"), {"organizer"}),
    ("desk-take", ("call", "take"), {"organizer"}),
    ("bench", ("call",), DESK),
    ("shortlist", ("call", "part"), DESK),
    ("exports", ("call",), DESK),
]
WRITING = [
    ("publish", ("call",)),
    ("close", ("call",)),
    ("withdraw-take", ("take",)),
    ("withdraw", ("entry",)),
    ("my-parts", ("entry",)),
    ("agree-again", ("entry",)),
    ("ask-guardian", ("entry",)),
    ("pick", ("call", "take")),
    ("unpick", ("call", "pick")),
    ("nudge", ("call", "pick")),
]


def address(name: str, objects: tuple, places: dict) -> str:
    return reverse(name, args=[places[one] for one in objects])


class TestReading:
    @pytest.mark.parametrize(("name", "objects", "allowed"), READING, ids=[row[0] for row in READING])
    def test_is_for_those_who_may(self, people, places, name, objects, allowed):
        got = {who: getattr(people, who).client.get(address(name, objects, places)) for who in EVERYBODY}
        assert {who for who, response in got.items() if response.status_code == 200} == allowed
        for who in EVERYBODY - allowed:
            assert got[who].status_code in (302, 404), (who, got[who].status_code)
            if got[who].status_code == 302:
                assert got[who]["Location"].startswith(reverse("sign-in")), (who, got[who]["Location"])

    def test_of_a_draft_is_for_the_desk_alone(self, people, call):
        draft = cast.make_call(call.organizer, people.editor.user, title="Not yet", published=False)
        part = draft.segments.get().parts.first()
        for name, args in (("call", [draft.slug]), ("part", [draft.slug, part.pk])):
            for who in EVERYBODY:
                assert getattr(people, who).client.get(reverse(name, args=args)).status_code == 404
        assert people.organizer.client.get(reverse("board", args=[draft.slug])).status_code == 200
        assert people.other_organizer.client.get(reverse("board", args=[draft.slug])).status_code == 404

    def test_covers_every_address_that_names_an_object(self):
        from submissions.urls import urlpatterns

        known = {row[0] for row in READING} | {row[0] for row in WRITING}
        # Held elsewhere: uploads in test_uploads, links in test_links, stored files in test_files.
        known |= {"upload", "open-link", "stop-mail", "material", "take-file", "export-file", "sent", "place-segment"}
        naming = {path.name for path in urlpatterns if path.pattern.converters}
        assert naming == known & naming, f"without a test of who may have it: {naming - known}"


class TestWriting:
    @pytest.mark.parametrize(("name", "objects"), WRITING, ids=[row[0] for row in WRITING])
    @pytest.mark.parametrize("who", ["stranger", "other_player", "other_organizer"])
    def test_changes_nothing_for_strangers(self, people, places, name, objects, who):
        from submissions.models import Call, Pick, Take

        def state():
            return list(Call.objects.values_list("state")), Pick.objects.count(), Take.objects.kept().count()

        before = state()
        response = getattr(people, who).client.post(address(name, objects, places), {"shift_ms": "3"})
        assert response.status_code in (302, 404, 405)
        if response.status_code == 302:
            assert response["Location"].startswith(reverse("sign-in"))
        assert state() == before

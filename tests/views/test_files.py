"""Stored files to the browser: ranges after RFC 9110 (13.1.5, 14.2 to 14.4, 15.3.7, 15.5.17), names, and who may."""

import pytest
from django.urls import reverse

from submissions import files
from tests import cast

CONTENT = bytes(range(250)) * 5  # 1250 bytes
SIZE = len(CONTENT)


@pytest.fixture
def video(player, part, tmp_path):
    take = cast.make_take(player.entry, part, tmp_path, content=CONTENT)
    return reverse("take-video", args=[take.public_id])


def body(response) -> bytes:
    return b"".join(response.streaming_content) if response.streaming else response.content


class TestRanges:
    def test_are_offered(self, player, video):
        response = player.client.get(video)
        assert (response.status_code, response["Accept-Ranges"], response["Content-Length"]) == (
            200,
            "bytes",
            str(SIZE),
        )
        assert body(response) == CONTENT

    @pytest.mark.parametrize(
        ("asked", "first", "last"),
        [
            ("bytes=0-499", 0, 499),
            ("bytes=500-999", 500, 999),
            ("bytes=-500", SIZE - 500, SIZE - 1),
            ("bytes=1200-", 1200, SIZE - 1),
            ("bytes=0-0", 0, 0),
            ("bytes=1249-", 1249, 1249),
            ("bytes=0-99999", 0, SIZE - 1),
            ("bytes=-99999", 0, SIZE - 1),
        ],
    )
    def test_are_answered_with_206(self, player, video, asked, first, last):
        response = player.client.get(video, headers={"Range": asked})
        assert response.status_code == 206
        assert response["Content-Range"] == f"bytes {first}-{last}/{SIZE}"
        assert response["Content-Length"] == str(last - first + 1)
        assert body(response) == CONTENT[first : last + 1]

    @pytest.mark.parametrize("asked", [f"bytes={SIZE}-", "bytes=5000-6000", "bytes=-0"])
    def test_outside_are_416_with_the_size(self, player, video, asked):
        response = player.client.get(video, headers={"Range": asked})
        assert (response.status_code, response["Content-Range"]) == (416, f"bytes */{SIZE}")

    @pytest.mark.parametrize("asked", ["bytes=a-b", "bytes=9-1", "bytes=-", "lines=0-1", "bytes=0-1,5-6"])
    def test_that_make_no_sense_are_ignored(self, player, video, asked):
        assert player.client.get(video, headers={"Range": asked}).status_code == 200

    def test_of_another_version_give_the_whole(self, player, video):
        tag = player.client.get(video)["ETag"]
        asked = {"Range": "bytes=0-9"}
        assert player.client.get(video, headers=asked | {"If-Range": tag}).status_code == 206
        assert player.client.get(video, headers=asked | {"If-Range": '"other"'}).status_code == 200

    def test_are_not_sent_twice(self, player, video):
        tag = player.client.get(video)["ETag"]
        assert player.client.get(video, headers={"If-None-Match": tag}).status_code == 304

    def test_of_a_head_have_no_body(self, player, video):
        response = player.client.head(video)
        assert (response.status_code, response["Content-Length"], body(response)) == (200, str(SIZE), b"")


class TestAFile:
    def test_is_never_executed_and_is_named_by_us(self, player, video):
        response = player.client.get(video)
        assert response["Content-Type"] == "video/mp4"
        assert response["X-Content-Type-Options"] == "nosniff"
        assert "sent.mp4" not in response["Content-Disposition"]
        assert player.client.get(f"{video}?download")["Content-Disposition"].startswith("attachment")

    def test_of_a_part_is_for_everybody_once_published(self, people, part, call):
        key = files.store_bytes(b"%PDF", "materials", ".pdf")
        part.materials = {"files": [{"name": "sheet-a4.pdf", "key": key, "bytes": 4}]}
        part.save()
        url = reverse("material", args=[call.slug, part.pk, "sheet-a4.pdf"])
        assert people.stranger.client.get(url)["Content-Type"] == "application/pdf"
        assert (
            people.stranger.client.get(reverse("material", args=[call.slug, part.pk, "other.pdf"])).status_code == 404
        )
        call.state = "draft"
        call.save()
        assert people.stranger.client.get(url).status_code == 404
        assert people.organizer.client.get(url).status_code == 200

    def test_of_an_export_is_for_the_desk(self, people, part, call, tmp_path):
        from submissions import actions

        actions.pick(part.chairs.get(), cast.make_take(people.player.entry, part, tmp_path), people.editor.user)
        export = actions.order_export(call, people.editor.user, "offsets-json")
        export.files = [{"name": "offsets.json", "key": files.store_bytes(b"{}", "exports", ".json")}]
        export.save()
        url = reverse("export-file", args=[call.slug, export.public_id, "offsets.json"])
        codes = {
            who: getattr(people, who).client.get(url).status_code
            for who in ("editor", "organizer", "player", "stranger")
        }
        assert codes == {"editor": 200, "organizer": 200, "player": 404, "stranger": 404}


class TestAName:
    @pytest.mark.parametrize(
        ("sent", "kind"),
        [
            ("a.mp4", ".mp4"),
            ("A.MOV", ".mov"),
            ("a.webm. ", ".webm"),
            ("a.mp4\x00.php", ""),
            ("a.php\x00.mp4", ".mp4"),
            ("a.mp4.php", ""),
            ("a.\u202e4pm", ""),
            ("", ""),
            (".mp4", ""),
        ],
    )
    def test_gives_its_kind_from_a_list(self, sent, kind):
        # Cases after the OWASP file upload cheat sheet; the last bypasses from memory.
        assert files.kind_of(sent) == kind

    def test_is_kept_for_reading_only(self, db):
        assert files.plain_name("C:\\clips\\../\u202eevil\x07.mp4") == "evil.mp4"
        assert len(files.plain_name("a" * 500 + ".mp4")) == 120

    def test_never_is_the_key(self, player, part, tmp_path):
        take = cast.make_take(player.entry, part, tmp_path)
        assert take.storage_key.startswith("takes/")
        assert "sent" not in take.storage_key

"""Resumable uploads, held against the protocol text of tus 1.0.0 (2016-03-25, https://tus.io/protocols/resumable-upload)."""

import base64
import hashlib
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from submissions import actions
from submissions.models import Take, Upload

PIECE = "application/offset+octet-stream"
CONTENT = bytes(range(256)) * 4


def told(**pairs: str) -> str:
    return ",".join(f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in pairs.items())


def send(client: Client, method: str, url: str, data: bytes = b"", content_type: str = "", **headers):
    headers = {"Tus-Resumable": "1.0.0"} | {key.replace("_", "-"): value for key, value in headers.items()}
    headers = {key: value for key, value in headers.items() if value is not None}
    kind = content_type or "application/octet-stream"
    return client.generic(method, url, data, kind, headers=headers, CONTENT_TYPE=kind)


def create(player, part, length: int | str = len(CONTENT), **headers):
    metadata = told(entry=player.entry.public_id, part=str(part.pk), filename="my take.mp4")
    return send(
        player.client,
        "POST",
        reverse("uploads"),
        **{"Upload_Length": str(length), "Upload_Metadata": metadata} | headers,
    )


def patch(player, url: str, data: bytes, offset: int | str, content_type: str = PIECE, **headers):
    return send(player.client, "PATCH", url, data, content_type, **{"Upload_Offset": str(offset)} | headers)


def sum_of(data: bytes, algorithm: str = "sha1") -> str:
    return f"{algorithm} {base64.b64encode(hashlib.new(algorithm, data).digest()).decode()}"


@pytest.fixture
def url(player, part) -> str:
    return create(player, part)["Location"]


class TestARefusal:
    def test_is_said_in_the_players_language(self, player, part):
        answer = create(player, part, 5 * 2**30, Accept_Language="de")
        assert answer.content.decode() == (
            "Die Datei ist zu groß: höchstens 2048 MB. Nimm kürzer oder kleiner auf (1080p)."
        )
        assert "The file is too big: at most 2048 MB." in create(player, part, 5 * 2**30).content.decode()


class TestOptions:
    def test_tell_version_extensions_and_size_without_being_asked_for_a_version(self, db, client, settings):
        response = client.options(reverse("uploads"))
        assert response.status_code == 204
        assert response["Tus-Version"] == "1.0.0"
        assert {"creation", "checksum", "expiration", "termination"} <= set(response["Tus-Extension"].split(","))
        assert response["Tus-Max-Size"] == str(settings.UPLOAD_MAX_BYTES)
        assert "sha1" in response["Tus-Checksum-Algorithm"].split(",")  # the text: sha1 must be supported


class TestVersion:
    @pytest.mark.parametrize("version", ["0.2.2", "2.0.0", None])
    @pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
    def test_is_refused_with_412_and_nothing_done(self, player, url, method, version):
        response = send(player.client, method, url, CONTENT, PIECE, Tus_Resumable=version, Upload_Offset="0")
        assert response.status_code == 412
        assert response["Tus-Version"] == "1.0.0"
        assert Upload.objects.get().offset == 0

    def test_stands_on_every_answer(self, player, url):
        assert send(player.client, "HEAD", url)["Tus-Resumable"] == "1.0.0"


class TestCreation:
    def test_answers_201_with_location_and_expiry(self, player, part):
        response = create(player, part)
        assert response.status_code == 201
        assert response["Upload-Expires"].endswith("GMT")  # RFC 9110 date
        head = send(player.client, "HEAD", response["Location"])
        assert (head.status_code, head["Upload-Offset"], head["Upload-Length"]) == (200, "0", str(len(CONTENT)))
        assert head["Cache-Control"] == "no-store"

    @pytest.mark.parametrize(
        ("headers", "status"),
        [
            ({"Upload_Length": None}, 400),
            ({"Upload_Length": "-1"}, 400),
            ({"Upload_Length": "ten"}, 400),
            ({"Upload_Length": "１０"}, 400),
            ({"Upload_Length": "0"}, 400),
            ({"Upload_Length": str(3 * 1024**3)}, 413),
            ({"Upload_Length": None, "Upload_Defer_Length": "2"}, 400),
            ({"Upload_Defer_Length": "1"}, 400),
            ({"Upload_Length": None, "Upload_Defer_Length": "1"}, 201),
        ],
    )
    def test_answers_by_the_table(self, player, part, headers, status):
        headers = {key: value for key, value in headers.items()}
        if "１" in (headers.get("Upload_Length") or ""):
            headers["Upload_Length"] = headers["Upload_Length"].encode().decode("latin-1")
        assert create(player, part, **headers).status_code == status

    @pytest.mark.parametrize("metadata", ["entry ***", "a YQ==,a YQ==", "entry /w=="])
    def test_refuses_metadata_that_cannot_be_read(self, player, part, metadata):
        assert create(player, part, Upload_Metadata=metadata).status_code == 400

    @pytest.mark.parametrize(
        "filename",
        ["take.mp4.php", "take.txt", "take", "take.mp4\u202egpj.exe", "../../take.svg", ".htaccess"],
    )
    def test_refuses_kinds_that_are_not_taken(self, player, part, filename):
        metadata = told(entry=player.entry.public_id, part=str(part.pk), filename=filename)
        assert create(player, part, Upload_Metadata=metadata).status_code == 400

    @pytest.mark.parametrize("filename", ["TAKE.MP4", "take.mp4.", "take.mp4 ", "a\\b\\take.mov", "../take.webm"])
    def test_takes_harmless_spellings_and_keeps_no_path(self, player, part, filename):
        metadata = told(entry=player.entry.public_id, part=str(part.pk), filename=filename)
        assert create(player, part, Upload_Metadata=metadata).status_code == 201
        assert "/" not in Upload.objects.get().filename

    def test_may_carry_the_first_piece(self, player, part):
        metadata = told(entry=player.entry.public_id, part=str(part.pk), filename="take.mp4")
        response = send(
            player.client,
            "POST",
            reverse("uploads"),
            CONTENT[:100],
            PIECE,
            Upload_Length="1024",
            Upload_Metadata=metadata,
        )
        assert (response.status_code, response["Upload-Offset"]) == (201, "100")

    def test_of_a_part_of_another_call_is_refused(self, player, part):
        from tests import cast

        other = cast.make_call(cast.make_user("far"), cast.make_user("away"), title="Other")
        foreign = other.segments.get().parts.first()
        assert create(player, foreign).status_code == 404

    def test_after_the_deadline_is_refused_in_words(self, player, part, call):
        call.deadline = timezone.now() - timedelta(seconds=1)
        call.save()
        response = create(player, part)
        assert response.status_code == 403
        assert b"deadline" in response.content

    def test_is_counted(self, player, part, settings):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"upload": (2, 3600)}
        assert [create(player, part).status_code for _ in range(3)] == [201, 201, 429]

    def test_keeps_to_the_quota_of_takes(self, player, part, settings, tmp_path):
        from tests import cast

        settings.UPLOAD_QUOTA_TAKES = 1
        cast.make_take(player.entry, part, tmp_path)
        assert create(player, part).status_code == 403

    def test_keeps_to_the_quota_of_bytes_counting_what_is_under_way(self, player, part, settings):
        settings.UPLOAD_QUOTA_BYTES = 1500
        assert [create(player, part).status_code for _ in range(2)] == [201, 403]


class TestPatch:
    def test_moves_the_offset_by_what_came(self, player, url):
        response = patch(player, url, CONTENT[:300], 0)
        assert (response.status_code, response["Upload-Offset"]) == (204, "300")
        assert "Upload-Expires" in response
        assert send(player.client, "HEAD", url)["Upload-Offset"] == "300"

    def test_with_another_content_type_is_415(self, player, url):
        assert patch(player, url, CONTENT, 0, "application/octet-stream").status_code == 415

    @pytest.mark.parametrize("offset", [1, 299, 301, 5000])
    def test_at_another_offset_is_409_and_changes_nothing(self, player, url, offset):
        patch(player, url, CONTENT[:300], 0)
        assert patch(player, url, b"xxx", offset).status_code == 409
        assert send(player.client, "HEAD", url)["Upload-Offset"] == "300"

    @pytest.mark.parametrize("offset", ["", "-1", "0x0", "1e3", "9" * 30])
    def test_with_no_real_offset_is_400(self, player, url, offset):
        assert patch(player, url, CONTENT, offset).status_code == 400

    def test_longer_than_the_upload_is_413_and_never_a_take(self, player, url):
        assert patch(player, url, CONTENT + b"x", 0).status_code == 413
        assert not Take.objects.exists()

    def test_of_nothing_stays_where_it_was(self, player, url):
        response = patch(player, url, b"", 0)
        assert (response.status_code, response["Upload-Offset"]) == (204, "0")

    def test_of_the_last_byte_makes_one_take_with_the_same_sum(self, player, part, url):
        patch(player, url, CONTENT[:1], 0)
        response = patch(player, url, CONTENT[1:], 1)
        take = Take.objects.get()
        assert response["Tapoff-Take"] == take.public_id
        assert take.sha256 == hashlib.sha256(CONTENT).hexdigest()
        assert (take.entry, take.part, take.bytes, take.work) == (player.entry, part, len(CONTENT), "waiting")

    def test_of_the_last_byte_again_makes_no_second_take(self, player, url):
        patch(player, url, CONTENT, 0)
        again = patch(player, url, b"", len(CONTENT))
        assert (again.status_code, again["Upload-Offset"]) == (204, str(len(CONTENT)))
        assert patch(player, url, CONTENT, 0).status_code == 409
        assert Take.objects.count() == 1

    def test_while_another_connection_writes_is_423(self, player, url):
        with actions.takes.spooled(Upload.objects.get()):
            assert patch(player, url, CONTENT, 0).status_code == 423

    def test_may_say_a_deferred_length(self, player, part):
        url = create(player, part, Upload_Length=None, Upload_Defer_Length="1")["Location"]
        assert send(player.client, "HEAD", url)["Upload-Defer-Length"] == "1"
        patch(player, url, CONTENT[:10], 0)
        assert patch(player, url, CONTENT[10:20], 10, Upload_Length="20").status_code == 204
        assert Take.objects.get().bytes == 20

    def test_may_not_change_a_known_length(self, player, url):
        assert patch(player, url, b"abc", 0, Upload_Length="3").status_code == 400

    def test_works_under_another_methods_name(self, player, url):
        response = send(
            player.client, "POST", url, CONTENT[:5], PIECE, X_HTTP_Method_Override="PATCH", Upload_Offset="0"
        )
        assert (response.status_code, response["Upload-Offset"]) == (204, "5")

    def test_of_a_file_that_differs_from_the_promised_sum_makes_no_take(self, player, part):
        promised = told(entry=player.entry.public_id, part=str(part.pk), filename="a.mp4", sha256="0" * 64)
        url = create(player, part, Upload_Metadata=promised)["Location"]
        assert patch(player, url, CONTENT, 0).status_code == 460
        assert not Take.objects.exists()
        assert send(player.client, "HEAD", url).status_code == 404  # nothing to go on with


class TestChecksum:
    @pytest.mark.parametrize("algorithm", ["sha1", "sha256", "md5"])
    def test_that_fits_is_taken(self, player, url, algorithm):
        assert patch(player, url, CONTENT[:9], 0, Upload_Checksum=sum_of(CONTENT[:9], algorithm)).status_code == 204

    def test_that_does_not_fit_is_460_and_the_piece_is_dropped(self, player, url):
        patch(player, url, CONTENT[:4], 0)
        response = patch(player, url, CONTENT[4:9], 4, Upload_Checksum=sum_of(b"other"))
        assert response.status_code == 460
        assert send(player.client, "HEAD", url)["Upload-Offset"] == "4"

    @pytest.mark.parametrize("header", ["crc32 AAAA", "sha1 ***", "sha1 AAAA", "", "sha1"])
    def test_that_is_not_known_or_not_read_is_400(self, player, url, header):
        assert patch(player, url, CONTENT[:9], 0, Upload_Checksum=header).status_code == 400
        assert send(player.client, "HEAD", url)["Upload-Offset"] == "0"


class TestEnding:
    def test_termination_is_204_and_then_404(self, player, url, settings):
        patch(player, url, CONTENT[:4], 0)
        assert send(player.client, "DELETE", url).status_code == 204
        assert send(player.client, "HEAD", url).status_code == 404
        assert list(settings.SPOOL_DIR.iterdir()) == []

    def test_of_a_complete_upload_leaves_the_take_alone(self, player, url):
        patch(player, url, CONTENT, 0)
        assert send(player.client, "DELETE", url).status_code == 404
        assert Take.objects.count() == 1

    @pytest.mark.parametrize("method", ["HEAD", "PATCH"])
    def test_by_time_is_410(self, player, url, method):
        Upload.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
        assert send(player.client, method, url, CONTENT, PIECE, Upload_Offset="0").status_code == 410

    def test_of_the_spool_is_tidied(self, player, url, settings):
        from submissions import tasks

        patch(player, url, CONTENT[:4], 0)
        Upload.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
        tasks.tidy()
        assert not Upload.objects.exists()
        assert list(settings.SPOOL_DIR.iterdir()) == []

    def test_forgets_a_finished_upload_in_time_and_keeps_its_take(self, player, url):
        from submissions import tasks

        patch(player, url, CONTENT, 0)
        Upload.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
        tasks.tidy()
        assert not Upload.objects.exists()
        assert Take.objects.get().storage_key


class TestOwner:
    @pytest.mark.parametrize("who", ["other_player", "organizer", "editor", "stranger", "other_organizer"])
    @pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
    def test_is_the_only_one(self, people, url, who, method):
        client = getattr(people, who).client
        assert send(client, method, url, CONTENT, PIECE, Upload_Offset="0").status_code == 404
        assert Upload.objects.get().offset == 0

    def test_is_the_only_one_who_begins_one(self, people, part):
        people.stranger.entry = people.other_player.entry = people.player.entry
        assert create(people.stranger, part).status_code == 404
        assert create(people.other_player, part).status_code == 404


class TestGrace:
    def test_counts_what_began_before_the_deadline_and_ended_within_it(self, player, url, call):
        patch(player, url, CONTENT[:10], 0)
        call.deadline = timezone.now() - timedelta(minutes=1)
        call.save()
        Upload.objects.update(begun_at=timezone.now() - timedelta(minutes=2))
        assert patch(player, url, CONTENT[10:], 10).status_code == 204
        assert Take.objects.get().on_time

    def test_ends(self, player, url, call):
        call.deadline = timezone.now() - timedelta(minutes=call.grace_minutes + 1)
        call.save()
        Upload.objects.update(begun_at=call.deadline - timedelta(minutes=2))
        assert patch(player, url, CONTENT, 0).status_code == 204
        assert not Take.objects.get().on_time

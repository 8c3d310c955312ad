"""Run as a program inside an installation: prepares a call, tells what is stored; answers in JSON."""

import json
import sys
from pathlib import Path

import django

django.setup()

from django.core.files.storage import default_storage, storages  # noqa: E402  (Django must stand before its parts are imported)

from submissions import actions, files  # noqa: E402
from submissions.models import Entry, MailLog, PartRow, ProbeReport, Take  # noqa: E402
from tests import cast  # noqa: E402


def prepare() -> dict:
    """The cast's call with one player; everything a client needs to send a take."""
    call = cast.make_call(cast.make_user("organizer"), cast.make_user("editor"))
    entry, secret = cast.enter(call, "Wren Aster")
    part = PartRow.objects.get(segment__call=call, instrument="snare")
    return {"slug": call.slug, "entry": entry.public_id, "part": part.pk, "secret": secret}


def send(path: str, entry: str) -> dict:
    """A file as a take of the snare part."""
    player = Entry.objects.get(public_id=entry)
    part = PartRow.objects.get(segment__call=player.call, instrument="snare")
    return {"take": actions.receive_take(player, part, Path(path), filename=Path(path).name).pk}


def takes() -> list[dict]:
    """What is stored of every take, with the sum of the file as the storage gives it back."""
    found = []
    for take in Take.objects.order_by("pk"):
        with files.local_copy(take.storage_key) as path:
            stored = files.sha256_of(path)
        report = ProbeReport.objects.filter(take=take)
        found.append(
            {
                "public_id": take.public_id,
                "work": take.work,
                "attempts": take.attempts,
                "leased_by": take.leased_by,
                "sha256": take.sha256,
                "stored": stored,
                "bytes": take.bytes,
                "failure": take.failure,
                "verdicts": list(report.values_list("verdict", flat=True)),
                "codes": report[0].codes if report else [],
                "verdict_mails": MailLog.objects.filter(kind="verdict", key=f"take-{take.pk}").count(),
            }
        )
    return found


def round_trip(path: str) -> dict:
    """Store a file, look at it from all sides, and name a signed link to it."""
    key = files.store(Path(path), "takes", ".mp4")
    with files.local_copy(key) as copy:
        sum_back = files.sha256_of(copy)
    with default_storage.open(key) as file:
        file.seek(1000)
        middle = file.read(10).hex()
    named = {"ResponseContentDisposition": 'inline; filename="take.mp4"', "ResponseContentType": "video/mp4"}
    links = [storages["links"].url(key, parameters=named, expire=expire) for expire in (600, 1)]
    return {"key": key, "sum": sum_back, "size": default_storage.size(key), "middle": middle, "links": links}


def remove(key: str) -> dict:
    files.remove(key)
    return {"there": default_storage.exists(key)}


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[1]](*sys.argv[2:])))

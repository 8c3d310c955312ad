"""Run as a program inside an installation: `fill N`, or `claim` until nothing waits, printing what was claimed."""

import json
import os
import sys
import time
from datetime import timedelta
from pathlib import Path

import django

django.setup()

from django.conf import settings  # noqa: E402  (Django must stand before its parts are imported)
from django.utils import timezone  # noqa: E402

from submissions import queue  # noqa: E402
from submissions.models import Call, Take  # noqa: E402
from tests import cast  # noqa: E402


def fill(number: int) -> list[int]:
    """So many waiting takes in four calls; their keys in the order in which they should be claimed."""
    organizer, editor = cast.make_user("organizer"), cast.make_user("editor")
    now, expected = timezone.now(), []
    # Days to the deadline, in no order; two calls are over.
    for days in (5, -3, 1, -1):
        call = cast.make_call(organizer, editor, title=f"Call {days}")
        entry, _ = cast.enter(call, "Wren Aster")
        part = call.segments.get().parts.first()
        Call.objects.filter(pk=call.pk).update(deadline=now + timedelta(days=days))
        for n in range(number // 4):
            received = now - timedelta(minutes=number - n, seconds=days)
            take = Take.objects.create(
                entry=entry,
                part=part,
                storage_key=f"takes/{days}-{n}",
                sha256="0" * 64,
                bytes=1,
                begun_at=received,
                received_at=received,
                on_time=True,
            )
            expected.append(((days < 0, days if days > 0 else received, received), take.pk))
    alive = sorted((key, pk) for key, pk in expected if not key[0])
    late = sorted((key, pk) for key, pk in expected if key[0])
    return [pk for _, pk in alive + late]


def claim() -> list[int]:
    """Claim until nothing waits; all workers begin at the same moment, once the file `go` is there."""
    place, mine = Path(settings.VAR_DIR), []
    (place / f"ready-{os.getpid()}").touch()
    while not (place / "go").exists():
        time.sleep(0.01)
    while (pk := queue.claim_take(f"worker-{id(mine)}")) is not None:
        mine.append(pk)
    return mine


if __name__ == "__main__":
    print(json.dumps(fill(int(sys.argv[2])) if sys.argv[1] == "fill" else claim()))

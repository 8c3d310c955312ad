"""Sets a scene in a running installation: `python -m tests.journeys.staging NAME [JSON]` prints one JSON object.

Runs in a process of its own with the installation's environment, so that a journey never shares a database
connection, a cache or a setting with what it looks at.
"""

import json
import os
import sys
from datetime import timedelta
from pathlib import Path


def small_call(**asked) -> dict:
    """A published call with one segment, its sign-ins, and a deadline in so many seconds."""
    from django.utils import timezone

    from submissions.models import PartRow
    from tests import cast

    call = cast.make_call(cast.make_user("organizer"), cast.make_user("editor"))
    # Three parts are enough to see, and nobody waits for the sheets of the others.
    PartRow.objects.filter(segment__call=call).exclude(instrument__in=["snare", "tenors"]).exclude(instrument="bass", drum="all").delete()
    if "deadline_s" in asked:
        call.deadline = timezone.now() + timedelta(seconds=asked["deadline_s"])
        call.save(update_fields=["deadline"])
    parts = {f"{p.instrument}-{p.drum}": p.pk for p in PartRow.objects.filter(segment__call=call)}
    return {"slug": call.slug, "parts": parts}


def deadline(slug: str, seconds: float) -> dict:
    """Move the deadline to so many seconds from now."""
    from django.utils import timezone

    from submissions.models import Call

    Call.objects.filter(slug=slug).update(deadline=timezone.now() + timedelta(seconds=seconds))
    return {}


def link(slug: str, name: str, **more) -> dict:
    """A new player with a private link, and their guardian's where one is needed."""
    from submissions.models import Call, MagicLink
    from tests import cast

    entry, secret = cast.enter(Call.objects.get(slug=slug), name, **more)
    guardian = MagicLink.make(entry, MagicLink.Purpose.GUARDIAN)[1] if entry.needs_guardian else ""
    return {"entry": entry.public_id, "secret": secret, "guardian": guardian}


def takes(slug: str) -> dict:
    """Every take of the call as its row says."""
    from submissions.models import Take

    found = Take.objects.filter(part__segment__call__slug=slug).select_related("entry").order_by("pk")
    visible = set(Take.objects.for_editor(_call(slug)).values_list("pk", flat=True))
    listed = set(Take.objects.for_organizer(_call(slug)).values_list("pk", flat=True))
    return {
        "takes": [
            {
                "id": take.public_id, "player": take.entry.display_name, "on_time": take.on_time, "tryout": take.is_tryout, "sha256": take.sha256,
                "work": take.work, "verdict": take.verdict, "withdrawn": take.withdrawn_at is not None, "key": take.storage_key, "failure": take.failure,
                "deleted_after_s": (take.delete_after - take.received_at).total_seconds() if take.delete_after else None,
                "codes": take.report.codes if hasattr(take, "report") else [], "zero_from": take.report.zero_from if hasattr(take, "report") else "",
                "editors_see_it": take.pk in visible, "organizer_sees_it": take.pk in listed,
            }
            for take in found
        ]
    }  # fmt: skip


def _call(slug: str):
    from submissions.models import Call

    return Call.objects.get(slug=slug)


def materials(slug: str) -> dict:
    """How the materials of the call's parts stand."""
    from submissions.models import PartRow

    return {"works": list(PartRow.objects.filter(segment__call__slug=slug).values_list("work", flat=True))}


def material(part: int, name: str) -> dict:
    """What materials.json says under this name."""
    from submissions.models import PartRow

    return {"value": PartRow.objects.get(pk=part).materials[name]}


def gallery(slug: str) -> dict:
    """Players with takes in every state, picks, a decision and a guardian who has not agreed; addresses by page name."""
    from tests.journeys.gallery import hang

    return hang(_call(slug))


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    import django

    django.setup()
    name, asked = sys.argv[1], json.loads(sys.argv[2]) if len(sys.argv) > 2 else {}
    print("\n" + json.dumps(globals()[name](**asked)))


if __name__ == "__main__":
    main()

"""Players with takes in every state, for tests that look at every page; the reports are invented, not measured."""

import math
from datetime import timedelta

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from submissions import actions, bridge, queue
from submissions.engine.checks import click_audible
from submissions.models import Call, MagicLink, PartRow, ProbeReport, Take
from submissions.models.base import Work
from tests import cast

FINDINGS = {
    "ready": [],
    "look": [{"code": "click-audible", "level": "look", "says": "The click can be heard (18 dB under the drums).", "do": click_audible.DO, "at_s": [6.2, 9.9]}],
    "redo": [{"code": "incomplete", "level": "redo", "says": "The take is not complete: bars 5 to 8 cannot be heard.", "do": "Play from the first bar to the last in one go, and let the camera run until the last note has rung out.", "at_s": [11.3]}],
}  # fmt: skip


def body_of(part: PartRow, verdict: str, spread_ms: float, spoiled: tuple[int, ...] = (3, 6)) -> dict:
    """A whole report: every written stroke, swinging evenly by twice the spread in the spoiled bars."""
    strokes = []
    for n, stroke in enumerate(bridge.part_of(part).scored()):
        late = math.sin(n * 1.7) * spread_ms * (3 if stroke.bar in spoiled else 0.7)
        missed = n % 37 == 36
        strokes.append({
            "bar": stroke.bar, "count": stroke.count, "kind": stroke.kind, "written_s": round(stroke.at_s, 6),
            "played_s": None if missed else round(5.25 + stroke.at_s + late / 1000, 6), "late_ms": None if missed else round(late, 3),
        })  # fmt: skip
    missed = sum(1 for s in strokes if s["late_ms"] is None)
    bars = sorted({s["bar"] for s in strokes})
    timing = {"by_bar": [[bar, 1.0, spread_ms, 8] for bar in bars], "by_count": [["1", -2.0, 5.0, 8], ["e", 12.0, 9.0, 8]], "by_hand": [], "worst_bars": list(spoiled), "best_bars": [1, 4]}
    return cast.report_object(
        verdict, spread_ms=spread_ms, written=len(strokes), matched=len(strokes) - missed, missed=missed, strokes=strokes, timing=timing, findings=FINDINGS[verdict],
    )  # fmt: skip


def report(take: Take, verdict: str, spread_ms: float = 9.0) -> None:
    """Give the take this answer, as a worker would have stored it."""
    body = body_of(take.part, verdict, spread_ms)
    plain = ("verdict", "zero_s", "zero_from", "zero_sd_s", "clock_ratio", "bias_ms", "spread_ms", "written", "matched", "missed", "extra")
    ProbeReport.objects.create(take=take, codes=[f["code"] for f in body["findings"]], body=body, **{name: body[name] for name in plain})
    Take.objects.filter(pk=take.pk).update(work=Work.DONE, progress=100, probed_at=timezone.now())


def hang(call: Call) -> dict:
    """Fill the call and say where everything is."""
    import tempfile
    from pathlib import Path

    snare = PartRow.objects.get(segment__call=call, instrument="snare")
    tenors = PartRow.objects.get(segment__call=call, instrument="tenors")
    actions.set_chairs(snare, 4)
    folder = Path(tempfile.mkdtemp())
    entries, taken = {}, {}

    def send(name: str, part: PartRow, verdict: str, **more) -> Take:
        if name not in entries:
            entries[name] = cast.enter(call, name, **more)
            entries[name][0].parts.add(part, tenors)
        with transaction.atomic():  # the running worker must not find it before it has its state
            take = cast.make_take(entries[name][0], part, folder, content=f"{name} {len(taken)}".encode())
            hold(take, verdict)
        taken[f"{name} {verdict}"] = take
        return take

    def hold(take: Take, verdict: str) -> None:
        if verdict == "waiting":
            Take.objects.filter(pk=take.pk).update(work=Work.RUNNING, leased_by="the-test", lease_until=timezone.now() + timedelta(hours=9))
        elif verdict == "failed":
            Take.objects.filter(pk=take.pk).update(work=Work.RUNNING, leased_by="the-test", lease_until=timezone.now() + timedelta(hours=9))
            queue.fail(Take, take.pk, "the-test", "Something went wrong on our side; the file is safe and we were told.", "ab12cd34")
        else:
            report(take, verdict)

    send("Asa Thorn", snare, "redo")
    send("Asa Thorn", snare, "ready")
    send("Bryn Oake", snare, "look")
    send("Cato Fen", snare, "waiting")
    send("Dell Moor", snare, "failed")
    minor = cast.enter(call, "Evi Brook", age_band="13", guardian_email="brook.family@example.org")
    actions.decide(taken["Bryn Oake look"], call.organizer, "redo", "A little further from the phone, please.")
    actions.pick(snare.chairs.first(), taken["Asa Thorn ready"], call.editors.get())
    guardian = MagicLink.make(minor[0], MagicLink.Purpose.GUARDIAN)[1]
    stop = MagicLink.make(minor[0], MagicLink.Purpose.STOP, about="reminder")[1]
    draft = cast.make_call(call.organizer, call.editors.get(), title="Still a Draft", published=False)
    return {
        "pages": _pages(call, draft, snare, entries, minor, taken, stop),
        "secrets": {name: secret for name, (_entry, secret) in entries.items()} | {"Evi Brook": minor[1]},
        "guardian": guardian,
    }


def _pages(call, draft, snare, entries, minor, taken, stop) -> dict[str, dict[str, str]]:
    """Addresses of every page, by who may see it."""
    asa = entries["Asa Thorn"][0]
    one, part = [call.slug], [call.slug, snare.pk]
    return {
        "stranger": {
            "home": reverse("home"), "care": reverse("care"), "call": reverse("call", args=one), "part": reverse("part", args=part),
            "practice": reverse("practice", args=part), "enter": reverse("enter", args=one), "renew-link": reverse("renew-link", args=one),
            "sign-in": reverse("sign-in"), "components": reverse("components"), "stop-mail": reverse("stop-mail", args=[stop]), "not here": "/nowhere/",
        },
        "player": {
            "my-page": reverse("my-page", args=[asa.public_id]), "send-take": reverse("send-take", args=[asa.public_id, snare.pk]),
            "record": reverse("record", args=[asa.public_id, snare.pk]), "my-mails": reverse("my-mails", args=[asa.public_id]),
            "withdraw": reverse("withdraw", args=[asa.public_id]), "minor": reverse("my-page", args=[minor[0].public_id]),
            "guardian": reverse("guardian", args=[minor[0].public_id]),
            **{f"take, {key}": reverse("my-take", args=[take.public_id]) for key, take in taken.items()},
        },
        "organizer": {
            "desk": reverse("desk"), "new-call": reverse("new-call"), "board": reverse("board", args=one), "edit-call": reverse("edit-call", args=one),
            "change-segment": reverse("change-segment", args=[call.slug, snare.segment_id]),
            "segments": reverse("segments", args=one), "draft": reverse("segments", args=[draft.slug]), "desk-part": reverse("desk-part", args=part),
            "correct-reading": reverse("correct-reading", args=part),
            "part-takes": reverse("part-takes", args=part), "close": reverse("close", args=one),
            "desk-take": reverse("desk-take", args=[call.slug, taken["Bryn Oake look"].public_id]),
            "bench": reverse("bench", args=one), "shortlist": reverse("shortlist", args=part), "exports": reverse("exports", args=one),
        },
    }  # fmt: skip

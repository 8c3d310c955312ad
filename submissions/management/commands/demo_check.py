"""The main job without a browser: send the invented takes, wait for the answers, hold each against its truth, pick,
export. Ends with 0 only if every take got what its truth deserves."""

import json
import shutil
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError

from submissions import actions, overview
from submissions.engine.rehearsal.scenario import Scene, scenes, take_of
from submissions.exports import EXPORTS
from submissions.models import Call, Chair, Export, Take
from submissions.models.base import Work

from .demo_fill import send_takes, the_call, the_desk

WAIT_S = 1800  # for all answers together


@dataclass(frozen=True)
class Row:
    """One take: what is true, what was answered, and what is wrong with the answer."""

    take: str
    truth: str
    verdict: str
    codes: str
    zero_error_ms: float | None
    zero_from: str
    wrong: str


class Command(BaseCommand):
    help = "Sends the demo's takes, checks every answer against its truth, picks and exports into DIR."

    def add_arguments(self, parser) -> None:
        parser.add_argument("out", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        out: Path = options["out"]
        organizer, editor = the_desk()
        call = the_call(organizer, editor)
        sent = send_takes(call, self._say)
        self._say("all takes are sent; waiting for the last answers")
        _wait(lambda: not Take.objects.exclude(work__in=[Work.DONE, Work.FAILED]).exists(), "answers")
        rows = [check(scene, Take.objects.get(pk=sent[scene.key])) for scene in scenes()]
        if not rows:
            raise CommandError("The scenario holds no take: nothing was checked.")
        self._table(rows)
        pick_all(call, editor)
        names = export_all(call, editor, out)
        self._say(f"exports: {', '.join(names)}")
        (out / "table.json").write_text(json.dumps([asdict(row) for row in rows], indent=1) + "\n")
        wrong = [row for row in rows if row.wrong]
        self._say(f"{len(rows) - len(wrong)} of {len(rows)} takes got what their truth deserves.")
        if wrong:
            raise CommandError("; ".join(f"{row.take}: {row.wrong}" for row in wrong))

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()

    def _table(self, rows: list[Row]) -> None:
        """The table that `demo --once` prints."""
        titles = ("take", "truth", "verdict", "finding codes", "zero error ms", "zero by", "")
        lines = [titles]
        for row in rows:
            error = "" if row.zero_error_ms is None else f"{row.zero_error_ms:+.3f}"
            lines.append((row.take, row.truth, row.verdict, row.codes, error, row.zero_from, row.wrong or "right"))
        widths = [max(len(line[n]) for line in lines) for n in range(len(titles))]
        for line in lines:
            self._say("  ".join(word.ljust(width) for word, width in zip(line, widths, strict=True)).rstrip())


def check(scene: Scene, take: Take) -> Row:
    """Hold one answer against the truth of its scene."""
    expects = scene.expects
    truth = " ".join([expects.verdict, *sorted(expects.codes)])
    if take.work == Work.FAILED:
        return Row(scene.key, truth, "failed", "", None, "", f"our fault: {take.failure}")
    report = take.report
    codes = {f["code"] for f in report.body["findings"] if f["level"] != "note"}
    wrong = []
    if report.verdict != expects.verdict:
        wrong.append(f"verdict {report.verdict}")
    if missing := expects.codes - codes:
        wrong.append(f"lacks {' '.join(sorted(missing))}")
    if surplus := codes - expects.codes - expects.may:
        wrong.append(f"also says {' '.join(sorted(surplus))}")
    error = zero_error_ms(scene, report.zero_s, report.zero_from)
    if expects.zero_within_ms is not None and (error is None or abs(error) > expects.zero_within_ms):
        wrong.append("zero not found" if error is None else f"zero off by {error:+.3f} ms")
    if expects.zero_from and report.zero_from != expects.zero_from:
        wrong.append(f"zero by {report.zero_from}")
    return Row(scene.key, truth, report.verdict, " ".join(sorted(codes)), error, report.zero_from, ", ".join(wrong))


def zero_error_ms(scene: Scene, zero_s: float | None, zero_from: str) -> float | None:
    """Found minus true zero. By the player's own strokes nobody can do better than zero moved by the player's push."""
    if zero_s is None or scene.source == "text":
        return None
    shown = next(one for one in scenes() if one.key == scene.of) if scene.of else scene
    truth = take_of(shown).truth
    own = zero_from in ("written", "count-off")
    return (zero_s - (truth.zero_with_bias_s if own else truth.zero_s)) * 1000


def pick_all(call: Call, editor) -> None:
    """Put the best usable takes on the chairs, as an editor would who trusts the machine."""
    for now in overview.parts_now(call, for_editor=True):
        usable = [take for take in now.takes if overview.take_state(take) == "ready"]
        usable.sort(key=lambda take: (take.report.spread_ms is None, take.report.spread_ms))
        for chair, take in zip(Chair.objects.filter(part=now.part), usable, strict=False):
            actions.pick(chair, take, editor)


def export_all(call: Call, editor, out: Path) -> list[str]:
    """Order every kind of export, wait, and copy the files into out; their names."""
    ordered = [actions.order_export(call, editor, kind.name) for kind in EXPORTS]
    pks = [export.pk for export in ordered]
    _wait(lambda: not Export.objects.filter(pk__in=pks).exclude(work__in=[Work.DONE, Work.FAILED]).exists(), "exports")
    names = []
    for export in Export.objects.filter(pk__in=pks):
        if export.work == Work.FAILED:
            raise CommandError(f"The export {export.kind} failed: {export.failure} ({export.failure_ref})")
        for file in export.files:
            with default_storage.open(file["key"]) as source, open(out / file["name"], "wb") as target:
                shutil.copyfileobj(source, target)
            names.append(file["name"])
    return names


def _wait(done, what: str) -> None:
    until = time.monotonic() + WAIT_S
    while not done():
        if time.monotonic() > until:
            raise CommandError(f"The {what} did not come within {WAIT_S} s; see the logs of the installation.")
        time.sleep(0.5)

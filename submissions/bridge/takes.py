"""Takes: row to engine, report to row."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from .. import files
from ..engine import probe as engine
from ..engine.checks import copy_of_a_take
from ..engine.facts import TakeFacts
from ..engine.findings import Finding, Level, Verdict, verdict_of
from ..engine.previews import Stretch
from ..engine.previews import make_previews as previews
from ..engine.report import Report
from ..models import Preview, ProbeReport, Take
from ..models.base import Work
from . import copies
from .music import part_of


def probe(take: Take) -> Report:
    """The engine's report on a take."""
    with files.local_copy(take.storage_key) as path:
        return engine.probe(path, part_of(take.part), take.part.segment.call.count_off_bars)


def store_report(take_pk: int, who: str, report: Report) -> bool:
    """Keep the engine's report and end the work, if the lease is still this worker's; False otherwise.

    The table takes one report a take: however often a take is probed, one verdict stays.
    """
    with transaction.atomic():
        take = Take.objects.select_for_update().filter(pk=take_pk, work=Work.RUNNING, leased_by=who).first()
        if take is None or take.withdrawn_at is not None or ProbeReport.objects.filter(take=take).exists():
            return False
        copies.lock_call(take)
        heard_s = report.facts.strokes.heard_s
        alike = copies.same_performance(take, heard_s)
        original = _original_of(take, alike)
        if original is not None:
            report = engine.judge_again(report, part_of(take.part), _words_for(take, original))
        row = ProbeReport.objects.create(take=take, copy_of=original, **_columns(report.to_json_object()))
        Take.objects.filter(pk=take_pk).update(
            work=Work.DONE,
            leased_by="",
            lease_until=None,
            progress=100,
            probed_at=timezone.now(),
            failure="",
            failure_ref="",
        )
        if report.verdict != Verdict.REDO and not take.is_tryout:
            Preview.objects.create(take=take)
        if not take.is_tryout:
            copies.keep_keys(row, heard_s)
            _mark_later_copies(take, alike)
    return True


def measure_again(takes: QuerySet[Take]) -> int:
    """Forget what was measured of these takes and put them back into the queue; how many they are.

    Whoever measures one at this moment loses its lease, so that no answer to the old page is kept.
    """
    pks = list(takes.kept().values_list("pk", flat=True))
    ProbeReport.objects.filter(take__in=pks).delete()
    Preview.objects.filter(take__in=pks).delete()
    free = {"leased_by": "", "lease_until": None, "attempts": 0, "progress": 0, "failure": "", "failure_ref": ""}
    Take.objects.filter(pk__in=pks).update(work=Work.WAITING, **free)
    return len(pks)


def forget_report(take: Take) -> None:
    """Delete what was measured of a take."""
    ProbeReport.objects.filter(take=take).delete()
    Preview.objects.filter(take=take).delete()


# -- previews ------------------------------------------------------------------------------------------------------
def make_previews(take: Take, say: Callable[[int], None]) -> bool:
    """Make a small film, a poster and a sound file of the take, list them on it; False when it was withdrawn meanwhile."""
    report = take.report
    # The whole take, so that a moment has the same time in the preview as in every finding.
    whole = Stretch(0.0, report.body["container"]["duration_s"])
    with files.local_copy(take.storage_key) as path, TemporaryDirectory() as folder:
        made = previews(
            path,
            Path(folder),
            whole,
            report.zero_s,
            progress=lambda done: say(int(90 * done)),
            kinds=("sound", "poster", "film"),
        )
        keys = {
            name: files.store(made.files[kind], "previews", made.files[kind].suffix)
            for kind, name in (("sound", "sound"), ("poster", "poster"), ("film", "preview"))
            if made.files[kind].exists()
        }
    with transaction.atomic():
        kept = Take.objects.kept().select_for_update().filter(pk=take.pk).first()
        if kept is not None:
            old = [kept.files.get(name, "") for name in keys]
            Take.objects.filter(pk=take.pk).update(files=kept.files | keys)
            row = ProbeReport.objects.get(take=take)
            row.body["preview_zero_s"] = made.zero_in_preview_s
            row.save(update_fields=["body"])
    files.remove(*(keys.values() if kept is None else old))
    return kept is not None


# -- copies --------------------------------------------------------------------------------------------------------
def _original_of(take: Take, alike: list[Take]) -> Take | None:
    """The earliest other take of the call, sent before this one, that this one is a copy of."""
    if take.is_tryout:
        return None
    same_bytes = copies.others(take).filter(pk__lt=take.pk, sha256=take.sha256).order_by("pk").first()
    return same_bytes or next((other for other in alike if other.pk < take.pk), None)


def _mark_later_copies(take: Take, alike: list[Take]) -> None:
    """A copy that was sent later but measured sooner learns now that it is one."""
    same_bytes = copies.others(take).filter(sha256=take.sha256, report__isnull=False).select_related("report")
    for other in {other.pk: other for other in (*alike, *same_bytes)}.values():
        if other.pk < take.pk or other.report.copy_of_id is not None:
            continue
        body = other.report.body
        finding = _finding(_words_for(other, take))
        body["findings"].append(_plain(finding))
        levels = tuple(replace(finding, level=Level(one["level"])) for one in body["findings"])
        body["verdict"] = str(verdict_of(levels))
        ProbeReport.objects.filter(take=other).update(copy_of=take, **_columns(body))


def _words_for(take: Take, original: Take) -> str:
    """Words for the other take that tell a player nothing about another player."""
    if original.entry_id == take.entry_id:
        return f"your own take of {original.received_at:%d %B, %H:%M} UTC"
    return "a take that somebody else sent"


def _finding(words: str) -> Finding:
    return next(iter(copy_of_a_take.check(TakeFacts(copy_of=words), None)))


def _plain(finding: Finding) -> dict[str, Any]:
    return {"code": finding.code, "level": str(finding.level), "says": finding.says, "do": finding.do, "at_s": []}


# -- columns -------------------------------------------------------------------------------------------------------
PLAIN = (
    "verdict",
    "zero_s",
    "zero_from",
    "zero_sd_s",
    "clock_ratio",
    "bias_ms",
    "spread_ms",
    "written",
    "matched",
    "missed",
    "extra",
)
WORST_FIRST = {"redo": 0, "look": 1, "note": 2}


def _columns(report: dict[str, Any]) -> dict[str, Any]:
    """The columns of a report row: what pages sort and filter by, and the whole report beside it."""
    findings = sorted(report["findings"], key=lambda f: WORST_FIRST[f["level"]])
    return {name: report[name] for name in PLAIN} | {"codes": [f["code"] for f in findings], "body": report}

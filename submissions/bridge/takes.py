"""Takes: row to engine, report to row."""

from dataclasses import replace
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from .. import files
from ..engine import probe as engine
from ..engine.checks import copy_of_a_take
from ..engine.facts import TakeFacts
from ..engine.findings import Finding, Level, verdict_of
from ..engine.report import Report
from ..models import PartRow, ProbeReport, Take
from ..models.base import Work
from .music import part_of

# Two people, or one person twice, never play with the same errors: independent errors of spread s differ by 1.4 s.
# Encoding a take again moves a stroke by a few hundredths of a millisecond. A fifth lies far from both.
COPY_SHARE_OF_SPREAD = 0.2
COPY_STROKES = 24  # fewer common strokes prove nothing


def probe(take: Take) -> Report:
    """The engine's report on a take."""
    with files.local_copy(take.storage_key) as path:
        return engine.probe(path, part_of(take.part), take.part.segment.call.count_off_bars)


def store_report(take_pk: int, who: str, report: Report) -> bool:
    """Keep the engine's report and end the work, if the lease is still this worker's; False otherwise.

    The part is locked first, so that of two copies measured at once one sees the other. The table takes one report a
    take: however often a take is probed, one verdict stays.
    """
    with transaction.atomic():
        take = Take.objects.select_for_update().filter(pk=take_pk, work=Work.RUNNING, leased_by=who).first()
        if take is None or take.withdrawn_at is not None or ProbeReport.objects.filter(take=take).exists():
            return False
        PartRow.objects.select_for_update().get(pk=take.part_id)
        original = _original_of(take, report)
        if original is not None:
            report = engine.judge_again(report, part_of(take.part), _words_for(take, original))
        ProbeReport.objects.create(take=take, copy_of=original, **_columns(report.to_json_object()))
        Take.objects.filter(pk=take_pk).update(
            work=Work.DONE,
            leased_by="",
            lease_until=None,
            progress=100,
            probed_at=timezone.now(),
            failure="",
            failure_ref="",
        )
        if not take.is_tryout:
            _mark_later_copies(take, report)
    return True


def forget_report(take: Take) -> None:
    """Delete what was measured of a take."""
    ProbeReport.objects.filter(take=take).delete()


# -- copies --------------------------------------------------------------------------------------------------------
def _others(take: Take):
    call = take.part.segment.call_id
    return Take.objects.kept().filter(entry__call=call, is_tryout=False).exclude(pk=take.pk).select_related("report")


def _original_of(take: Take, report: Report) -> Take | None:
    """The earliest other take of the call, sent before this one, that this one is a copy of."""
    if take.is_tryout:
        return None
    earlier = _others(take).filter(pk__lt=take.pk).order_by("pk")
    same_bytes = earlier.filter(sha256=take.sha256).first()
    if same_bytes is not None:
        return same_bytes
    mine = _errors(report.to_json_object())
    for other in earlier.filter(part=take.part, report__isnull=False):
        if _same_performance(mine, _errors(other.report.body)):
            return other
    return None


def _mark_later_copies(take: Take, report: Report) -> None:
    """A copy that was sent later but measured sooner learns now that it is one."""
    mine = _errors(report.to_json_object())
    for other in _others(take).filter(pk__gt=take.pk, part=take.part, report__isnull=False, report__copy_of=None):
        if other.sha256 == take.sha256 or _same_performance(mine, _errors(other.report.body)):
            body = other.report.body
            finding = _finding(_words_for(other, take))
            body["findings"].append(_plain(finding))
            levels = tuple(replace(finding, level=Level(one["level"])) for one in body["findings"])
            body["verdict"] = str(verdict_of(levels))
            ProbeReport.objects.filter(take=other).update(copy_of=take, **_columns(body))


def _errors(report: dict[str, Any]) -> dict[int, float]:
    """Late milliseconds by the number of the written stroke, heard strokes only."""
    return {n: s["late_ms"] for n, s in enumerate(report["strokes"]) if s["late_ms"] is not None}


def _same_performance(one: dict[int, float], two: dict[int, float]) -> bool:
    common = sorted(one.keys() & two.keys())
    if len(common) < COPY_STROKES:
        return False
    a, b = (np.array([errors[n] for n in common]) for errors in (one, two))
    spread = min(a.std(), b.std())
    # The median ignores the few strokes that one of the two encodings lost or doubled.
    apart = np.median(np.abs((a - b) - np.median(a - b))) * 1.4826  # to a standard deviation, for normal errors
    return bool(spread > 0 and apart < COPY_SHARE_OF_SPREAD * spread)


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

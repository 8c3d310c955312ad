"""Copies of one performance within a call: one look-up by key, whatever the number of takes before it."""

from django.db.models import Count, QuerySet

from ..engine.eye import copies
from ..models import Call, PerformanceKey, ProbeReport, Take


def lock_call(take: Take) -> None:
    """Hold the call until the transaction ends, so that of two copies measured at once one sees the other.

    Rows that point at the call may still be written meanwhile.
    """
    Call.objects.select_for_update(no_key=True).get(pk=take.entry.call_id)


def others(take: Take) -> QuerySet[Take]:
    """All other takes of the call that count."""
    return Take.objects.kept().filter(entry__call=take.entry.call_id, is_tryout=False).exclude(pk=take.pk)


def same_performance(take: Take, heard_s: tuple[float, ...]) -> list[Take]:
    """Other measured takes of the call with the same strokes, earliest first; in full only where keys agree."""
    mine = copies.fingerprint(heard_s)
    sharing = (
        PerformanceKey.objects.filter(key__in=copies.keys(mine), report__take__in=others(take))
        .values("report")
        .annotate(shared=Count("pk"))
        .filter(shared__gte=copies.SHARED)
        .values("report")
    )
    near = others(take).filter(report__in=sharing).select_related("report").order_by("pk")
    return [other for other in near if copies.same(mine, copies.fingerprint(other.report.body["heard_s"]))]


def keep_keys(report: ProbeReport, heard_s: tuple[float, ...]) -> None:
    """Write the keys of a performance down, for copies that come later."""
    found = copies.keys(copies.fingerprint(heard_s))
    PerformanceKey.objects.bulk_create(PerformanceKey(report=report, key=key) for key in found)

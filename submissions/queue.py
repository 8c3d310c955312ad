"""The order of work. The database is the queue: one statement claims, a lease holds, a sweep frees.

Takes whose player can still act come first, the least time left first; after the deadline the oldest first.
"""

from datetime import timedelta

from django.conf import settings
from django.db import connection
from django.db.models import F, Q
from django.utils import timezone

from .models import Call, Entry, Export, PartRow, Preview, ProbeReport, Take
from .models.base import Leased, Work

# One statement on both databases: PostgreSQL's SKIP LOCKED lets many workers choose at once without waiting for each
# other; SQLite has one writer at a time, so its whole statement is alone (transactions are IMMEDIATE, see settings).
CLAIM = """
UPDATE {take} SET work = 'running', leased_by = %(who)s, lease_until = %(until)s, attempts = attempts + 1, progress = 0
WHERE id = (
    SELECT t.id FROM {take} t
    JOIN {entry} e ON e.id = t.entry_id
    JOIN {call} c ON c.id = e.call_id
    WHERE t.work = 'waiting' AND t.withdrawn_at IS NULL
    ORDER BY {order}
    LIMIT 1 {skip}
)
RETURNING id
"""
ORDER = (
    "CASE WHEN c.deadline > %(now)s THEN 0 ELSE 1 END, "
    "CASE WHEN c.deadline > %(now)s THEN c.deadline ELSE t.received_at END, t.received_at, t.id"
)


def claim_take(who: str) -> int | None:
    """Lease the next take to this worker; its primary key, or None when nothing waits."""
    now = timezone.now()
    statement = CLAIM.format(
        take=Take._meta.db_table,
        entry=Entry._meta.db_table,
        call=Call._meta.db_table,
        order=ORDER,
        skip="FOR UPDATE OF t SKIP LOCKED" if connection.vendor == "postgresql" else "",
    )
    values = {"who": who, "now": _value(now), "until": _value(now + timedelta(seconds=settings.LEASE_S))}
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        row = cursor.fetchone()
    return row[0] if row else None


def _value(when):
    """A time as this database stores it, so that comparing stored and given times is right."""
    return connection.ops.adapt_datetimefield_value(when)


def claim_row(model: type[Leased], pk: int, who: str) -> bool:
    """Lease one named row (materials, an export); False when it is gone, done or held by another."""
    rows = model._default_manager.filter(pk=pk, work=Work.WAITING)
    attempts = F("attempts") + 1
    return rows.update(work=Work.RUNNING, leased_by=who, lease_until=_until(), attempts=attempts, progress=0) == 1


def renew(model: type[Leased], pk: int, who: str) -> bool:
    """Hold the lease longer; False when it is no longer ours."""
    return _mine(model, pk, who).update(lease_until=_until()) == 1


def say_progress(model: type[Leased], pk: int, who: str, per_cent: int) -> None:
    """Tell the page how far the work is."""
    _mine(model, pk, who).update(progress=max(0, min(100, per_cent)))


def finish(model: type[Leased], pk: int, who: str, **fields) -> bool:
    """Mark the work as done if the lease is still ours."""
    done = {"work": Work.DONE, "leased_by": "", "lease_until": None, "progress": 100, "failure": "", "failure_ref": ""}
    return _mine(model, pk, who).update(**done | fields) == 1


def fail(model: type[Leased], pk: int, who: str, says: str, ref: str) -> bool:
    """Mark the work as failed by our fault, with the sentence and the reference the page shows."""
    failed = {"work": Work.FAILED, "leased_by": "", "lease_until": None, "failure": says, "failure_ref": ref}
    return _mine(model, pk, who).update(**failed) == 1


def sweep() -> int:
    """Free what dead workers held; put aside a take that killed too many. Returns how many takes wait."""
    now = timezone.now()
    for model in (Take, PartRow, Export, Preview):
        over = model._default_manager.filter(work=Work.RUNNING, lease_until__lt=now)
        over.filter(attempts__gte=settings.PROBE_ATTEMPTS).update(
            work=Work.FAILED,
            leased_by="",
            lease_until=None,
            failure="Our machine gave up on this file several times. The organizer can see it; nothing is lost.",
            failure_ref="attempts",
        )
        over.update(work=Work.WAITING, leased_by="", lease_until=None)
    return Take.objects.filter(work=Work.WAITING, withdrawn_at=None).count()


def place_of(take: Take) -> int:
    """How many takes a waiting take has before it, by the same order as the claim."""
    now, deadline = timezone.now(), take.entry.call.deadline
    waiting = Take.objects.filter(work=Work.WAITING, withdrawn_at=None)
    alive = waiting.filter(entry__call__deadline__gt=now)
    older = Q(received_at__lt=take.received_at) | Q(received_at=take.received_at, pk__lt=take.pk)
    if deadline > now:
        return alive.filter(Q(entry__call__deadline__lt=deadline) | Q(entry__call__deadline=deadline) & older).count()
    return alive.count() + waiting.filter(older, entry__call__deadline__lte=now).count()


def minutes_to_answer(take: Take) -> int | None:
    """Expected minutes until the answer, from the newest twenty answers; None when there is nothing to go by."""
    newest = ProbeReport.objects.order_by("-created_at").values_list("body__cost__wall_s", flat=True)[:20]
    costs = [cost for cost in newest if cost]
    if not costs:
        return None
    return max(1, round((place_of(take) + 1) * sum(costs) / len(costs) / 60))


def _mine(model: type[Leased], pk: int, who: str):
    return model._default_manager.filter(pk=pk, work=Work.RUNNING, leased_by=who)


def _until():
    return timezone.now() + timedelta(seconds=settings.LEASE_S)


__all__ = [
    "claim_row",
    "claim_take",
    "fail",
    "finish",
    "minutes_to_answer",
    "place_of",
    "renew",
    "say_progress",
    "sweep",
]

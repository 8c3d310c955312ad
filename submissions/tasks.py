"""What a worker does: load by id, call, store. Every task may run twice."""

import logging
import os
import secrets
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from celery import shared_task
from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.utils import timezone
from kombu.exceptions import OperationalError

from . import bridge, files, mail, queue
from .models import Call, Decision, Entry, Export, MailLog, PartRow, Preview, Take, Upload
from .models.base import Leased, Work

log = logging.getLogger(__name__)
FAILED_SAYS = "Something went wrong on our side; the file is safe and we were told."


def who_am_i() -> str:
    """A name for a lease: this machine, this process, this piece of work."""
    return f"{socket.gethostname()[:40]}:{os.getpid()}:{secrets.token_hex(4)}"


@contextmanager
def held(model: type[Leased], pk: int, who: str) -> Iterator[None]:
    """Renew the lease from a thread while the block runs, but not longer than a probe may take."""
    over = threading.Event()

    def keep() -> None:
        try:
            for _ in range(max(1, int(settings.PROBE_TIMEOUT_S / (settings.LEASE_S / 3)))):
                if over.wait(settings.LEASE_S / 3) or not still_ours():
                    return
        finally:
            connection.close()

    def still_ours() -> bool:
        try:
            return queue.renew(model, pk, who)
        except DatabaseError as error:  # a database that is busy now may answer in time for the next round
            log.warning("a lease could not be renewed: %s", error)
            connection.close()
            return True

    thread = threading.Thread(target=keep, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


@contextmanager
def our_fault(model: type[Leased], pk: int, who: str, what: str) -> Iterator[None]:
    """What fails inside is our fault: it is kept on the row with a reference, stands in the log, and is raised."""
    try:
        yield
    except Exception:
        ref = secrets.token_hex(4)
        log.exception("%s %s failed (reference %s)", what, pk, ref)
        queue.fail(model, pk, who, FAILED_SAYS, ref)
        raise


# -- takes ---------------------------------------------------------------------------------------------------------
def later(task: Any, *arguments: Any) -> None:
    """Send a task's wake-up call. A broker that is away costs time, not work: rows wait, and the sweep finds them."""
    try:
        task.delay(*arguments)
    except OperationalError as error:
        log.warning("the broker does not answer, %s waits for the sweep: %s", task.name, error)


def wake_probe() -> None:
    """Wake a worker up: there is a take in the queue. Which one it gets, the queue decides."""
    later(probe_next)


@shared_task(name="submissions.probe_next", time_limit=settings.PROBE_TIMEOUT_S + 60)
def probe_next() -> None:
    """Claim the next take and probe it; a quiet return when nothing waits."""
    who = who_am_i()
    pk = queue.claim_take(who)
    if pk is not None:
        probe_take(pk, who)


def probe_take(pk: int, who: str) -> None:
    """Probe a claimed take and keep the report."""
    take = Take.objects.select_related("part__segment__call", "entry__call").filter(pk=pk).first()
    if take is None:
        return
    with our_fault(Take, pk, who, "probe"):
        with held(Take, pk, who):
            report = bridge.probe(take)
        kept = bridge.store_report(pk, who, report)
    if kept:
        later(make_previews, pk)
        again = f"-again-{take.probed_at:%Y%m%d%H%M%S}" if take.probed_at else ""
        order_mail("verdict", take.entry, f"take-{pk}{again}")


# -- materials and exports -----------------------------------------------------------------------------------------
@shared_task(name="submissions.make_materials")
def make_materials(part_pk: int) -> None:
    """Make what players download for one part."""
    who = who_am_i()
    if not queue.claim_row(PartRow, part_pk, who):
        return
    part = PartRow.objects.select_related("segment__call").get(pk=part_pk)
    old = bridge.material_keys(part.materials)
    with our_fault(PartRow, part_pk, who, "materials"), held(PartRow, part_pk, who):
        made = bridge.make_materials(part, lambda done: queue.say_progress(PartRow, part_pk, who, done))
    if queue.finish(PartRow, part_pk, who, materials=made):
        files.remove(*old)
    else:
        files.remove(*bridge.material_keys(made))


@shared_task(name="submissions.make_export")
def make_export(export_pk: int) -> None:
    """Make one ordered export."""
    who = who_am_i()
    if not queue.claim_row(Export, export_pk, who):
        return
    export = Export.objects.select_related("call").get(pk=export_pk)
    with our_fault(Export, export_pk, who, "export"), held(Export, export_pk, who):
        made = bridge.make_export(export, lambda done: queue.say_progress(Export, export_pk, who, done))
    queue.finish(Export, export_pk, who, files=made)


@shared_task(name="submissions.make_previews")
def make_previews(take_pk: int) -> None:
    """Make the small film and poster of a take, if it is to have them."""
    row, who = Preview.objects.filter(take=take_pk, take__withdrawn_at=None).first(), who_am_i()
    if row is None or not queue.claim_row(Preview, row.pk, who):
        return
    take = Take.objects.select_related("part__segment", "report").get(pk=take_pk)
    with our_fault(Preview, row.pk, who, "preview"), held(Preview, row.pk, who):
        bridge.make_previews(take, lambda done: queue.say_progress(Preview, row.pk, who, done))
    queue.finish(Preview, row.pk, who)


# -- mail ----------------------------------------------------------------------------------------------------------
def order_mail(kind: str, entry: Entry, key: str) -> None:
    """Have a mail sent once this transaction is through."""
    row = mail.order(kind, entry, key)
    if row is not None:
        transaction.on_commit(lambda: later(mail_out, row.pk))


@shared_task(name="submissions.mail_out")
def mail_out(pk: int) -> None:
    """Send one ordered mail; after a failure the sweep tries again when its time has come."""
    row = MailLog.objects.filter(pk=pk).first()
    if row is not None:
        mail.deliver(pk, **_about(row.kind, row.key))


def _about(kind: str, key: str) -> dict:
    """What else the mail speaks of, by its key."""
    if kind == "verdict":
        pk, _, again = key.removeprefix("take-").partition("-")
        found = Take.objects.select_related("part__segment", "report").filter(pk=int(pk))
        return {"take": found.first(), "again": bool(again)}
    if kind == "decision":
        pk = int(key.removeprefix("decision-"))
        return {"decision": Decision.objects.select_related("take__part").filter(pk=pk).first()}
    return {}


@shared_task(name="submissions.renew_links")
def renew_links(call_pk: int, email: str) -> None:
    """Mail a new link for every entry of this address in this call."""
    for entry in Entry.objects.active().filter(call_id=call_pk, email__iexact=email):
        order_mail("link", entry, f"renewed-{timezone.now():%Y%m%d%H%M%S}")


# -- beat ----------------------------------------------------------------------------------------------------------
@shared_task(name="submissions.sweep")
def sweep() -> None:
    """Free expired leases and wake workers for whatever waits: no work depends on a message arriving."""
    for _ in range(min(queue.sweep(), 4)):
        wake_probe()
    for part in PartRow.objects.filter(work=Work.WAITING)[:20]:
        later(make_materials, part.pk)
    for export in Export.objects.filter(work=Work.WAITING)[:20]:
        later(make_export, export.pk)
    for take_pk in Preview.objects.filter(work=Work.WAITING).values_list("take", flat=True)[:20]:
        later(make_previews, take_pk)
    for pk in mail.overdue():
        later(mail_out, pk)


@shared_task(name="submissions.tidy")
def tidy() -> None:
    """Delete try-outs after their days, and the bytes of uploads nobody came back for."""
    now = timezone.now()
    for take in Take.objects.filter(is_tryout=True, delete_after__lt=now):
        keys = [take.storage_key, *take.files.values()]
        take.delete()
        files.remove(*keys)
    for upload in Upload.objects.filter(expires_at__lt=now):
        upload.delete()  # a finished one is only remembered so that its client can still ask; its take stays
        files.spool_path(upload.public_id).unlink(missing_ok=True)


@shared_task(name="submissions.remind")
def remind() -> None:
    """Remind players without a take, three days and one day before the deadline."""
    now = timezone.now()
    for days in (3, 1):
        due = Call.objects.filter(
            state=Call.State.PUBLISHED, deadline__gt=now, deadline__lte=now + timedelta(days=days)
        )
        for entry in (
            Entry.objects.active().filter(call__in=due).exclude(takes__is_tryout=False, takes__withdrawn_at=None)
        ):
            order_mail("reminder", entry, f"{days}-days")

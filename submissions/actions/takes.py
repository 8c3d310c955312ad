"""From the first byte of an upload to a take in the queue, and out again."""

import fcntl
import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from .. import files, tasks
from ..models import Entry, PartRow, Take, Upload
from .entries import _forget_take
from .refused import Refused

READ = 64 * 1024  # bytes at a time from the network: what a reset connection can cost at most


def begin_upload(
    entry: Entry, part: PartRow, *, length: int | None, filename: str, is_tryout: bool = False, sha256: str = ""
) -> Upload:
    """A place for a file on its way; refused at the door when it could never become a take."""
    call = entry.call
    if part.segment.call_id != call.pk or not part.offered:
        raise Refused("That part does not belong to this call.", "part")
    if not call.is_open:
        raise Refused("The deadline has passed; no new take can be begun.", "file", code="late")
    if not files.kind_of(filename):
        raise Refused(f"Send a video file: {', '.join(files.VIDEO_KINDS)}.", "file", code="kind")
    if length is not None and length > call.upload_limit:
        raise Refused(_too_big(call.upload_limit), "file", code="too-big")
    if length == 0:
        raise Refused("The file is empty.", "file", code="empty")
    _check_quota(entry, part, length or 0)
    return Upload.objects.create(
        entry=entry,
        part=part,
        is_tryout=is_tryout,
        filename=files.plain_name(filename),
        length=length,
        sha256=sha256.lower(),
        expires_at=timezone.now() + timedelta(hours=settings.UPLOAD_EXPIRES_H),
    )


def set_length(upload: Upload, length: int) -> None:
    """The length of an upload that was begun without one; it can be said once."""
    if upload.length is not None and upload.length != length:
        raise Refused("The length of this upload is known already.", code="length")
    if length > upload.entry.call.upload_limit:
        raise Refused(_too_big(upload.entry.call.upload_limit), "file", code="too-big")
    if length < bytes_here(upload):
        raise Refused("More bytes have arrived than that.", code="length")
    Upload.objects.filter(pk=upload.pk).update(length=length)
    upload.length = length


def _too_big(limit: int) -> str:
    return f"The file is too big: at most {limit // 1024**2} MB. A shorter or a smaller recording (1080p) will do."


def _check_quota(entry: Entry, part: PartRow, more: int) -> None:
    sent = entry.takes.all()
    if sent.count() >= settings.UPLOAD_QUOTA_TAKES:
        raise Refused("You have sent as many takes as one player may.", "file", code="quota")
    if sent.filter(part=part).count() >= entry.call.max_takes_per_part:
        raise Refused("You have sent as many takes of this part as one player may.", "file", code="quota")
    kept = entry.takes.kept().aggregate(sum=Sum("bytes"))["sum"] or 0
    under_way = entry.uploads.filter(ended_at=None).aggregate(sum=Sum("length"))["sum"] or 0
    if kept + under_way + more > settings.UPLOAD_QUOTA_BYTES:
        raise Refused("Your takes fill the space there is for one player; withdraw one first.", "file", code="quota")


@contextmanager
def spooled(upload: Upload) -> Iterator[Path]:
    """The spool file of an upload, held by this process alone; raises Refused(code="busy") when another holds it."""
    path = files.spool_path(upload.public_id)
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "ab") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Refused("This upload is being written to by another connection.", code="busy") from None
        yield path


def bytes_here(upload: Upload) -> int:
    """How many bytes have arrived: the spool file knows best, also after a cut."""
    if upload.ended_at is not None:
        return upload.offset
    try:
        return files.spool_path(upload.public_id).stat().st_size
    except FileNotFoundError:
        return 0


def receive_bytes(
    upload: Upload, offset: int, read: Callable[[int], bytes], checksum: tuple[str, bytes] | None = None
) -> int:
    """Append what read() gives to the upload; returns the new offset. What arrived before a cut stays.

    With a checksum (algorithm, digest) the bytes count only when it fits. Refused: "busy", "offset", "too-big",
    "checksum". A connection that breaks raises OSError after the bytes so far were kept.
    """
    with spooled(upload) as path:
        if path.stat().st_size != offset:
            raise Refused(f"The upload stands at {path.stat().st_size}, not at {offset}.", code="offset")
        limit = upload.length if upload.length is not None else upload.entry.call.upload_limit
        digest = hashlib.new(checksum[0]) if checksum else None
        try:
            with open(path, "ab", buffering=0) as target:
                arrived = _append(target, read, limit - offset, digest)
        except BaseException:
            if digest is not None:  # a piece that cannot be checked any more is dropped whole
                os.truncate(path, offset)
            raise
        if digest is not None and checksum is not None and digest.digest() != checksum[1]:
            os.truncate(path, offset)
            raise Refused("The checksum does not fit what arrived.", code="checksum")
        Upload.objects.filter(pk=upload.pk).update(offset=offset + arrived)
        upload.offset = offset + arrived
    return upload.offset


def _append(target, read: Callable[[int], bytes], room: int, digest) -> int:
    arrived = 0
    while piece := read(READ):
        if arrived + len(piece) > room:
            raise Refused("More bytes came than the upload is long.", code="too-big")
        target.write(piece)
        arrived += len(piece)
        if digest is not None:
            digest.update(piece)
    return arrived


def finish_upload(upload: Upload) -> Take | None:
    """Make a complete upload a take; None while bytes are missing. Safe to call again: one upload, one take."""
    if upload.ended_at is None and bytes_here(upload) != upload.length:
        return None  # without asking for the file, which a connection may be writing to
    with spooled(upload) as path:
        upload.refresh_from_db()
        if upload.ended_at is not None:
            path.unlink(missing_ok=True)
            return Take.objects.filter(upload=upload).first()
        if upload.length is None or path.stat().st_size != upload.length:
            return None
        try:
            return receive_take(
                upload.entry,
                upload.part,
                path,
                filename=upload.filename,
                begun_at=upload.begun_at,
                is_tryout=upload.is_tryout,
                upload=upload,
            )
        except Refused:  # it can never become a take: the client is to begin anew
            Upload.objects.filter(pk=upload.pk).delete()
            path.unlink(missing_ok=True)
            raise


def receive_take(
    entry: Entry,
    part: PartRow,
    path: Path,
    *,
    filename: str,
    begun_at: datetime | None = None,
    is_tryout: bool = False,
    upload: Upload | None = None,
) -> Take:
    """The file at path becomes a take of this player and goes into the queue. The file is taken over."""
    now = timezone.now()
    begun = begun_at or now
    size, sha256 = path.stat().st_size, files.sha256_of(path)
    if upload is not None and upload.sha256 and upload.sha256 != sha256:
        raise Refused("The file that arrived is not the file that was sent.", "file", code="checksum")
    key = files.store(path, "takes", files.kind_of(filename) or ".bin")
    try:
        with transaction.atomic():
            take = Take.objects.create(
                entry=entry,
                part=part,
                upload=upload,
                is_tryout=is_tryout,
                storage_key=key,
                filename=files.plain_name(filename),
                sha256=sha256,
                bytes=size,
                begun_at=begun,
                received_at=now,
                on_time=entry.call.was_on_time(begun, now),
                delete_after=now + timedelta(days=settings.TRYOUT_DAYS) if is_tryout else None,
            )
            if upload is not None:
                Upload.objects.filter(pk=upload.pk).update(ended_at=now, offset=size)
            if not is_tryout:
                entry.parts.add(part)
            transaction.on_commit(tasks.wake_probe)
    except BaseException:
        files.remove(key)
        raise
    path.unlink(missing_ok=True)
    return take


def receive_file(entry: Entry, part: PartRow, file, *, is_tryout: bool = False) -> Take:
    """A take sent by a plain form: file is Django's uploaded file."""
    upload = begin_upload(entry, part, length=file.size, filename=file.name, is_tryout=is_tryout)
    try:
        receive_bytes(upload, 0, file.read)
        take = finish_upload(upload)
    except Refused:
        abandon_upload(upload)
        raise
    if take is None:
        abandon_upload(upload)
        raise Refused("The file did not arrive whole; please send it again.", "file")
    return take


def abandon_upload(upload: Upload) -> None:
    """Give up an unfinished upload and delete its bytes."""
    with spooled(upload) as path:
        Upload.objects.filter(pk=upload.pk, ended_at=None).delete()
        path.unlink(missing_ok=True)


@transaction.atomic
def withdraw_take(take: Take) -> None:
    """The player takes a take back: its files are deleted, its chair opens again, the organizer is told."""
    tell = not take.is_tryout
    _forget_take(take)
    if tell:
        tasks.order_mail("take-withdrawn", take.entry, f"take-{take.pk}")

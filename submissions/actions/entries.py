"""What players and guardians do about an entry."""

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from portal import limits

from .. import bridge, files, tasks
from ..models import Call, Consent, ConsentText, Entry, MagicLink, PartRow, Pick, Take, Upload
from .refused import Refused


@transaction.atomic
def enter(
    call: Call,
    *,
    display_name: str,
    email: str,
    age_band: str,
    consent_text: ConsentText,
    parts: Iterable[PartRow] = (),
    country: str = "",
    credit_name: str = "",
    guardian_email: str = "",
    language: str = "en",
    zone: str = "",
    address: str = "",
) -> tuple[Entry, MagicLink]:
    """A new entry with the player's yes, and the link that the session may remember (access.remember).

    Whether the mail address is known already is never told: every entry is a new one with a right of its own.
    Raises limits.TooOften for one address (pass the request's) that enters too often.
    """
    if address:
        limits.count("entry", address)
    if not call.is_open:
        raise Refused("This call takes no more entries.")
    if consent_text.call_id != call.pk or consent_text != call.consent_texts.first():
        raise Refused("The text has changed while you were writing; please read it again.", "consent")
    needs_guardian = Entry.must_have_guardian(call, age_band, country)
    if needs_guardian and not guardian_email:
        raise Refused("At your age a parent or guardian must agree: give their mail address.", "guardian_email")
    if needs_guardian and guardian_email.strip().lower() == email.strip().lower():
        raise Refused("Give your parent's or guardian's own mail address, not yours.", "guardian_email")
    entry = Entry.objects.create(
        call=call,
        display_name=display_name.strip(),
        credit_name=credit_name.strip(),
        email=email.strip(),
        age_band=age_band,
        country=country.upper(),
        needs_guardian=needs_guardian,
        guardian_email=guardian_email.strip() if needs_guardian else "",
        language=language,
        zone=zone,
    )
    Consent.objects.create(entry=entry, text=consent_text, by=Consent.By.PLAYER)
    choose_parts(entry, parts)
    link, _ = MagicLink.make(entry, MagicLink.Purpose.PLAYER)
    if _may_mail(call, entry.email):
        tasks.order_mail("link", entry, f"entry-{entry.pk}")
    if needs_guardian and _may_mail(call, entry.guardian_email):
        tasks.order_mail("guardian", entry, f"entry-{entry.pk}")
    return entry, link


@transaction.atomic
def choose_parts(entry: Entry, parts: Iterable[PartRow]) -> None:
    """The parts this player means to play; parts with takes stay chosen."""
    wanted = {part.pk for part in parts if part.segment.call_id == entry.call_id}
    wanted |= set(entry.takes.kept().values_list("part_id", flat=True))
    entry.parts.set(wanted)


@transaction.atomic
def agree_again(entry: Entry, text: ConsentText) -> Consent:
    """The player's yes to the newest text."""
    consent, _ = Consent.objects.get_or_create(entry=entry, text=text, by=Consent.By.PLAYER, withdrawn_at=None)
    return consent


@transaction.atomic
def guardian_agrees(entry: Entry, name: str, text: ConsentText) -> Consent:
    """A guardian's yes; the takes of this player become visible to the editors."""
    if not name.strip():
        raise Refused("Write your name.", "name")
    if text.call_id != entry.call_id:
        raise Refused("That text belongs to another call.", "consent")
    consent, _ = Consent.objects.get_or_create(
        entry=entry, text=text, by=Consent.By.GUARDIAN, withdrawn_at=None, defaults={"name": name.strip()[:80]}
    )
    return consent


@transaction.atomic
def guardian_takes_back(entry: Entry) -> None:
    """A guardian's no after a yes: the takes vanish from every sight but the organizer's, and leave their chairs."""
    entry.consents.filter(by=Consent.By.GUARDIAN, withdrawn_at=None).update(withdrawn_at=timezone.now())
    Pick.objects.filter(take__entry=entry).delete()
    tasks.order_mail("consent-taken-back", entry, f"{timezone.now():%Y%m%d%H%M%S}")


@transaction.atomic
def send_guardian_link(entry: Entry, guardian_email: str = "") -> None:
    """Mail the guardian's link (again), to a corrected address if one is given."""
    if not entry.needs_guardian:
        raise Refused("Nobody else needs to agree.")
    limits.count("mail", f"guardian-of-{entry.pk}")
    if guardian_email:
        if guardian_email.strip().lower() == entry.email.lower():
            raise Refused("Give your parent's or guardian's own mail address, not yours.", "guardian_email")
        entry.guardian_email = guardian_email.strip()
        entry.save(update_fields=["guardian_email"])
        entry.links.filter(purpose=MagicLink.Purpose.GUARDIAN, revoked_at=None).update(revoked_at=timezone.now())
    tasks.order_mail("guardian", entry, f"again-{timezone.now():%Y%m%d%H%M%S}")


def renew_links(call: Call, email: str, address: str = "") -> None:
    """Mail new links to this address if it has entries here; says nothing about whether it has.

    Raises limits.TooOften by the asking address, never by the mail address: that would tell.
    """
    if address:
        limits.count("mail", address)
    if not _may_mail(call, email):
        return
    transaction.on_commit(lambda: tasks.later(tasks.renew_links, call.pk, email.strip()))


def _may_mail(call: Call, email: str) -> bool:
    """Whether this address may get another mail now: nobody's mailbox is filled by a stranger who types it in."""
    try:
        limits.count("mail", f"{call.pk}:{email.strip().lower()}")
    except limits.TooOften:
        return False
    return True


@transaction.atomic
def stop_mail(entry: Entry, kind: str) -> None:
    """Send no more mail of this kind ("all": of any kind) to this player or guardian."""
    if kind not in entry.mail_stopped:
        entry.mail_stopped = [*entry.mail_stopped, kind]
        entry.save(update_fields=["mail_stopped"])


@transaction.atomic
def withdraw_entry(entry: Entry) -> None:
    """The player leaves: files are deleted, chairs open again, links die, the organizer is told."""
    for take in entry.takes.kept():
        _forget_take(take)
    for upload in entry.uploads.filter(ended_at=None):
        path = files.spool_path(upload.public_id)
        transaction.on_commit(lambda path=path: path.unlink(missing_ok=True))
    Upload.objects.filter(entry=entry).delete()
    now = timezone.now()
    entry.links.filter(revoked_at=None).update(revoked_at=now)
    entry.consents.filter(withdrawn_at=None).update(withdrawn_at=now)
    entry.withdrawn_at, entry.email, entry.guardian_email = now, "", ""
    entry.display_name, entry.credit_name, entry.country, entry.zone = "withdrawn", "", "", ""
    entry.save()
    entry.parts.clear()
    tasks.order_mail("entry-withdrawn", entry, f"entry-{entry.pk}")


def _forget_take(take: Take) -> None:
    """Inside a transaction: empty the row now, delete the files when it is through."""
    keys = [take.storage_key, *take.files.values()]
    Pick.objects.filter(take=take).delete()
    bridge.forget_report(take)
    take.storage_key, take.filename, take.files, take.withdrawn_at = "", "", {}, timezone.now()
    take.save(update_fields=["storage_key", "filename", "files", "withdrawn_at"])
    transaction.on_commit(lambda: files.remove(*keys))


def export_my_data(entry: Entry) -> dict:
    """Everything stored about this player, as one JSON-able object (files are fetched from their own pages)."""
    return bridge.everything_about(entry)

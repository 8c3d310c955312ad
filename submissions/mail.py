"""Mail to players, guardians and organizers: every one logged once, every one with a way to stop it."""

from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation

from .models import Entry, MagicLink, MailLog
from .sentences import finding_in_words
from .templatetags.words import in_zone

TRIES = 8  # after the last, four hours have passed: the address or the server is wrong, not busy
FIRST_WAIT_S = 30  # doubled after every failure


@dataclass(frozen=True)
class Kind:
    """One kind of mail: whom it goes to ("player", "guardian", "organizer")."""

    name: str
    to: str = "player"


KINDS = {
    kind.name: kind
    for kind in (
        Kind("link"),
        Kind("guardian", "guardian"),
        Kind("verdict"),
        Kind("decision"),
        Kind("reminder"),
        Kind("thanks"),
        Kind("take-withdrawn", "organizer"),
        Kind("entry-withdrawn", "organizer"),
        Kind("consent-taken-back", "organizer"),
    )
}


def order(kind_name: str, entry: Entry, key: str) -> MailLog | None:
    """Note that this mail is to go out; None when it was ordered before, is stopped, or has nobody to go to."""
    kind = KINDS[kind_name]
    if not _address(kind, entry) or is_stopped(entry, kind_name):
        return None
    row, new = MailLog.objects.get_or_create(entry=entry, kind=kind_name, key=key)
    return row if new else None


def deliver(pk: int, **context) -> bool:
    """Send an ordered mail; False when it is gone, already sent, or stopped meanwhile.

    The row is locked while it goes out, so that two workers send it once. A mail server that fails sets the next try
    and the error is raised.
    """
    with transaction.atomic():
        row = MailLog.objects.select_for_update().filter(pk=pk, sent_at=None).first()
        if row is None:
            return False
        entry = Entry.objects.select_related("call__organizer").get(pk=row.entry_id)
        to = _address(KINDS[row.kind], entry)
        if not to or is_stopped(entry, row.kind):
            row.delete()
            return False
        try:
            with transaction.atomic():  # the links of a mail that did not go out are taken back
                _message(KINDS[row.kind], entry, to, context).send()
        except OSError as error:  # SMTPException is one too
            failure = error
            row.tries, row.next_try_at = row.tries + 1, timezone.now() + timedelta(seconds=FIRST_WAIT_S * 2**row.tries)
            row.save(update_fields=["tries", "next_try_at"])
        else:
            MailLog.objects.filter(pk=pk).update(sent_at=timezone.now())
            return True
    raise failure


def overdue() -> list[int]:
    """Ordered mails whose time to be tried (again) has come."""
    late = timezone.now() - timedelta(seconds=FIRST_WAIT_S)
    due = MailLog.objects.filter(sent_at=None, tries__lt=TRIES, next_try_at__lt=timezone.now(), ordered_at__lt=late)
    return list(due.values_list("pk", flat=True)[:50])


def _address(kind: Kind, entry: Entry) -> str:
    """Where a mail of this kind goes; "" when there is nobody, or a player who has left."""
    if kind.to == "organizer":
        return entry.call.organizer.email
    if entry.withdrawn_at is not None:
        return ""
    return entry.guardian_email if kind.to == "guardian" else entry.email


def is_stopped(entry: Entry, kind_name: str) -> bool:
    """Whether this player or guardian asked for no more of these."""
    everything = {"player": "all", "guardian": "guardian-all"}.get(KINDS[kind_name].to)
    return kind_name in entry.mail_stopped or everything in entry.mail_stopped


def _message(kind: Kind, entry: Entry, to: str, context: dict) -> EmailMessage:
    """The mail of this kind; the links in it are made here, so that no secret ever lies in the broker."""
    values, headers = context | {"entry": entry, "call": entry.call}, {}
    if kind.to == "organizer":
        values["board"] = absolute(reverse("board", args=[entry.call.slug]))
    else:
        purpose = MagicLink.Purpose.GUARDIAN if kind.to == "guardian" else MagicLink.Purpose.PLAYER
        _, secret = MagicLink.make(entry, purpose)
        _, stop = MagicLink.make(entry, MagicLink.Purpose.STOP, days=365, about=kind.name)
        values["link"] = absolute(reverse("open-link", args=[secret]))
        values["stop"] = absolute(reverse("stop-mail", args=[stop]))
        headers["List-Unsubscribe"] = f"<{values['stop']}>"
    with translation.override(entry.language):
        values["deadline"] = deadline_words(entry)
        if context.get("take") is not None:
            values["findings"] = [finding_in_words(one) for one in context["take"].report.body["findings"]]
        text = render_to_string(f"mail/{kind.name}.txt", values)
    subject, _, body = text.strip().partition("\n")
    return EmailMessage(subject.strip(), body.strip() + "\n", settings.DEFAULT_FROM_EMAIL, [to], headers=headers)


def deadline_words(entry: Entry) -> str:
    """The deadline in the language now spoken, on the player's own clock if they told us their zone, and on the call's."""
    call = entry.call
    words = in_zone(call.deadline, call.deadline_zone)
    if entry.zone and entry.zone != call.deadline_zone:
        return f"{in_zone(call.deadline, entry.zone)} = {words}"
    return words


def absolute(path: str) -> str:
    """The address from outside."""
    return settings.BASE_URL + path

"""Mail to players, guardians and organizers: every one logged once, every one with a way to stop it."""

import logging
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from .models import Entry, MagicLink, MailLog

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Kind:
    """One kind of mail: whom it goes to, and what link it carries."""

    name: str
    to_guardian: bool = False
    link: str = MagicLink.Purpose.PLAYER


KINDS = {
    kind.name: kind
    for kind in (
        Kind("link"),
        Kind("guardian", to_guardian=True, link=MagicLink.Purpose.GUARDIAN),
        Kind("verdict"),
        Kind("decision"),
        Kind("reminder"),
        Kind("thanks"),
    )
}


def send(kind_name: str, entry: Entry, key: str, **context) -> bool:
    """Send one mail of this kind, once for this key; False when stopped, already sent, or nobody to send it to.

    The log row is written before the mail goes out: a task that runs twice sends no second mail, and a mail server
    that fails takes the row back, so that the next run tries again.
    """
    kind = KINDS[kind_name]
    to = entry.guardian_email if kind.to_guardian else entry.email
    if not to or entry.withdrawn_at is not None or is_stopped(entry, kind_name):
        return False
    try:
        with transaction.atomic():
            MailLog.objects.create(entry=entry, kind=kind_name, key=key)
            _message(kind, entry, to, context).send()
    except IntegrityError:
        return False
    return True


def is_stopped(entry: Entry, kind_name: str) -> bool:
    """Whether this player or guardian asked for no more of these."""
    who = "guardian-all" if KINDS[kind_name].to_guardian else "all"
    return kind_name in entry.mail_stopped or who in entry.mail_stopped


def _message(kind: Kind, entry: Entry, to: str, context: dict) -> EmailMessage:
    _, secret = MagicLink.make(entry, kind.link)
    _, stop = MagicLink.make(entry, MagicLink.Purpose.STOP, days=365, about=kind.name)
    stop_url = absolute(reverse("stop-mail", args=[stop]))
    values = context | {
        "entry": entry,
        "call": entry.call,
        "link": absolute(reverse("open-link", args=[secret])),
        "stop": stop_url,
        "deadline": deadline_words(entry),
    }
    with translation.override(entry.language):
        text = render_to_string(f"mail/{kind.name}.txt", values)
    subject, _, body = text.strip().partition("\n")
    return EmailMessage(
        subject.strip(),
        body.strip() + "\n",
        settings.DEFAULT_FROM_EMAIL,
        [to],
        headers={"List-Unsubscribe": f"<{stop_url}>"},
    )


def tell_organizer(kind: str, entry: Entry) -> bool:
    """Tell the organizer of a call by mail, if they gave an address."""
    to = entry.call.organizer.email
    if not to:
        return False
    values = {"entry": entry, "call": entry.call, "board": absolute(reverse("board", args=[entry.call.slug]))}
    text = render_to_string(f"mail/{kind}.txt", values)
    subject, _, body = text.strip().partition("\n")
    EmailMessage(subject.strip(), body.strip() + "\n", settings.DEFAULT_FROM_EMAIL, [to]).send()
    return True


def deadline_words(entry: Entry) -> str:
    """The deadline on the player's own clock if they told us their zone, and on the call's."""
    call = entry.call
    words = f"{call.local_deadline:%Y-%m-%d %H:%M} ({call.deadline_zone})"
    if entry.zone and entry.zone != call.deadline_zone:
        return f"{call.deadline.astimezone(ZoneInfo(entry.zone)):%Y-%m-%d %H:%M} ({entry.zone}) = {words}"
    return words


def absolute(path: str) -> str:
    """The address from outside."""
    return settings.BASE_URL + path

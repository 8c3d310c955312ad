"""Players: who they are to a call, what they agreed to, and the private links by which they come back."""

import hashlib
import secrets
from datetime import timedelta

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from .base import random_id
from .calls import AgeOfConsent, Call, ConsentText, PartRow


class AgeBand(models.TextChoices):
    """Bands, never a date of birth; the youngest age of the band decides."""

    UNDER_13 = "0", "under 13"
    FROM_13 = "13", "13"
    FROM_14 = "14", "14"
    FROM_15 = "15", "15"
    FROM_16 = "16", "16 or 17"
    FROM_18 = "18", "18 or over"


class EntryQuerySet(models.QuerySet):
    def active(self) -> "EntryQuerySet":
        return self.filter(withdrawn_at__isnull=True)

    def agreed(self) -> "EntryQuerySet":
        """Entries whose takes others than the organizer may see: everybody who must agree has agreed."""
        yes = Consent.objects.filter(entry=OuterRef("pk"), withdrawn_at__isnull=True)
        return self.active().filter(
            Exists(yes.filter(by=Consent.By.PLAYER)),
            Q(needs_guardian=False) | Exists(yes.filter(by=Consent.By.GUARDIAN)),
        )


class Entry(models.Model):
    """A player's entry in one call: no account, only what is needed."""

    public_id = models.CharField(max_length=32, unique=True, default=random_id, editable=False)
    call = models.ForeignKey(Call, on_delete=models.CASCADE, related_name="entries")
    display_name = models.CharField(max_length=60)
    credit_name = models.CharField(max_length=60, blank=True)  # as it will appear; empty: no credit
    email = models.EmailField(blank=True)  # empty after withdrawal
    age_band = models.CharField(max_length=2, choices=AgeBand.choices)
    country = models.CharField(max_length=2, blank=True)
    language = models.CharField(max_length=8, default="en")
    zone = models.CharField(max_length=64, blank=True)  # the player's own IANA zone, for mail
    needs_guardian = models.BooleanField(default=False)
    guardian_email = models.EmailField(blank=True)
    parts = models.ManyToManyField(PartRow, blank=True, related_name="entries")
    mail_stopped = models.JSONField(default=list, blank=True)  # kinds of mail this player does not want
    created_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ["call", "created_at"]
        verbose_name_plural = "entries"
        constraints = [
            models.CheckConstraint(condition=~Q(display_name=""), name="entry_has_name"),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=False) | ~Q(email=""), name="entry_has_mail_until_withdrawn"
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=False) | Q(needs_guardian=False) | ~Q(guardian_email=""),
                name="entry_minor_has_guardian",
            ),
            models.CheckConstraint(condition=Q(age_band__in=AgeBand.values), name="entry_age_band"),
        ]

    def __str__(self) -> str:
        return self.display_name

    @property
    def guardian_agreed(self) -> bool:
        """Whether no guardian is needed, or theirs has agreed and not taken it back."""
        if not self.needs_guardian:
            return True
        return self.consents.filter(by=Consent.By.GUARDIAN, withdrawn_at__isnull=True).exists()

    @staticmethod
    def must_have_guardian(call: Call, age_band: str, country: str) -> bool:
        """Whether a player of this age band needs a guardian's yes: below the law's age there, or below the call's."""
        law = AgeOfConsent.for_country(country, timezone.now().date())
        return int(age_band) < max(law, call.consent_age or 0)


class Consent(models.Model):
    """One yes, with the very text it was given to."""

    class By(models.TextChoices):
        PLAYER = "player", "player"
        GUARDIAN = "guardian", "guardian"

    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="consents")
    text = models.ForeignKey(ConsentText, on_delete=models.PROTECT, related_name="consents")
    by = models.CharField(max_length=8, choices=By.choices)
    name = models.CharField(max_length=80, blank=True)  # the guardian's name as they wrote it
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["entry", "given_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["entry", "by", "text"], condition=Q(withdrawn_at__isnull=True), name="consent_once"
            ),
            models.CheckConstraint(condition=~Q(by="guardian") | ~Q(name=""), name="guardian_gives_name"),
        ]

    def __str__(self) -> str:
        return f"{self.by} of {self.entry}"


class MagicLink(models.Model):
    """A private link: only the hash of its secret is stored, so the table opens nothing."""

    class Purpose(models.TextChoices):
        PLAYER = "player", "player"
        GUARDIAN = "guardian", "guardian"
        STOP = "stop", "stop mail"

    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="links")
    purpose = models.CharField(max_length=8, choices=Purpose.choices)
    digest = models.CharField(max_length=64, unique=True)  # SHA-256 of the secret, hexadecimal
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    about = models.CharField(max_length=20, blank=True)  # for purpose STOP: the kind of mail

    class Meta:
        ordering = ["entry", "-created_at"]
        constraints = [
            models.CheckConstraint(condition=Q(digest__length=64), name="link_is_hashed"),
            models.CheckConstraint(condition=Q(expires_at__gt=models.F("created_at")), name="link_expires_later"),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} link of {self.entry}"

    @staticmethod
    def digest_of(secret: str) -> str:
        """A plain hash is enough: the secret has 256 random bits, so there is nothing to try out."""
        return hashlib.sha256(secret.encode()).hexdigest()

    @classmethod
    def make(cls, entry: Entry, purpose: str, days: int | None = None, about: str = "") -> tuple["MagicLink", str]:
        """A new link, and its secret, which is known only here and now."""
        secret = secrets.token_urlsafe(32)
        expires = timezone.now() + timedelta(days=days or settings.LINK_DAYS)
        link = cls.objects.create(
            entry=entry, purpose=purpose, digest=cls.digest_of(secret), expires_at=expires, about=about
        )
        return link, secret

    @property
    def opens(self) -> bool:
        """Whether it still opens anything. A withdrawn player's links open nothing."""
        return self.revoked_at is None and timezone.now() < self.expires_at and self.entry.withdrawn_at is None


class MailLog(models.Model):
    """A mail that is to go out, or went out; never its text, which holds a link.

    The row is written in the transaction of what caused it, so that no mail is lost with a broker, and the key says
    what it is about: one mail a key, also when a task runs twice.
    """

    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="mails")
    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=80)
    ordered_at = models.DateTimeField(default=timezone.now)
    next_try_at = models.DateTimeField(default=timezone.now)
    tries = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-ordered_at"]
        constraints = [models.UniqueConstraint(fields=["entry", "kind", "key"], name="mail_once")]

    def __str__(self) -> str:
        return f"{self.kind} to {self.entry}"

"""The call and what it is made of: segments, parts, chairs, consent texts."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Length
from django.utils import timezone

from .base import Leased

models.CharField.register_lookup(Length)


class CallQuerySet(models.QuerySet):
    def public(self) -> "CallQuerySet":
        """Calls that anybody may read: published, or closed and still to be looked back at."""
        return self.filter(state__in=[Call.State.PUBLISHED, Call.State.CLOSED])

    def organized_by(self, user) -> "CallQuerySet":
        """Calls of this organizer; none for a visitor who is not signed in."""
        return self.filter(organizer=user.pk) if user.is_authenticated else self.none()

    def edited_by(self, user) -> "CallQuerySet":
        """Calls this person edits; an organizer may do all that an editor may."""
        if not user.is_authenticated:
            return self.none()
        return self.filter(Q(editors=user.pk) | Q(organizer=user.pk)).distinct()


class Call(models.Model):
    """An invitation: segments in running order, parts, chairs, rules, deadline, consent text."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PUBLISHED = "published", "published"
        CLOSED = "closed", "closed"

    title = models.CharField(max_length=120)
    slug = models.SlugField(max_length=60, unique=True)
    about = models.TextField(max_length=4000, blank=True)  # what it will become
    rules = models.TextField(max_length=8000, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    organizer = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="calls")
    editors = models.ManyToManyField(settings.AUTH_USER_MODEL, blank=True, related_name="edits")

    deadline = models.DateTimeField()  # UTC
    deadline_zone = models.CharField(max_length=64, default="UTC")  # IANA name the organizer thinks in
    grace_minutes = models.PositiveSmallIntegerField(default=60)  # for uploads begun before the deadline

    # Arranging somebody's work and putting it to a picture both need permission: the organizer says that it is there.
    rights_statement = models.TextField(max_length=2000, blank=True)
    rights_stated_at = models.DateTimeField(null=True, blank=True)

    count_off_bars = models.PositiveSmallIntegerField(
        default=2, validators=[MinValueValidator(1), MaxValueValidator(8)]
    )
    ladder_from_bpm = models.PositiveSmallIntegerField(default=80)  # common practice, no source: start slow, about 80
    ladder_steps = models.PositiveSmallIntegerField(default=5)
    # The age from which a player may agree alone. Releasing a picture of anybody under 18 with a guardian's yes is
    # general practice (from memory, no source); the law's age in the player's country (AgeOfConsent) is the floor.
    consent_age = models.PositiveSmallIntegerField(default=18, null=True, blank=True)
    max_take_minutes = models.PositiveSmallIntegerField(default=10)
    max_take_bytes = models.PositiveBigIntegerField(null=True, blank=True)  # empty: the portal's limit
    max_takes_per_part = models.PositiveSmallIntegerField(default=12)

    created_at = models.DateTimeField(auto_now_add=True)
    published_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = CallQuerySet.as_manager()

    class Meta:
        ordering = ["deadline", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(title=""), name="call_has_title"),
            models.CheckConstraint(condition=Q(state__in=["draft", "published", "closed"]), name="call_state"),
            models.CheckConstraint(
                condition=Q(state="draft") | Q(published_at__isnull=False), name="call_published_has_time"
            ),
            models.CheckConstraint(
                condition=Q(state="draft") | Q(rights_stated_at__isnull=False), name="call_published_has_rights"
            ),
            models.CheckConstraint(condition=Q(count_off_bars__range=(1, 8)), name="call_count_off"),
            models.CheckConstraint(
                condition=Q(consent_age__isnull=True) | Q(consent_age__range=(13, 21)), name="call_consent_age"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.deadline_zone)

    @property
    def local_deadline(self) -> datetime:
        """The deadline on the call's own clock."""
        return self.deadline.astimezone(self.zone)

    @property
    def grace_until(self) -> datetime:
        return self.deadline + timedelta(minutes=self.grace_minutes)

    @property
    def time_left(self) -> timedelta:
        """Time to the deadline; negative after it."""
        return self.deadline - timezone.now()

    @property
    def is_open(self) -> bool:
        """Whether a new upload may begin."""
        return self.state == self.State.PUBLISHED and timezone.now() < self.deadline

    @property
    def upload_limit(self) -> int:
        """The largest take in bytes."""
        return min(self.max_take_bytes or settings.UPLOAD_MAX_BYTES, settings.UPLOAD_MAX_BYTES)

    def was_on_time(self, begun_at: datetime, ended_at: datetime) -> bool:
        """An upload counts when it ended by the deadline, or began before it and ended within the grace period."""
        return ended_at <= self.deadline or (begun_at <= self.deadline and ended_at <= self.grace_until)


class ConsentText(models.Model):
    """One version of what a player (or a guardian) agrees to. Never changed once somebody agreed: a new version is."""

    call = models.ForeignKey(Call, on_delete=models.CASCADE, related_name="consent_texts")
    version = models.PositiveSmallIntegerField()
    text = models.TextField(max_length=8000)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["call", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["call", "version"], name="consent_version_once"),
            models.CheckConstraint(condition=Q(version__gte=1) & ~Q(text=""), name="consent_has_text"),
        ]

    def __str__(self) -> str:
        return f"{self.call} v{self.version}"


class AgeOfConsent(models.Model):
    """From which age a person agrees alone to the use of their data: data with a date, because laws change."""

    country = models.CharField(max_length=2)  # ISO 3166-1 alpha-2; "" = everywhere else
    age = models.PositiveSmallIntegerField()
    valid_from = models.DateField()
    source = models.CharField(max_length=200)

    class Meta:
        ordering = ["country", "-valid_from"]
        verbose_name_plural = "ages of consent"
        constraints = [
            models.UniqueConstraint(fields=["country", "valid_from"], name="age_once_a_day"),
            models.CheckConstraint(condition=Q(age__range=(13, 21)), name="age_sensible"),
        ]

    def __str__(self) -> str:
        return f"{self.country or 'elsewhere'}: {self.age} from {self.valid_from}"

    @classmethod
    def for_country(cls, country: str, on) -> int:
        """The age in this country on this day; the most careful age we know where we know nothing (18)."""
        rows = cls.objects.filter(country__in=[country.upper(), ""], valid_from__lte=on)
        best = rows.order_by("-country", "-valid_from").first()  # "" sorts last
        return best.age if best else 18


class Segment(models.Model):
    """One piece of the cadence, and how often it is played in the finished running order."""

    call = models.ForeignKey(Call, on_delete=models.CASCADE, related_name="segments")
    place = models.PositiveSmallIntegerField()  # 1 is first
    title = models.CharField(max_length=120)
    times = models.PositiveSmallIntegerField(default=1)
    score = models.CharField(max_length=200)  # storage key of the MusicXML file
    score_sha256 = models.CharField(max_length=64)
    summary = models.JSONField(default=dict)  # what the music desk read: bars, meter, bpm, seconds, warnings
    corrections = models.JSONField(default=dict, blank=True)  # of rolls and of the bass line's drums, see bridge
    layout = models.JSONField(default=dict, blank=True)  # the editor's picture layout

    class Meta:
        ordering = ["call", "place"]
        constraints = [
            models.UniqueConstraint(fields=["call", "place"], name="segment_place_once"),
            models.CheckConstraint(condition=Q(place__gte=1), name="segment_place_from_one"),
            models.CheckConstraint(condition=Q(times__range=(1, 32)), name="segment_times"),
            models.CheckConstraint(condition=Q(score_sha256__length=64), name="segment_score_hashed"),
        ]

    def __str__(self) -> str:
        return f"{self.call}: {self.title}"


class PartRow(Leased):
    """One part of one segment, as the call offers it. The music itself stays in the segment's file.

    `work` tells how far its materials (sheet, click, guide, MIDI) are; `materials` lists their storage keys.
    """

    segment = models.ForeignKey(Segment, on_delete=models.CASCADE, related_name="parts")
    place = models.PositiveSmallIntegerField()  # order in the line from above
    part_id = models.CharField(max_length=64)  # id in the MusicXML file
    drum = models.CharField(max_length=8, default="all")  # "all" or "1" to "5" for a bass on one drum
    instrument = models.CharField(max_length=16)
    name = models.CharField(max_length=120)
    demand = models.JSONField(default=dict, blank=True)  # {"level": "easy", "why": "..."} from the music desk
    unread = models.JSONField(default=list, blank=True)  # [{"bar", "element", "says"}]
    tips = models.TextField(max_length=2000, blank=True)
    materials = models.JSONField(default=dict, blank=True)
    offered = models.BooleanField(default=True)  # the organizer may leave a part out

    class Meta:
        ordering = ["segment", "place", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["segment", "part_id", "drum"], name="part_once_a_segment"),
            models.CheckConstraint(
                condition=~Q(work="running") | Q(lease_until__isnull=False), name="part_running_has_lease"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.segment.title})"


class Chair(models.Model):
    """One place for a part in the finished picture."""

    part = models.ForeignKey(PartRow, on_delete=models.CASCADE, related_name="chairs")
    number = models.PositiveSmallIntegerField()  # 1 is first

    class Meta:
        ordering = ["part", "number"]
        constraints = [
            models.UniqueConstraint(fields=["part", "number"], name="chair_once"),
            models.CheckConstraint(condition=Q(number__range=(1, 99)), name="chair_number"),
        ]

    def __str__(self) -> str:
        return f"{self.part.name} {self.number}"

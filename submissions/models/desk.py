"""What people decide: decisions, picks, nudges, exports. Kept apart from what the machine said."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from .base import Leased, random_id
from .calls import Call, Chair
from .takes import Take


class Decision(models.Model):
    """A person's word on a take. A later one counts; earlier ones stay, and no verdict ever overwrites them."""

    class Word(models.TextChoices):
        ACCEPT = "accept", "accepted"
        REDO = "redo", "please play it again"
        LEAVE = "leave", "not used"

    take = models.ForeignKey(Take, on_delete=models.CASCADE, related_name="decisions")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="decisions")
    word = models.CharField(max_length=6, choices=Word.choices)
    note = models.TextField(max_length=2000, blank=True)  # to the player
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["take", "-made_at"]
        constraints = [models.CheckConstraint(condition=Q(word__in=["accept", "redo", "leave"]), name="decision_word")]

    def __str__(self) -> str:
        return f"{self.word} by {self.person}"


class Pick(models.Model):
    """A take chosen for a chair."""

    chair = models.OneToOneField(Chair, on_delete=models.CASCADE, related_name="pick")
    take = models.ForeignKey(Take, on_delete=models.CASCADE, related_name="picks")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="picks")
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["chair"]
        constraints = [models.UniqueConstraint(fields=["take"], name="take_sits_once")]

    def __str__(self) -> str:
        return f"{self.take} on {self.chair}"

    @property
    def nudge_ms(self) -> float:
        """The shift that counts: the newest one applied, or nought."""
        nudge = self.nudges.filter(applied=True).order_by("-made_at", "-pk").first()
        return nudge.shift_ms if nudge else 0.0


class Nudge(models.Model):
    """A shift of a pick; positive moves it later. Proposed by the engine or set by the editor, applied by a person."""

    pick = models.ForeignKey(Pick, on_delete=models.CASCADE, related_name="nudges")
    shift_ms = models.FloatField()
    why = models.CharField(max_length=300, blank=True)
    applied = models.BooleanField(default=False)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="nudges"
    )  # null: proposed by the engine
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pick", "-made_at"]
        constraints = [
            # Half a second is more than a whole beat of any cadence: a larger shift is a wrong zero, not a nudge.
            models.CheckConstraint(condition=Q(shift_ms__range=(-500.0, 500.0)), name="nudge_small"),
            models.CheckConstraint(
                condition=Q(applied=False) | Q(person__isnull=False), name="nudge_applied_by_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shift_ms:+.1f} ms"


class Export(Leased):
    """One file (or bundle) made from the cut."""

    public_id = models.CharField(max_length=32, unique=True, default=random_id, editable=False)
    call = models.ForeignKey(Call, on_delete=models.CASCADE, related_name="exports")
    kind = models.CharField(max_length=32)  # a name in exports.EXPORTS
    options = models.JSONField(default=dict, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="exports")
    ordered_at = models.DateTimeField(default=timezone.now)
    files = models.JSONField(default=list, blank=True)  # [{"name", "key", "bytes", "sha256"}]

    class Meta:
        ordering = ["-ordered_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.kind} of {self.call}"

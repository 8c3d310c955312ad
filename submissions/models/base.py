"""What several tables share: names that cannot be guessed, and leases."""

import secrets
from datetime import timedelta

from django.db import models
from django.utils import timezone


def random_id() -> str:
    """128 random bits for an address: not a secret by itself, but nothing to count through."""
    return secrets.token_urlsafe(16)


class Work(models.TextChoices):
    """Where a piece of background work stands."""

    WAITING = "waiting", "waiting"
    RUNNING = "running", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"


class Leased(models.Model):
    """A row that one worker at a time works on. The row is the queue: a lease that ran out frees it."""

    work = models.CharField(max_length=8, choices=Work.choices, default=Work.WAITING)
    leased_by = models.CharField(max_length=80, blank=True, default="")
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    progress = models.PositiveSmallIntegerField(default=0)  # per cent, for the page
    failure = models.CharField(max_length=300, blank=True, default="")  # a plain sentence for the page
    failure_ref = models.CharField(max_length=16, blank=True, default="")  # the same word stands in the log

    class Meta:
        abstract = True

    def lease(self, who: str, seconds: int) -> None:
        """Put the lease on this object (not saved)."""
        self.leased_by, self.lease_until = who, timezone.now() + timedelta(seconds=seconds)

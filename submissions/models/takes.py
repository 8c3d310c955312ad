"""Uploads and takes: from the first byte to the stored report."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from .base import Leased, Work, random_id
from .calls import PartRow
from .entries import Entry


class Upload(models.Model):
    """A file on its way (tus 1.0). Its bytes lie in the spool folder under the public id until it is complete."""

    public_id = models.CharField(max_length=32, unique=True, default=random_id, editable=False)
    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="uploads")
    part = models.ForeignKey(PartRow, on_delete=models.CASCADE, related_name="uploads")
    is_tryout = models.BooleanField(default=False)
    filename = models.CharField(max_length=200, blank=True)  # as the player's phone named it; never a path
    length = models.PositiveBigIntegerField(null=True, blank=True)  # bytes; null while the length is deferred
    offset = models.PositiveBigIntegerField(default=0)
    sha256 = models.CharField(max_length=64, blank=True)  # what the client promised, if it did
    begun_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-begun_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(length__isnull=True) | Q(offset__lte=models.F("length")), name="upload_offset_in_length"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.filename or 'upload'} {self.offset}/{self.length}"


class TakeQuerySet(models.QuerySet):
    def kept(self) -> "TakeQuerySet":
        """Takes whose files still exist."""
        return self.filter(withdrawn_at__isnull=True)

    def for_organizer(self, call) -> "TakeQuerySet":
        """Everything sent for a call except try-outs, which are shown to nobody but their player."""
        return self.kept().filter(part__segment__call=call, is_tryout=False)

    def for_editor(self, call) -> "TakeQuerySet":
        """What may leave the organizer's hands: the player agreed, and a minor's guardian too."""
        return self.for_organizer(call).filter(entry__in=Entry.objects.filter(call=call).agreed())

    def newest(self) -> "TakeQuerySet":
        """A player's newest take of each part: the one that counts."""
        later = self.model.objects.filter(
            entry=models.OuterRef("entry"),
            part=models.OuterRef("part"),
            is_tryout=models.OuterRef("is_tryout"),
            withdrawn_at__isnull=True,
            pk__gt=models.OuterRef("pk"),
        )
        return self.filter(~models.Exists(later))


class Take(Leased):
    """One uploaded video of one part by one player. `work` says where its probe stands."""

    public_id = models.CharField(max_length=32, unique=True, default=random_id, editable=False)
    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="takes")
    part = models.ForeignKey(PartRow, on_delete=models.CASCADE, related_name="takes")
    upload = models.OneToOneField(Upload, null=True, blank=True, on_delete=models.SET_NULL, related_name="take")
    is_tryout = models.BooleanField(default=False)
    storage_key = models.CharField(max_length=200, blank=True)  # generated; nothing of the sent name is in it
    filename = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64)
    bytes = models.PositiveBigIntegerField()
    begun_at = models.DateTimeField()
    received_at = models.DateTimeField(default=timezone.now)
    on_time = models.BooleanField()
    delete_after = models.DateTimeField(null=True, blank=True)
    probed_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    files = models.JSONField(default=dict, blank=True)  # derived files (poster, preview, sound): name -> storage key

    objects = TakeQuerySet.as_manager()

    class Meta:
        ordering = ["-received_at", "-pk"]
        indexes = [
            models.Index(fields=["work", "lease_until"], name="take_queue"),
            models.Index(fields=["entry", "part", "-received_at"], name="take_of_player"),
            models.Index(fields=["sha256"], name="take_sha256"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(work__in=Work.values), name="take_work"),
            models.CheckConstraint(
                condition=~Q(work="running") | Q(lease_until__isnull=False) & ~Q(leased_by=""),
                name="take_running_has_lease",
            ),
            models.CheckConstraint(condition=Q(sha256__length=64), name="take_hashed"),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=False) | ~Q(storage_key=""), name="take_has_file_until_withdrawn"
            ),
            models.CheckConstraint(
                condition=Q(is_tryout=False) | Q(delete_after__isnull=False), name="tryout_is_deleted"
            ),
            models.UniqueConstraint(fields=["storage_key"], condition=~Q(storage_key=""), name="take_file_once"),
        ]

    def __str__(self) -> str:
        return f"take {self.pk} of {self.part}"

    @property
    def verdict(self) -> str:
        """The machine's verdict, or "" while there is none."""
        report = getattr(self, "report", None)
        return report.verdict if report else ""

    @property
    def ending(self) -> str:
        """The ending of the stored file, ".mp4" and the like."""
        return "." + self.storage_key.rsplit(".", 1)[-1] if "." in self.storage_key else ""

    @property
    def decision(self):
        """The newest decision of a person, or None."""
        return self.decisions.order_by("-made_at", "-pk").first()


class ProbeReport(models.Model):
    """What the engine said of a take. One a take, ever: the database holds that, not the worker."""

    take = models.OneToOneField(Take, on_delete=models.CASCADE, related_name="report")
    verdict = models.CharField(max_length=5, choices=[("ready", "ready"), ("look", "look"), ("redo", "redo")])
    zero_s = models.FloatField(null=True)  # file time of bar 1
    zero_from = models.CharField(max_length=10)
    zero_sd_s = models.FloatField(null=True)
    clock_ratio = models.FloatField(default=1.0)
    bias_ms = models.FloatField(null=True)
    spread_ms = models.FloatField(null=True)
    written = models.PositiveIntegerField(default=0)
    matched = models.PositiveIntegerField(default=0)
    missed = models.PositiveIntegerField(default=0)
    extra = models.PositiveIntegerField(default=0)
    codes = models.JSONField(default=list)  # finding codes, worst first
    copy_of = models.ForeignKey(Take, null=True, blank=True, on_delete=models.SET_NULL, related_name="copies")
    body = models.JSONField()  # the whole report as `probe_take --json` prints it
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(verdict__in=["ready", "look", "redo"]), name="report_verdict")
        ]

    def __str__(self) -> str:
        return f"{self.verdict} for take {self.take_id}"


class PerformanceKey(models.Model):
    """A key of the performance in a report (`engine/eye/copies.py`): copies share many, so one look-up finds them."""

    report = models.ForeignKey(ProbeReport, on_delete=models.CASCADE, related_name="performance_keys")
    key = models.BigIntegerField(db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["report", "key"], name="performance_key_once")]

    def __str__(self) -> str:
        return f"{self.key:016x} of {self.report}"


class Preview(Leased):
    """The making of a take's small film and poster, which every browser plays; the files are listed on the take."""

    take = models.OneToOneField(Take, on_delete=models.CASCADE, related_name="preview")

    def __str__(self) -> str:
        return f"preview of {self.take_id}"

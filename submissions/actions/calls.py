"""What an organizer does to a call."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify

from .. import bridge, files, tasks
from ..models import Call, Chair, ConsentText, Entry, PartRow, Segment, Take
from ..models.base import Work, random_id
from .refused import Refused

EDITABLE = (
    "title",
    "about",
    "rules",
    "deadline",
    "deadline_zone",
    "grace_minutes",
    "count_off_bars",
    "ladder_from_bpm",
    "ladder_steps",
    "consent_age",
    "max_take_minutes",
    "max_take_bytes",
    "max_takes_per_part",
)
MOST_WAKES = 8  # of workers at once; the sweep finds whatever still waits
MATERIAL_FIELDS = {"count_off_bars", "ladder_from_bpm", "ladder_steps"}


@dataclass(frozen=True)
class Remade:
    """What a new score or a correction set going: takes measured again, and players whose chosen part is no more."""

    measured: int
    orphaned: int


@transaction.atomic
def create_call(
    organizer, *, title: str, deadline: datetime, deadline_zone: str, consent_text: str = "", **fields
) -> Call:
    """A new draft. deadline is an instant (see deadlines.instant); fields are any of EDITABLE."""
    call = Call(organizer=organizer, title=title, deadline=deadline, deadline_zone=deadline_zone, slug=_slug(title))
    for name, value in fields.items():
        _set(call, name, value)
    call.save()
    if consent_text:
        add_consent_text(call, consent_text)
    return call


@transaction.atomic
def edit_call(call: Call, **fields) -> Call:
    """Change fields of EDITABLE. New materials are made when a change concerns the clicks."""
    before = {name: getattr(call, name) for name in fields}
    for name, value in fields.items():
        _set(call, name, value)
    call.save(update_fields=list(fields))
    if any(before[name] != fields[name] for name in MATERIAL_FIELDS & fields.keys()):
        for part in PartRow.objects.filter(segment__call=call):
            remake_materials(part)
    return call


def _set(call: Call, name: str, value) -> None:
    if name not in EDITABLE:
        raise TypeError(f"a call has no field {name!r} to set")
    setattr(call, name, value)


def _slug(title: str) -> str:
    base = slugify(title)[:48] or "call"
    return f"{base}-{random_id()[:6].lower()}" if Call.objects.filter(slug=base).exists() else base


@transaction.atomic
def add_consent_text(call: Call, text: str) -> ConsentText:
    """A new version of the consent text; those who agreed to an older one keep having agreed to that."""
    newest = call.consent_texts.first()
    if newest and newest.text == text:
        return newest
    return ConsentText.objects.create(call=call, version=newest.version + 1 if newest else 1, text=text)


@transaction.atomic
def state_rights(call: Call, statement: str) -> Call:
    """The organizer's statement that the music may be arranged, played and put to a picture."""
    call.rights_statement, call.rights_stated_at = statement, timezone.now() if statement else None
    if not statement and call.state != Call.State.DRAFT:
        raise Refused("A published call needs its rights statement.", "rights_statement")
    call.save(update_fields=["rights_statement", "rights_stated_at"])
    return call


@transaction.atomic
def add_segment(call: Call, *, title: str, score: bytes, times: int = 1) -> Segment:
    """Add a piece at the end of the running order; its parts are read from the MusicXML, one chair each."""
    reading = _read(score)
    last = call.segments.last()
    segment = Segment.objects.create(
        call=call,
        place=last.place + 1 if last else 1,
        title=title or reading.title or "Segment",
        times=times,
        score=files.store_bytes(score, "scores", ".musicxml"),
        score_sha256=reading.sha256,
        summary=reading.summary,
    )
    make_parts(segment, reading)
    return segment


@transaction.atomic
def update_segment(
    segment: Segment, *, title: str | None = None, times: int | None = None, score: bytes | None = None
) -> Remade | None:
    """Change title or repeats, or put a new score in: parts that are still in it keep their players and their takes.

    What a new score set going; None where there is none, or it is the one that was there.
    """
    segment.title = title or segment.title
    segment.times = times or segment.times
    remade = None
    if score is not None and hashlib.sha256(score).hexdigest() != segment.score_sha256:
        remade = _put_in(segment, score)
    segment.save()
    return remade


def _put_in(segment: Segment, score: bytes) -> Remade:
    reading = _read(score)
    kept = {(part.part_id, part.drum) for part in reading.parts}
    gone = [row.pk for row in segment.parts.all() if (row.part_id, row.drum) not in kept]
    orphaned = drop_parts(
        segment.parts.filter(pk__in=gone), "The new score lacks a part that takes were already sent for.", "score"
    )
    old = segment.score
    transaction.on_commit(lambda: files.remove(old))
    segment.score = files.store_bytes(score, "scores", ".musicxml")
    segment.score_sha256, segment.summary, segment.corrections = reading.sha256, reading.summary, {}
    segment.save()
    make_parts(segment, reading)
    return Remade(measure_again(Take.objects.filter(part__segment=segment)), orphaned)


def drop_parts(gone, refusal: str, field: str) -> int:
    """Take these rows of parts away with their materials; refused once a take was sent for one.

    How many players had chosen one of them.
    """
    if gone.filter(takes__isnull=False).exists():
        raise Refused(refusal, field)
    orphaned = Entry.objects.active().filter(parts__in=gone).distinct().count()
    keys = [key for row in gone for key in bridge.material_keys(row.materials)]
    gone.delete()
    transaction.on_commit(lambda: files.remove(*keys))
    return orphaned


def _read(score: bytes) -> bridge.ScoreReading:
    try:
        return bridge.read_score(score)
    except bridge.EngineError as error:
        raise Refused(str(error), "score") from error


def make_parts(segment: Segment, reading: bridge.ScoreReading, part_id: str = "") -> None:
    """The rows of a segment's parts as they were read, and their materials; only those of part_id where it is given."""
    for place, part in enumerate(reading.parts, start=1):
        if part_id and part.part_id != part_id:
            continue
        row, made = PartRow.objects.update_or_create(
            segment=segment,
            part_id=part.part_id,
            drum=part.drum,
            defaults={
                "place": place,
                "instrument": part.instrument,
                "name": part.name,
                "demand": part.demand,
                "unread": part.unread,
            },
        )
        if made:
            set_chairs(row, part.wanted)
        remake_materials(row)


def measure_again(takes) -> int:
    """Have takes measured again, because what they are measured against has changed; how many they are but try-outs."""
    told = takes.kept().filter(is_tryout=False).count()
    for _ in range(min(bridge.measure_again(takes), MOST_WAKES)):
        transaction.on_commit(tasks.wake_probe)
    return told


@transaction.atomic
def remove_segment(segment: Segment) -> None:
    """Take a piece out of the running order; refused once a take was sent for it."""
    if segment.parts.filter(takes__isnull=False).exists():
        raise Refused("Takes were already sent for this segment.", "segment")
    keys = [segment.score, *(key for part in segment.parts.all() for key in bridge.material_keys(part.materials))]
    call = segment.call
    segment.delete()
    order_segments(call, list(call.segments.values_list("pk", flat=True)))
    transaction.on_commit(lambda: files.remove(*keys))


@transaction.atomic
def order_segments(call: Call, pks: list[int]) -> None:
    """Put the segments into this order; pks names every one of them once."""
    if sorted(pks) != sorted(call.segments.values_list("pk", flat=True)):
        raise Refused("The order must name every segment once.", "segments")
    # Two rounds, because no two segments may hold one place even for a moment.
    for offset in (10_000, 0):
        for place, pk in enumerate(pks, start=1):
            Segment.objects.filter(pk=pk).update(place=offset + place)


@transaction.atomic
def set_chairs(part: PartRow, wanted: int) -> None:
    """Make the part have this many chairs; a chair that holds a pick is not taken away."""
    if not 0 <= wanted <= 99:
        raise Refused("Between 0 and 99 chairs.", "wanted")
    surplus = part.chairs.filter(number__gt=wanted)
    if surplus.filter(pick__isnull=False).exists():
        raise Refused("A take is already picked for a chair that would go; take the pick back first.", "wanted")
    surplus.delete()
    have = set(part.chairs.values_list("number", flat=True))
    Chair.objects.bulk_create(Chair(part=part, number=n) for n in range(1, wanted + 1) if n not in have)


@transaction.atomic
def remake_materials(part: PartRow) -> None:
    """Have sheet, click, guide and MIDI of this part made (again)."""
    PartRow.objects.filter(pk=part.pk).update(
        work=Work.WAITING, progress=0, attempts=0, leased_by="", lease_until=None, failure="", failure_ref=""
    )
    transaction.on_commit(lambda: tasks.later(tasks.make_materials, part.pk))


@transaction.atomic
def publish_call(call: Call) -> Call:
    """Open the call to players; refused with what is still missing."""
    if not call.segments.exists():
        raise Refused("Add at least one segment first.", "segments")
    if not Chair.objects.filter(part__segment__call=call, part__offered=True).exists():
        raise Refused("Ask for at least one chair first.", "chairs")
    if not call.consent_texts.exists():
        raise Refused("Write the consent text first.", "consent_text")
    if call.rights_stated_at is None:
        raise Refused("State first that you may use this music.", "rights_statement")
    if call.deadline <= timezone.now():
        raise Refused("The deadline has already passed.", "deadline")
    call.state, call.published_at, call.closed_at = Call.State.PUBLISHED, timezone.now(), None
    call.save(update_fields=["state", "published_at", "closed_at"])
    return call


@transaction.atomic
def close_call(call: Call) -> Call:
    """Take no more takes, and thank everybody who sent one."""
    if call.state != Call.State.PUBLISHED:
        raise Refused("Only a published call can be closed.")
    call.state, call.closed_at = Call.State.CLOSED, timezone.now()
    call.save(update_fields=["state", "closed_at"])
    sent = call.entries.active().filter(takes__is_tryout=False, takes__withdrawn_at=None).distinct()
    for entry in sent:
        tasks.order_mail("thanks", entry, f"call-{call.pk}")
    return call

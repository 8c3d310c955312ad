"""What organizers and editors decide about takes."""

from django.db import transaction
from django.utils import timezone

from .. import tasks
from ..exports import EXPORTS
from ..models import Chair, Decision, Export, Nudge, Pick, Segment, Take
from .refused import Refused

NUDGE_LIMIT_MS = 500.0  # the same as the table's constraint


@transaction.atomic
def decide(take: Take, person, word: str, note: str = "") -> Decision:
    """A person's word on a take. The machine's verdict stays as it is; the player is told by mail."""
    if word not in Decision.Word.values:
        raise Refused("Choose one of the answers.", "word")
    decision = Decision.objects.create(take=take, person=person, word=word, note=note.strip())
    if word == Decision.Word.REDO:
        tasks.order_mail("decision", take.entry, f"decision-{decision.pk}")
    return decision


@transaction.atomic
def pick(chair: Chair, take: Take, person) -> Pick:
    """Put the take on the chair; whatever sat there, or wherever it sat before, is left."""
    if take.part_id != chair.part_id:
        raise Refused("This take is of another part.", "take")
    if not Take.objects.for_editor(chair.part.segment.call).filter(pk=take.pk).exists():
        raise Refused("This take may not be used: somebody who must agree has not.", "take")
    Pick.objects.filter(take=take).delete()
    Pick.objects.filter(chair=chair).delete()
    return Pick.objects.create(chair=chair, take=take, person=person)


@transaction.atomic
def unpick(chair: Chair) -> None:
    """Empty the chair."""
    Pick.objects.filter(chair=chair).delete()


@transaction.atomic
def apply_nudge(pick: Pick, person, shift_ms: float, why: str = "") -> Nudge:
    """Shift the pick; positive is later."""
    if not -NUDGE_LIMIT_MS <= shift_ms <= NUDGE_LIMIT_MS:
        raise Refused(f"A nudge is at most {NUDGE_LIMIT_MS:.0f} ms either way.", "shift_ms")
    return Nudge.objects.create(pick=pick, shift_ms=shift_ms, why=why, applied=True, person=person)


@transaction.atomic
def lay_out(segment: Segment, layout: dict) -> Segment:
    """Keep the picture layout of a segment."""
    segment.layout = layout
    segment.save(update_fields=["layout"])
    return segment


@transaction.atomic
def order_export(call, person, kind: str, options: dict | None = None) -> Export:
    """Have one kind of file made from the cut."""
    if kind not in {one.name for one in EXPORTS}:
        raise Refused("There is no export of this kind.", "kind")
    if not Pick.objects.filter(chair__part__segment__call=call).exists():
        raise Refused("Pick at least one take first.", "kind")
    export = Export.objects.create(
        call=call, kind=kind, person=person, options=options or {}, ordered_at=timezone.now()
    )
    transaction.on_commit(lambda: tasks.later(tasks.make_export, export.pk))
    return export

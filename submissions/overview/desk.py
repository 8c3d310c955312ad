"""What organizers and editors see: calls, running order, sums, what needs an eye, who can still play."""

from dataclasses import dataclass

from ..models import Call, Chair, Entry, PartRow, Segment, Take
from .line import PartNow, take_state
from .players import TakeRow


def calls_of(user) -> tuple[list[Call], list[Call]]:
    """Calls this person organizes, and others they edit."""
    mine = list(Call.objects.organized_by(user))
    edited = [call for call in Call.objects.edited_by(user) if call.organizer_id != user.pk]
    return mine, edited


@dataclass(frozen=True)
class SegmentNow:
    """A segment with its parts, for the running order."""

    segment: Segment
    parts: list[PartRow]
    unread: int


def segments_of(call: Call) -> list[SegmentNow]:
    """The running order with parts and their chairs."""
    found = []
    for segment in call.segments.prefetch_related("parts__chairs"):
        parts = list(segment.parts.all())
        found.append(SegmentNow(segment, parts, sum(len(part.unread) for part in parts)))
    return found


def row_of_the_line(part: PartRow) -> PartRow:
    """The row whose sheet shows all notes of the part alike: of a bass line the one on one drum, if its sheet is made."""
    whole = part.segment.parts.filter(part_id=part.part_id, drum="all").select_related("segment__call").first()
    return whole if whole is not None and whole.materials else part


def takes_of_the_line(part: PartRow) -> int:
    """How many takes were sent for this part, over every drum of its line; try-outs are nobody's business."""
    takes = Take.objects.kept().filter(part__segment=part.segment_id, part__part_id=part.part_id)
    return takes.filter(is_tryout=False).count()


def takes_of_the_segment(segment: Segment) -> int:
    """How many takes were sent for this segment."""
    return Take.objects.kept().filter(part__segment=segment, is_tryout=False).count()


def moved(segment: Segment, step: int) -> list[int]:
    """The order of all segments with this one moved by a step."""
    pks = list(segment.call.segments.values_list("pk", flat=True))
    at = pks.index(segment.pk)
    to = max(0, min(len(pks) - 1, at + step))
    pks.insert(to, pks.pop(at))
    return pks


def missing_to_publish(call: Call) -> list[str]:
    """What publish_call would refuse, as words of the form's fields."""
    missing = []
    if not call.segments.exists():
        missing.append("segments")
    elif not Chair.objects.filter(part__segment__call=call, part__offered=True).exists():
        missing.append("chairs")
    if not call.consent_texts.exists():
        missing.append("consent_text")
    if call.rights_stated_at is None:
        missing.append("rights_statement")
    return missing


def by_segment(parts: list[PartNow]) -> list[tuple[Segment, list[PartNow]]]:
    """Parts under their segments, in running order."""
    found: dict[int, tuple[Segment, list[PartNow]]] = {}
    for now in parts:
        found.setdefault(now.part.segment_id, (now.part.segment, []))[1].append(now)
    return list(found.values())


def totals(parts: list[PartNow]) -> dict[str, int]:
    """Sums over the whole call."""
    return {
        name: sum(getattr(now, name) for now in parts)
        for name in ("wanted", "received", "ready", "look", "redo", "waiting", "picked", "open")
    }


def for_the_eye(parts: list[PartNow]) -> list[TakeRow]:
    """Takes a person should look at, oldest first: no decision yet and the machine is not sure, or it failed."""
    takes = [take for now in parts for take in now.takes if take_state(take) == "look"]
    return [TakeRow(take, "look") for take in sorted(takes, key=lambda take: take.received_at)]


@dataclass(frozen=True)
class Person:
    """A player with what they chose and sent, for the board."""

    entry: Entry
    chosen: int
    sent: int

    @property
    def owes(self) -> int:
        return max(0, self.chosen - self.sent)


def people_of(call: Call) -> list[Person]:
    """Players who have entered; those who still owe takes first, because they can still fill a chair."""
    people = []
    for entry in call.entries.active().prefetch_related("parts", "takes", "consents"):
        sent = {take.part_id for take in entry.takes.all() if not take.is_tryout and take.withdrawn_at is None}
        people.append(Person(entry, len(entry.parts.all()), len(sent)))
    return sorted(people, key=lambda person: (-person.owes, person.entry.display_name))

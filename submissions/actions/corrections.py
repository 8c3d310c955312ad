"""What an organizer sets right in how a part was read."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from .. import bridge, files
from ..models import PartRow, Segment, Take
from .calls import Remade, drop_parts, make_parts, measure_again
from .refused import Refused


@transaction.atomic
def correct_reading(
    part: PartRow, rolls: Mapping[tuple[int, str], int], drums: Mapping[str, Sequence[int]]
) -> Remade | None:
    """Keep these corrections of the part (and of every drum of its line), in place of earlier ones.

    rolls: {(bar, count): strokes}; drums: {staff position or instrument: drums}. Sheets and clicks are made anew and
    takes measured again; None where nothing changed.
    """
    segment = Segment.objects.select_for_update().get(pk=part.segment_id)
    own = _as_row(rolls, drums)
    if own == segment.corrections.get(part.part_id, {}):
        return None
    others = {part_id: kept for part_id, kept in segment.corrections.items() if part_id != part.part_id}
    segment.corrections = others | ({part.part_id: own} if own else {})
    reading = _read_again(segment)
    orphaned = _drop_drums(segment, part.part_id, reading)
    segment.save(update_fields=["corrections"])
    make_parts(segment, reading, part.part_id)
    return Remade(measure_again(Take.objects.filter(part__segment=segment, part__part_id=part.part_id)), orphaned)


def _as_row(rolls: Mapping[tuple[int, str], int], drums: Mapping[str, Sequence[int]]) -> dict[str, Any]:
    """The corrections as the table keeps them, in one order, without what is empty."""
    row: dict[str, Any] = {}
    if rolls:
        row["rolls"] = [[bar, count, strokes] for (bar, count), strokes in sorted(rolls.items())]
    if drums:
        row["drums"] = {key: sorted(own) for key, own in sorted(drums.items())}
    return row


def _read_again(segment: Segment) -> bridge.ScoreReading:
    try:
        return bridge.read_score(files.read_bytes(segment.score), segment.corrections)
    except bridge.EngineError as error:
        raise Refused(str(error)) from error


def _drop_drums(segment: Segment, part_id: str, reading: bridge.ScoreReading) -> int:
    """Take away the rows of drums that no longer have a stroke; how many players had chosen one of them."""
    left = [part.drum for part in reading.parts if part.part_id == part_id]
    gone = segment.parts.filter(part_id=part_id).exclude(drum__in=left)
    return drop_parts(gone, "A drum that takes were already sent for would have no stroke left.", "drums")

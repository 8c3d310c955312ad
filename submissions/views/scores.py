"""What was read of a part, for the organizer to see before players do."""

from typing import Any

from .. import bridge
from ..models import PartRow


def reading_of(part: PartRow) -> dict[str, Any]:
    """Bars, strokes, rolls and what was not read; `wrong` is a sentence when the score cannot be read any more."""
    try:
        read, whole = bridge.part_of(part), bridge.part_of(part, whole=True)
    except (bridge.EngineError, OSError) as error:
        return {"wrong": str(error)}
    return {
        "bars": len(read.bars_from_zero()),
        "strokes": len(read.scored()),
        "seconds": read.end_s,
        "bpm": read.bpm,
        "instrument": whole.instrument,
        "rolls": whole.rolls,
        "drums": whole.drum_map,
        "warnings": read.warnings,
        "unread": read.unread,
        "graces": sum(1 for s in read.strokes if s.kind == "grace"),
    }

"""Which notes on a bass line's staff are one player's own."""

from xml.etree.ElementTree import Element

from ..score.notes import place_of
from ..written import Part


def own_notes(tree: Element, part: Part) -> frozenset[int] | None:
    """Positions (among the part's <note> elements, in order) of the notes of part.drum; None: all are the player's.

    A grace belongs to the drum it is written on. Rests are nobody's.
    """
    if part.instrument != "bass" or part.drum == "all":
        return None
    drum = int(part.drum)
    drums = {row.key: row.drums for row in part.drum_map}
    element = next((p for p in tree.iterfind("part") if p.get("id") == part.part_id), None)
    if element is None:
        return None
    own: set[int] = set()
    for index, note in enumerate(element.iter("note")):
        if note.find("rest") is not None:
            continue
        instrument = note.find("instrument")
        by_name = drums.get(instrument.get("id", ""), ()) if instrument is not None else ()
        if drum in (by_name or drums.get(place_of(note), ())):
            own.add(index)
    return frozenset(own)

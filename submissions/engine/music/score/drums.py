"""Which drum a note stands for: the instrument guessed from names, bass and tenor drums by instrument or staff position."""

import re

from ..written import DrumPlace
from .raw import RawNote, RawPart

STEPS = "CDEFGAB"
# Words that name the four sections, in English and as abbreviations; the first that matches wins.
NAMES = (
    ("snare", r"snare|\bs\.? ?d\.?(?![a-z])|\bside ?drum|\bsn\b|caisse claire|\bsd\b|\bkleine trommel"),
    ("tenors", r"tenor|\bquads?\b|\bquints?\b|\bsext|\btri-?toms?\b|\btt\b|\btd\b|timp-?toms?"),
    ("bass", r"bass|\bb\.? ?d\.?(?![a-z])|\bgrosse caisse|\bbd\b"),
    ("cymbals", r"cymb|\bcym\b|\bplates\b|\bcrash|\bbecken|\bpiatti"),
)
TECHNIQUES = (("shot", r"rim ?shot|\bshot\b"), ("cross", r"cross|side ?stick"), ("rim", r"\brims?\b|\brim ?click|stick ?click"))
HEADS = {"x": "rim", "circle-x": "cross", "cross": "cross", "slashed": "shot", "back slashed": "shot", "diamond": "shot", "triangle": "shot", "inverted triangle": "shot"}
UNISON = re.compile(r"\b(unison|tutti|all)\b", re.IGNORECASE)
# Usual layouts of a bass line on five lines, bass 1 on top: the lines, the spaces with the one above, or with the one below.
BASS_LAYOUTS = (("F5", "D5", "B4", "G4", "E4"), ("G5", "E5", "C5", "A4", "F4"), ("E5", "C5", "A4", "F4", "D4"))
# Usual layouts of tenors: four drums in the spaces or on the lines, the two small ones above.
TENOR_LAYOUTS = (("E5", "C5", "A4", "F4", "G5", "B5"), ("F5", "D5", "B4", "G4", "A5", "C6"), ("D5", "B4", "G4", "E4", "F5", "A5"))


def height(place: str) -> int:
    """Diatonic height of a position: C4 = 28, D4 = 29 ..."""
    return STEPS.index(place[0]) + 7 * int(place[1:]) if re.fullmatch(r"[A-G]-?\d", place) else 0


def guess_instrument(part: RawPart) -> str:
    """Snare, tenors, bass, cymbals or other, from the part's names and then from its instruments' names."""
    for name in (part.name, part.abbreviation, " / ".join(i.name for i in part.instruments.values())):
        found = [section for section, pattern in NAMES if re.search(pattern, name, re.IGNORECASE)]
        if found:
            return found[0] if name is not part.name or len(found) == 1 else found[0]
    return "other"


def number_in_name(name: str) -> int | None:
    """The drum number in a name such as "Bass Drum 3" or "Bass III"."""
    found = re.search(r"\b([1-6])\b|\b(I{1,3}|IV|V)\b", name)
    if not found:
        return None
    return int(found.group(1)) if found.group(1) else ("I", "II", "III", "IV", "V").index(found.group(2)) + 1


def technique_of(note: RawNote, part: RawPart) -> str:
    """ "", "rim", "cross", "shot" or "muted": by the instrument's name, then by notehead, then by articulation."""
    name = part.instruments[note.instrument].name if note.instrument in part.instruments else ""
    for technique, pattern in TECHNIQUES:
        if re.search(pattern, name, re.IGNORECASE):
            return technique
    if note.head in HEADS:
        return HEADS[note.head]
    return "muted" if "muted" in note.marks else ""


def drum_map(part: RawPart, instrument: str, given: dict[str, int] | None = None) -> tuple[DrumPlace, ...]:
    """The mapping of every position or instrument that carries notes, for a bass line or tenors; () for others."""
    if instrument not in ("bass", "tenors"):
        return ()
    notes = [note for bar in part.bars for note in bar.notes if not note.rest]
    by_name = _by_names(part, notes)
    keys = {note.instrument if by_name else note.place for note in notes}
    counted = {key: sum((note.instrument if by_name else note.place) == key for note in notes) for key in keys}
    places = by_name or _by_place(instrument, part, sorted(keys, key=height, reverse=True), notes)
    rows = []
    for key in sorted(keys, key=lambda key: (places[key][0] or (9,), key)):
        drums, why = places[key]
        if given and key in given:
            drums, why = (given[key],), "set by the organizer"
        rows.append(DrumPlace(key, drums, counted[key], why))
    return tuple(rows)


def _by_names(part: RawPart, notes: list[RawNote]) -> dict[str, tuple[tuple[int, ...], str]]:
    """Instrument id to drums, where every note names an instrument and every such name carries a number or unison."""
    out: dict[str, tuple[tuple[int, ...], str]] = {}
    for used in {note.instrument for note in notes}:
        name = part.instruments[used].name if used in part.instruments else ""
        found = number_in_name(name)
        if UNISON.search(name):
            out[used] = ((1, 2, 3, 4, 5), f"the instrument is called “{name}”")
        elif found is not None:
            out[used] = ((found,), f"the instrument is called “{name}”")
        else:
            return {}
    return out


def _by_place(instrument: str, part: RawPart, keys: list[str], notes: list[RawNote]) -> dict[str, tuple[tuple[int, ...], str]]:
    alone = number_in_name(part.name)
    if instrument == "bass" and alone is not None and len(keys) == 1:
        return {keys[0]: ((alone,), f"the part is called “{part.name}”")}
    plain = {note.place for note in notes if note.head not in HEADS}
    ranked = [key for key in keys if key in plain] if len(keys) > 5 and plain else keys
    for layout in BASS_LAYOUTS if instrument == "bass" else TENOR_LAYOUTS:
        if set(ranked) <= set(layout) and (instrument == "tenors" or len(ranked) < 5):
            why = "the usual place on the staff"
            return {key: ((layout.index(key) + 1,) if key in layout else (), why) for key in keys}
    most = 5 if instrument == "bass" else 6
    numbers = {key: n + 1 for n, key in enumerate(ranked)}
    why = f"place {{}} of {len(ranked)} from the top"
    return {key: ((numbers[key],) if numbers.get(key, 9) <= most else (), why.format(numbers.get(key, "none"))) for key in keys}

"""Which drum a note stands for: the instrument guessed from names, bass and tenor drums by instrument or staff position."""

import re
from collections.abc import Mapping

from ..written import DrumPlace
from .notes import STEPS
from .raw import RawNote, RawPart

# Words that name the four sections, in English, as abbreviations and in the languages programs are set to.
NAMES = (
    (
        "snare",
        r"snare|\bs\.? ?d(\.|\b|\d)|\bs\.?d\.?l\b|\bside ?dr|\b(field|parade|rope) ?drum|\bsn\b|caisse claire|kleine trommel|caja|rullante|tarola|redoblante",
    ),
    ("tenors", r"tenor|\bquads?\b|\bquints?\b|\bsexte?t?s?\b|\btri-?toms?\b|\btoms\b|\bt\.? ?d(\.|\b|\d)|timp-?toms?"),
    ("bass", r"\bbass(?!oon|et)|\bb\.? ?d(\.|\b|\d)|grosse caisse|gro(ß|ss)e trommel|gran ?cassa|bombo|surdo"),
    ("cymbals", r"cymb|\bcyms?\b|\bcrash|\bplates\b|becken|piatti|platillos"),
)
NOT_A_DRUM = re.compile(
    r"bass (guitar|clarinet|trombone|flute|voice)|double bass|contrabass|(tenor|bass) (sax|voice)", re.IGNORECASE
)
TECHNIQUES = (
    ("shot", r"rim ?shot|\bshot\b"),
    ("cross", r"cross|side ?stick"),
    ("rim", r"\brims?\b|\brim ?click|stick ?click"),
)
# Noteheads that the trade gives a meaning (common practice, no source), by their names in MusicXML 4.0; "plus" is not
# among these names, but programs write it for "cross".
HEADS = {
    "x": "rim",
    "circle-x": "cross",
    "circled": "cross",
    "circle dot": "cross",
    "cross": "cross",
    "plus": "cross",
    "slashed": "shot",
    "back slashed": "shot",
    "diamond": "shot",
    "triangle": "shot",
    "inverted triangle": "shot",
    "left triangle": "shot",
    "arrow up": "shot",
    "arrow down": "shot",
}
# Heads that have a shape of their own for singing (shape notes) or rhythm, and none for drums: ordinary strokes.
ORDINARY_HEADS = frozenset({"", "normal", "slash", "do", "re", "mi", "fa", "fa up", "so", "la", "ti"})
# Heads of MusicXML 4.0 of which the trade has no common reading; struck as ordinary strokes and told.
DOUBTFUL_HEADS = frozenset({"square", "rectangle", "cluster", "none", "other"})
UNISON = re.compile(r"\b(unison|tutti|all)\b", re.IGNORECASE)
LINES, SPACES = ("F5", "D5", "B4", "G4", "E4"), ("E5", "C5", "A4", "F4")
# Usual layouts (common practice, no source), bass 1 on top: the five lines; the spaces with the one below; with the one above.
BASS_LAYOUTS = (LINES, (*SPACES, "D4"), ("G5", *SPACES))
# Tenors: four drums in the spaces or on lines, the two small ones above them.
TENOR_LAYOUTS = ((*SPACES, "G5", "B5"), (*LINES[:4], "A5", "C6"), (*LINES[1:], "F5", "A5"))
SMALL_ON_TOP = {5: (5, 1, 2, 3, 4), 6: (6, 5, 1, 2, 3, 4)}  # tenors in an unusual layout, from the top of the staff
MOST = {"bass": 6, "tenors": 6}  # drums
MOST_PLACES = 8  # of a line on the staff: its drums and a place or two for clicks and rims
Drums = int | tuple[int, ...]  # a correction: one drum, 0 for none, several for a unison
Places = dict[str, tuple[tuple[int, ...], str]]


def height(place: str) -> int:
    """Diatonic height of a position: C4 = 28, D4 = 29 ..."""
    return STEPS.index(place[0]) + 7 * int(place[1:]) if re.fullmatch(r"[A-G]-?[0-9]+", place) else 0


def sections_in(name: str) -> list[str]:
    """The sections a name speaks of."""
    plain = NOT_A_DRUM.sub("", name)
    return [section for section, pattern in NAMES if re.search(pattern, plain, re.IGNORECASE)]


def guess_instrument(part: RawPart) -> str:
    """Snare, tenors, bass, cymbals or other: by the part's names, then by the instruments its notes use.

    Only used instruments count: programs list a whole kit with every percussion part. A part that stands on more places
    of the staff than any line has drums is a voice or a melody that happens to be called tenor or bass.
    """
    notes = [note for bar in part.bars for note in bar.notes if not note.rest]
    used = {note.instrument for note in notes}
    names = [instrument.name for own, instrument in part.instruments.items() if own in used]
    if not names and len(part.instruments) == 1:
        names = [instrument.name for instrument in part.instruments.values()]
    for candidates in ([part.name], [part.abbreviation], names):
        found = {section for name in candidates for section in sections_in(name)}
        if len(found) == 1:
            section = found.pop()
            melody = section in MOST and len({note.place for note in notes}) > MOST_PLACES
            return "other" if melody else section
        if found:
            return "other"
    return "other"


def number_in_name(name: str) -> int | None:
    """The drum number in a name such as "Bass Drum 3", "BD3" or "Bass III"."""
    found = re.search(r"(?<![\d.])([1-6])(?![\d.\"'”]| ?(in|inch|cm)\b)|\b(III|II|IV|I|V)\b", name)
    if not found:
        return None
    return int(found.group(1)) if found.group(1) else ("I", "II", "III", "IV", "V").index(found.group(3)) + 1


def drum_of_name(name: str) -> str:
    """Our word for an instrument in a part that holds several: "snare", "bass-3", "tenor-1", "cymbal"; "" if unknown."""
    sections = sections_in(name)
    if len(sections) != 1:
        return ""
    word = {"snare": "snare", "tenors": "tenor", "bass": "bass", "cymbals": "cymbal"}[sections[0]]
    drum = number_in_name(name)
    return f"{word}-{drum}" if drum is not None and word in ("tenor", "bass") else word


def technique_of(note: RawNote, part: RawPart, instrument: str) -> str:
    """ "", "rim", "cross", "shot" or "muted": by the instrument's name, then by notehead, then by articulation.

    A cymbal's ordinary notehead is an x; it has no rim.
    """
    name = part.instruments[note.instrument].name if note.instrument in part.instruments else ""
    for technique, pattern in TECHNIQUES:
        if re.search(pattern, name, re.IGNORECASE):
            return technique
    if note.head in HEADS and instrument != "cymbals":
        return HEADS[note.head]
    return "muted" if "muted" in note.marks else ""


def doubtful_heads(part: RawPart, instrument: str) -> list[str]:
    """A warning for every bar with a notehead whose meaning on a drum is not known; cymbals are told by no head."""
    if instrument == "cymbals":
        return []
    out = []
    for bar in part.bars:
        for head in dict.fromkeys(note.head for note in bar.notes if not note.rest):
            if head not in HEADS and head not in ORDINARY_HEADS:
                shown = head if head in DOUBTFUL_HEADS else f"{head[:40]} (no head of the standard)"
                out.append(f"bar {bar.number}: a notehead “{shown}” is read as an ordinary stroke")
    return out


def drum_map(part: RawPart, instrument: str, given: Mapping[str, Drums] | None = None) -> tuple[DrumPlace, ...]:
    """The mapping of every position or instrument that carries notes, for a bass line or tenors; () for others."""
    if instrument not in MOST:
        return ()
    notes = [note for bar in part.bars for note in bar.notes if not note.rest]
    places = _by_names(part, notes, instrument) or _by_place(instrument, part, notes)
    by_instrument = any(key in part.instruments for key in places)
    bars: dict[str, list[int]] = {key: [] for key in places}
    for bar in part.bars:
        for note in bar.notes:
            if not note.rest:
                bars[note.instrument if by_instrument else note.place].append(bar.number)
    rows = []
    for key, (read_as, why) in places.items():
        drums = read_as
        if given and key in given:
            wanted = given[key]
            drums = wanted if isinstance(wanted, tuple) else (wanted,) if wanted else ()
            why = "set by the organizer" if drums else "left out by the organizer"
        name = part.instruments[key].name if by_instrument else ""
        found = tuple(sorted(set(bars[key]), key=lambda bar: (-bars[key].count(bar), bar)))
        rows.append(DrumPlace(key, drums, len(bars[key]), why, read_as, found, name))
    return tuple(sorted(rows, key=lambda row: (row.drums or (9,), -height(row.key), row.key)))


def _by_names(part: RawPart, notes: list[RawNote], instrument: str) -> Places:
    """Instrument ids to drums, where the notes name different instruments: by the numbers in their names or in listed order.

    A single instrument for several positions says nothing (programs call their only one "Bass Drum 1").
    """
    named = {note.instrument for note in notes}
    used = [own for own in part.instruments if own in named]
    places = {note.place for note in notes}
    if len(used) < 2 or any(note.instrument not in part.instruments for note in notes):
        return {}
    out: Places = {}
    for own in used:
        name = part.instruments[own].name
        found = number_in_name(name)
        if UNISON.search(name) and instrument == "bass":
            out[own] = ((1, 2, 3, 4, 5), f"the instrument is called “{name}”")
        elif found is not None:
            out[own] = ((found,), f"the instrument is called “{name}”")
    if len(out) == len(used) and len({drums for drums, _ in out.values()}) > 1:
        return out
    if len(places) == 1:
        return {
            own: ((n,), f"instrument {n} of {len(used)} as listed")
            for n, own in enumerate(used[: MOST[instrument]], start=1)
        }
    return {}


def _by_place(instrument: str, part: RawPart, notes: list[RawNote]) -> Places:
    """Staff positions to drums: by a usual layout where it fits, else counted from the top.

    Positions that carry only x and other special noteheads are counted only where that leaves room.
    """
    keys = sorted({note.place for note in notes}, key=height, reverse=True)
    alone = number_in_name(part.name)
    if instrument == "bass" and alone is not None and len(keys) == 1:
        return {keys[0]: ((alone,), f"the part is called “{part.name}”")}
    plain = {note.place for note in notes if note.head not in HEADS} or set(keys)
    out: Places = {key: ((), "only special noteheads stand there; which drum it is cannot be told") for key in keys}
    for layout in BASS_LAYOUTS if instrument == "bass" else TENOR_LAYOUTS:
        if plain <= set(layout):
            fitting = [key for key in keys if key in layout]
            return out | {
                key: ((layout.index(key) + 1,), "the usual place on the staff, highest drum on top") for key in fitting
            }
    ranked = keys if len(keys) <= 5 else [key for key in keys if key in plain]
    order = SMALL_ON_TOP.get(len(ranked), ()) if instrument == "tenors" else ()
    numbers = {key: order[n - 1] if order else n for n, key in enumerate(ranked, start=1) if n <= MOST[instrument]}
    for n, key in enumerate(ranked, start=1):
        if key in numbers:
            out[key] = (numbers[key],), f"place {n} of {len(ranked)} from the top of the staff"
    return out

"""Directions and sounds: tempo, dynamics, segno and coda, jumps, and the words that change the time without a number."""

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from .notes import QUARTERS, as_sticking
from .raw import RawBar, RawDynamic, RawTempo
from .tree import is_yes, number, numbers_in, text, words_of

# Levels 0..1 of the written dynamics: chosen steps, f = 0.7 is the value a part without dynamics has.
LEVELS = {
    "pppp": 0.08,
    "ppp": 0.14,
    "pp": 0.22,
    "p": 0.34,
    "mp": 0.46,
    "mf": 0.58,
    "f": 0.7,
    "ff": 0.84,
    "fff": 0.94,
    "ffff": 1.0,
}
LEVELS |= {name: LEVELS["ff"] for name in ("sf", "sfz", "sffz", "fz", "rf", "rfz")} | {
    "fp": LEVELS["p"],
    "sfp": LEVELS["p"],
    "sfpp": LEVELS["pp"],
}
FORTE = 0.7  # what 100 % in <sound dynamics> and <note dynamics> stands for
UNREAD_WORDS = tuple(
    (re.compile(pattern, re.IGNORECASE), says)
    for pattern, says in (
        (
            r"\b(rit(ard(ando)?)?|rall(entando)?|accel(erando)?|string(endo)?|rubato)\b\.?",
            "the times there are those of an even tempo",
        ),
        (r"\b(swing|swung|shuffle)\b", "the times there are those of even notes"),
        (
            r"\b(1st|2nd|3rd|4th|first|second|third|last|final)\s+(time|x|pass)\b",
            "what it concerns is read for every time through",
        ),
        (
            r"\b(\d+\s?x|x\s?\d+|(play|repeat)\s+\d+(\s+times)?)\b(?!\s*only)",
            "repeats are read from the barlines alone",
        ),
        (r"\b(unison|unis\.?|tutti)(?=\W|$)", "the drums are those of the notes alone"),
        (r"\b(simile|sim\.|ad lib|improvise|solo fill|fill)(?=\W|$)", "only the printed notes are read"),
    )
)
TECHNIQUE_WORDS = re.compile(
    r"\b((on |to )?rims?|cross.?stick|x.?stick|stick clicks?|muted?|dampen(ed)?|snares off)\b", re.IGNORECASE
)
TYPED_TEMPO = re.compile(
    r"♩(?P<dot>\.?)\s*=\s*(?P<sign>[0-9]{2,3}(\.[0-9]+)?)|\b(?P<bpm>[0-9]{2,3})\s*bpm\b", re.IGNORECASE
)
PER_MINUTE = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6})?")
MAX_TEMPO = 1000  # quarters a minute; anything above is a mistake in the file


def read_direction(direction: Element, bar: RawBar, at: Fraction, divisions: Fraction, tempo: Fraction) -> None:
    """Write what a <direction> says into the bar. tempo is the one in force, for "quarter = dotted quarter"."""
    sound = direction.find("sound")
    shift = _sound_offset(direction, divisions)
    printed_at = max(Fraction(0), at + (number(text(direction, "offset")) or Fraction(0)) / divisions)
    spoken = None if sound is None else number(sound.get("tempo"))
    printed = _metronomes(direction, bar, tempo)
    if spoken is None and printed is None:
        printed = _tempo_in_words(direction, bar)
    _read_tempo(spoken, printed, bar, at + shift)
    for kind in direction.iterfind("direction-type"):
        _read_kind(kind, bar, printed_at)
    if (spoken is not None or printed is not None) and printed_at != at + shift:
        bar.warnings.append("a tempo mark is printed at another place than it sounds; the sounding place is taken")
    if sound is not None:
        _read_sound_signs(sound, bar)
    if sound is None or not (JUMP_ATTRIBUTES & set(sound.attrib)):
        _read_words_signs(direction, bar)


def read_sound(sound: Element, bar: RawBar, at: Fraction, divisions: Fraction) -> None:
    """A <sound> that stands in the measure itself."""
    shift = (number(text(sound, "offset")) or Fraction(0)) / divisions
    _read_tempo(number(sound.get("tempo")), None, bar, at + shift)
    level = number(sound.get("dynamics"))
    if level is not None:
        bar.dynamics.append(RawDynamic(at, min(1.0, float(level) / 100 * FORTE)))
    _read_sound_signs(sound, bar)


JUMP_ATTRIBUTES = {"segno", "coda", "dacapo", "dalsegno", "tocoda", "fine"}


def _sound_offset(direction: Element, divisions: Fraction) -> Fraction:
    """How far the sound of a direction is moved: its <offset> moves only the print unless it says sound="yes"."""
    offset = direction.find("offset")
    if offset is not None and is_yes(offset, "sound"):
        return (number(text(offset)) or Fraction(0)) / divisions
    inner = direction.find("sound/offset")
    return (number(text(inner)) or Fraction(0)) / divisions if inner is not None else Fraction(0)


def _metronomes(direction: Element, bar: RawBar, tempo: Fraction) -> tuple[Fraction, Fraction] | None:
    """Quarters a minute and the beat unit's quarters of the first metronome mark that can be read."""
    for mark in direction.iterfind("direction-type/metronome"):
        units = _beat_units(mark)
        figure = PER_MINUTE.search(text(mark, "per-minute"))
        if len(units) == 1 and figure:
            return Fraction(figure.group(0)) * units[0], units[0]
        if len(units) == 2 and units[1]:
            return tempo * units[1] / units[0], units[1]
        bar.unread.append(("metronome", "this metronome mark is not read; the tempo is kept as it was"))
    return None


def _tempo_in_words(direction: Element, bar: RawBar) -> tuple[Fraction, Fraction] | None:
    """A tempo typed as text, such as "♩ = 116"; believed where the file gives no mark of its own there, and told."""
    found = TYPED_TEMPO.search(words_of(direction, "direction-type/words"))
    if found is None:
        return None
    unit = Fraction(3, 2) if found.group("dot") else Fraction(1)
    bar.warnings.append(f"“{found.group(0)}” stands there as text; it is taken for the tempo")
    return Fraction(found.group("sign") or found.group("bpm")) * unit, unit


def _beat_units(mark: Element) -> list[Fraction]:
    units: list[Fraction] = []
    dotted = Fraction(0)
    for child in mark:
        if child.tag == "beat-unit":
            dotted = QUARTERS.get((child.text or "").strip(), Fraction(0)) / 2
            units.append(dotted * 2)
        elif child.tag == "beat-unit-dot" and units:
            units[-1] += dotted
            dotted /= 2
    return [unit for unit in units if unit]


def _read_tempo(spoken: Fraction | None, printed: tuple[Fraction, Fraction] | None, bar: RawBar, at: Fraction) -> None:
    """The sounding tempo is quarters a minute and holds; a slip many programs make with dotted beats is put right."""
    value = spoken
    if printed is not None:
        by_print, unit = printed
        if spoken is None or abs(spoken - by_print) * 200 <= by_print:
            value = by_print  # the printed figure is the round one; the other is the same within half a percent
        elif spoken * unit == by_print:
            value = by_print
            bar.warnings.append("the sounding tempo ignores the printed beat unit; the printed metronome mark is taken")
        else:
            bar.warnings.append(
                f"the printed metronome mark and the sounding tempo differ; {float(spoken):g} quarters a minute is taken"
            )
    if value is None:
        return
    if not 0 < value <= MAX_TEMPO:
        bar.unread.append(
            ("tempo", f"a tempo of {float(value):g} quarters a minute cannot be played; the tempo is kept as it was")
        )
        return
    bar.tempi.append(RawTempo(max(at, Fraction(0)), value))


def _read_kind(kind: Element, bar: RawBar, at: Fraction) -> None:
    for dynamics in kind.iterfind("dynamics"):
        for name in dynamics:
            if name.tag in LEVELS:
                bar.dynamics.append(RawDynamic(at, LEVELS[name.tag]))
    for wedge in kind.iterfind("wedge"):
        shape = wedge.get("type", "")
        if shape in ("crescendo", "diminuendo", "stop"):
            bar.dynamics.append(RawDynamic(at, None, shape))
    _read_words(words_of(kind, "words"), bar, at)


def _read_words(words: str, bar: RawBar, at: Fraction) -> None:
    """Sticking printed as text, and words that change what is played without a sign this reader could follow."""
    letters = as_sticking(words)
    if letters:
        bar.sticking.append((at, letters))
    technique = TECHNIQUE_WORDS.search(words)
    if technique:
        bar.warnings.append(f"“{technique.group(0)}” is not followed; noteheads and instruments tell the technique")
    for pattern, says in UNREAD_WORDS:
        found = pattern.search(words)
        if found:
            bar.unread.append(("words", f"“{found.group(0)}” is not read; {says}"))


def _read_sound_signs(sound: Element, bar: RawBar) -> None:
    signs = bar.signs
    signs.segno = sound.get("segno", signs.segno)
    signs.coda = sound.get("coda", signs.coda)
    signs.dalsegno = sound.get("dalsegno", signs.dalsegno)
    signs.tocoda = sound.get("tocoda", signs.tocoda)
    signs.dacapo = signs.dacapo or is_yes(sound, "dacapo")
    signs.fine = signs.fine or ("fine" in sound.attrib and sound.get("fine") != "no")
    if sound.get("time-only") and (JUMP_ATTRIBUTES & set(sound.attrib)):
        signs.jump_only = numbers_in(sound.get("time-only", ""))
    if sound.find("swing") is not None and sound.find("swing/straight") is None:
        bar.unread.append(("swing", "swung notes are not read; the times there are those of even notes"))


def _read_words_signs(direction: Element, bar: RawBar) -> None:
    """Segno, coda and jumps that a program printed without saying how they sound."""
    signs = bar.signs
    words = re.sub(r"[\s.]+", " ", words_of(direction, "direction-type/words")).strip().lower()
    if direction.find("direction-type/segno") is not None and not re.match(r"d ?s\b|dal", words):
        signs.segno = signs.segno or ""
    if re.match(r"to coda\b", words):
        signs.tocoda = signs.tocoda or ""
    elif words == "coda" or (
        direction.find("direction-type/coda") is not None and not re.match(r"d ?[sc]\b|d[ae]l? ", words)
    ):
        signs.coda = signs.coda or ""
    if re.match(r"d ?c\b|da capo\b", words):
        signs.dacapo = True
    elif re.match(r"d ?s\b|dal segno\b", words):
        signs.dalsegno = signs.dalsegno or ""
    elif words == "fine":
        signs.fine = True

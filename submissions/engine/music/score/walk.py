"""Walk one part, measure by measure, and put every note at its exact place in its bar."""

from dataclasses import replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from ..grid import Meter, make_meter
from .directions import read_direction, read_sound
from .notes import as_sticking, is_hidden, read_note, sounding_length
from .raw import RawBar
from .tree import is_no, number, numbers_in, text, whole

COMMON = make_meter("4", "4")
QUIET = ("print", "bookmark", "link", "grouping", "figured-bass", "harmony", "listening")  # nothing in them is struck


class Walker:
    """The state that goes from bar to bar: divisions, meter, tempo, and the regions of slashes and repeated bars."""

    def __init__(self) -> None:
        self.divisions = Fraction(1)
        self.meter: Meter = COMMON
        self.tempo = Fraction(120)
        self.repeating = 0
        self.beat_repeat = False
        self.slash = False
        self.slash_stems = False

    def bar(self, measure: Element) -> RawBar:
        bar = RawBar(label=measure.get("number", "").strip(), implicit=measure.get("implicit") == "yes", meter=self.meter)
        cursor = Cursor()
        for child in measure:
            reader = READERS.get(child.tag)
            if reader is not None:
                reader(self, child, bar, cursor)
            elif child.tag not in QUIET:
                bar.unread.append((str(child.tag)[:40], f"<{str(child.tag)[:40]}> is not read; what it holds is missing"))
        bar.meter = self.meter
        bar.filled = cursor.furthest
        bar.repeat_of = self.repeating
        bar.slash = self.slash
        if bar.tempi:
            self.tempo = bar.tempi[-1].quarters_per_minute
        return bar

    def attributes(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        divisions = number(text(element, "divisions"))
        if divisions:
            cursor.rescale(divisions / self.divisions)
            self.divisions = divisions
        time = element.find("time")
        if time is not None:
            self.meter = read_time(time, bar) or self.meter
        for style in element.iterfind("measure-style"):
            self.measure_style(style, bar)

    def measure_style(self, style: Element, bar: RawBar) -> None:
        repeat, slash, beat = style.find("measure-repeat"), style.find("slash"), style.find("beat-repeat")
        if repeat is not None:
            self.repeating = (whole(repeat.text) or 1) if repeat.get("type") == "start" else 0
        if slash is not None:
            self.slash = slash.get("type") == "start"
        if beat is not None and beat.get("type") == "start":
            bar.unread.append(("beat-repeat", "a beat repeat is not read; strokes there are missing"))

    def note(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        grace = element.find("grace") is not None
        duration = Fraction(0) if grace else number(text(element, "duration"))
        if duration is None or duration < 0:
            bar.unread.append(("note", "a note without a length is not read"))
            return
        length = sounding_length(element, duration, self.divisions)
        chord = element.find("chord") is not None
        at = cursor.chord_at if chord else cursor.at
        if not chord:
            cursor.advance(duration, length, self.divisions)
        if element.find("cue") is not None:
            return
        if is_hidden(element) and element.find("rest") is None:
            bar.warnings.append("a hidden note is left out")
            return
        note = read_note(element, at, length)
        if note.rest:
            cursor.words = ""
        if not note.sticking and cursor.words and not note.rest and not note.grace:
            note = replace(note, sticking=cursor.words)
            cursor.words = ""
        bar.notes.append(note)

    def backup(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        cursor.move(-(number(text(element, "duration")) or Fraction(0)), self.divisions)

    def forward(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        cursor.move(number(text(element, "duration")) or Fraction(0), self.divisions)

    def direction(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        read_direction(element, bar, cursor.at, self.divisions, self.tempo)
        for words in element.iterfind("direction-type/words"):
            cursor.words = as_sticking((words.text or "").strip()) or cursor.words

    def sound(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        read_sound(element, bar, cursor.at, self.divisions)

    def barline(self, element: Element, bar: RawBar, cursor: "Cursor") -> None:
        read_barline(element, bar)


READERS = {
    "attributes": Walker.attributes,
    "note": Walker.note,
    "backup": Walker.backup,
    "forward": Walker.forward,
    "direction": Walker.direction,
    "sound": Walker.sound,
    "barline": Walker.barline,
}


class Cursor:
    """Where in the bar the next note stands, exactly; and the same in divisions, because backup counts in them."""

    def __init__(self) -> None:
        self.at = Fraction(0)
        self.chord_at = Fraction(0)
        self.furthest = Fraction(0)
        self.words = ""  # a sticking letter printed as text, waiting for its note
        self._raw = Fraction(0)
        self._exact = {Fraction(0): Fraction(0)}

    def rescale(self, ratio: Fraction) -> None:
        """Divisions changed inside the bar."""
        self._raw *= ratio
        self._exact = {raw * ratio: exact for raw, exact in self._exact.items()}

    def advance(self, duration: Fraction, length: Fraction, divisions: Fraction) -> None:
        """Past a note whose duration in divisions may be rounded; its exact length is believed."""
        self.chord_at = self.at
        self._raw += duration
        self.at += length
        if abs(self.at - self._raw / divisions) * divisions >= 1:
            self.at = self._raw / divisions  # more than rounding: the divisions hold
        self.at = self._exact.setdefault(self._raw, self.at)
        self.furthest = max(self.furthest, self.at)

    def move(self, duration: Fraction, divisions: Fraction) -> None:
        self._raw = max(Fraction(0), self._raw + duration)
        self.at = self._exact.get(self._raw, self._raw / divisions)
        self.furthest = max(self.furthest, self.at)


def read_time(time: Element, bar: RawBar) -> Meter | None:
    """The meter of a <time>; several beats and beat-types are added together over the smallest beat."""
    if time.find("senza-misura") is not None:
        return Meter(0, 4, ())
    pairs = [(beats.text or "", kind.text or "") for beats, kind in zip(time.iterfind("beats"), time.iterfind("beat-type"), strict=False)]
    meter = make_meter(*pairs[0]) if len(pairs) == 1 else None
    if meter is None:
        bar.unread.append(("time", "this time signature is not read; the meter is kept as it was"))
    return meter


def read_barline(barline: Element, bar: RawBar) -> None:
    signs = bar.signs
    repeat, ending = barline.find("repeat"), barline.find("ending")
    if repeat is not None:
        if barline.get("location") == "middle":
            bar.unread.append(("repeat", "a repeat in the middle of a bar is not read"))
        elif repeat.get("direction") == "forward":
            signs.forward = True
        else:
            signs.backward = True
            signs.times = whole(repeat.get("times"))
            signs.after_jump = repeat.get("after-jump") == "yes"
    if ending is not None:
        if ending.get("type") == "start":
            signs.ending_start = numbers_in(ending.get("number", "")) or numbers_in(ending.text or "")
        else:
            signs.ending_stop = True
    for name in ("segno", "coda"):
        if barline.find(name) is not None or barline.get(name) is not None:
            setattr(signs, name, barline.get(name, getattr(signs, name) or ""))

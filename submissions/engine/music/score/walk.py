"""Walk one part, measure by measure, and put every note at its exact place in its bar."""

from collections.abc import Callable
from fractions import Fraction
from xml.etree.ElementTree import Element

from ...errors import ScoreError
from ..grid import COMMON, Meter, make_meter, sum_of_meters
from .cursor import Cursor
from .directions import read_direction, read_sound
from .notes import HIDDEN, is_hidden, read_note, rest_length, sounding_length, staff_shift, unread_of
from .raw import RawBar, Stretch
from .tree import number, numbers_in, text, whole

QUIET = ("print", "bookmark", "link", "grouping", "figured-bass", "harmony", "listening")  # nothing in them is struck
LONGEST_BAR = Fraction(256)  # quarters; more is a mistake in the file
FULLEST_BAR = 2_000  # notes and signs; a bar of five drums in 32nds has 160
FINEST = 1_000_000  # divisions a quarter; programs write up to 16383, the limit the standard's text names


class Walker:
    """The state that goes from bar to bar: divisions, meter, tempo, clef, and regions of slashes and repeated bars."""

    def __init__(self) -> None:
        self.divisions = Fraction(1)
        self.meter: Meter = COMMON
        self.tempo = Fraction(120)
        self.shift: dict[int, int] = {}  # diatonic steps from the clef's staff to the treble staff, by staff
        self.repeating = 0
        self.slashing: Stretch | None = None
        self.beat_repeating: Stretch | None = None
        self.number = 0
        self.elements = 0

    def bar(self, measure: Element) -> RawBar:
        """The next bar of the part."""
        bar = RawBar(
            label=measure.get("number", "").strip(), implicit=measure.get("implicit") == "yes", meter=self.meter
        )
        self.number += 1
        cursor = Cursor()
        for child in measure:
            reader = READERS.get(child.tag)
            if reader is not None:
                reader(self, child, bar, cursor)
            elif child.tag not in QUIET:
                bar.unread.append(
                    (str(child.tag)[:40], f"<{str(child.tag)[:40]}> is not read; what it holds is missing")
                )
        if len(bar.notes) + len(bar.sticking) + len(bar.dynamics) + len(bar.tempi) > FULLEST_BAR:
            raise ScoreError(f"Bar {bar.label[:12] or self.number} holds more than {FULLEST_BAR} notes and signs.")
        if cursor.furthest > LONGEST_BAR:
            raise ScoreError(
                f"Bar {bar.label[:12] or self.number} lasts {float(cursor.furthest):g} quarters; that is a mistake in the file."
            )
        self._finish(bar, cursor)
        return bar

    def _finish(self, bar: RawBar, cursor: Cursor) -> None:
        bar.meter = self.meter
        bar.filled = cursor.furthest
        bar.repeat_of = self.repeating
        if self.slashing is not None:
            bar.slashes.append(self.slashing)
            self.slashing = Stretch(Fraction(0), None, self.slashing.stems)
        if self.beat_repeating is not None:
            bar.beat_repeats.append(self.beat_repeating)
            self.beat_repeating = Stretch(Fraction(0), None)
        if bar.tempi:
            self.tempo = bar.tempi[-1].quarters_per_minute

    def attributes(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        divisions = number(text(element, "divisions"))
        if divisions is not None and 0 < divisions <= FINEST:
            cursor.rescale(divisions / self.divisions)
            self.divisions = divisions
        elif divisions is not None:
            bar.unread.append(("divisions", "these divisions cannot be; those before are kept"))
        time = element.find("time")
        if time is not None:
            self.meter = read_time(time, bar) or self.meter
        for clef in element.iterfind("clef"):
            self.shift[whole(clef.get("number")) or 1] = staff_shift(clef)
        for style in element.iterfind("measure-style"):
            self._measure_style(style, bar, cursor.at)

    def _measure_style(self, style: Element, bar: RawBar, at: Fraction) -> None:
        repeat, slash, beat = style.find("measure-repeat"), style.find("slash"), style.find("beat-repeat")
        if repeat is not None:
            self.repeating = (whole(repeat.text) or 1) if repeat.get("type") == "start" else 0
        if slash is not None:
            if self.slashing is not None:
                bar.slashes.append(Stretch(self.slashing.start, at, self.slashing.stems))
            self.slashing = Stretch(at, None, slash.get("use-stems") == "yes") if slash.get("type") == "start" else None
        if beat is not None:
            if self.beat_repeating is not None:
                bar.beat_repeats.append(Stretch(self.beat_repeating.start, at))
            self.beat_repeating = Stretch(at, None) if beat.get("type") == "start" else None

    def note(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        index, self.elements = self.elements, self.elements + 1
        grace = element.find("grace") is not None
        duration = Fraction(0) if grace else number(text(element, "duration"))
        if duration is None or duration < 0:
            bar.unread.append(("note", "a note without a length is not read; it and the time it takes are missing"))
            return
        length = Fraction(0) if grace else sounding_length(element, duration, self.divisions)
        rest = element.find("rest")
        if rest is not None and rest.get("measure") == "yes" and cursor.at == 0 and self.meter.length is not None:
            length = rest_length(length, self.meter.length)
            duration = length * self.divisions
        chord = element.find("chord") is not None
        at = cursor.chord_at if chord and not grace else cursor.at
        if not chord and not grace:
            cursor.advance(duration, length)
        if element.find("cue") is not None:
            return
        if is_hidden(element):
            if rest is None:
                bar.warnings.append(HIDDEN)
            return
        bar.unread += unread_of(element)
        bar.notes.append(read_note(element, at, length, self.shift, index))

    def backup(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        if not cursor.move(-(number(text(element, "duration")) or Fraction(0)), self.divisions):
            bar.warnings.append("a step back leads before the bar; the bar's start is taken")

    def forward(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        cursor.move(number(text(element, "duration")) or Fraction(0), self.divisions)

    def direction(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        read_direction(element, bar, cursor.at, self.divisions, self.tempo)

    def sound(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        read_sound(element, bar, cursor.at, self.divisions)

    def barline(self, element: Element, bar: RawBar, cursor: Cursor) -> None:
        read_barline(element, bar, at_start=cursor.at == 0 and not bar.notes)


READERS: dict[str, Callable[[Walker, Element, RawBar, Cursor], None]] = {
    "attributes": Walker.attributes,
    "note": Walker.note,
    "backup": Walker.backup,
    "forward": Walker.forward,
    "direction": Walker.direction,
    "sound": Walker.sound,
    "barline": Walker.barline,
}


def read_time(time: Element, bar: RawBar) -> Meter | None:
    """The meter of a <time>; several beats and beat-types are added together over the smallest beat."""
    if time.find("senza-misura") is not None:
        return Meter(0, 4, ())
    counts, units = time.findall("beats"), time.findall("beat-type")
    meters = [make_meter(beats.text or "", unit.text or "") for beats, unit in zip(counts, units, strict=False)]
    known = [meter for meter in meters if meter is not None]
    if not known or len(known) != len(meters):
        bar.unread.append(("time", "this time signature is not read; the meter is kept as it was"))
        return None
    return known[0] if len(known) == 1 else sum_of_meters(known)


def read_barline(barline: Element, bar: RawBar, at_start: bool) -> None:
    """Repeats, endings, segno and coda of a barline; one that leads back may stand at the start of the bar after."""
    signs = bar.signs
    bar.held = bar.held or barline.find("fermata") is not None
    repeat, ending = barline.find("repeat"), barline.find("ending")
    left = barline.get("location", "left" if at_start else "right") == "left"
    if repeat is not None:
        if barline.get("location") == "middle":
            bar.unread.append(("repeat", "a repeat sign inside a bar is not read; the order of bars may be wrong"))
        elif repeat.get("direction") == "forward":
            signs.forward, signs.forward_after = signs.forward or left or at_start, not (left or at_start)
        else:
            signs.backward, signs.backward_before = signs.backward or not left, left
            signs.times = whole(repeat.get("times"))
            signs.after_jump = repeat.get("after-jump") == "yes"
    if ending is not None:
        if ending.get("type") == "start":
            signs.ending_start = numbers_in(ending.get("number", "")) or numbers_in(ending.text or "")
            if not signs.ending_start:
                bar.unread.append(("ending", "an ending without a number is not read; the order of bars may be wrong"))
        elif left:
            signs.ending_stop_before = True
        else:
            signs.ending_stop = True
    for name in ("segno", "coda"):
        if barline.find(name) is not None or barline.get(name) is not None:
            setattr(signs, name, barline.get(name, getattr(signs, name) or ""))

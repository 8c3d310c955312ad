"""From printed notes in played order to written strokes: ties, graces, drums, dynamics and sticking.

A grace is placed 28 ms before its stroke, several 28 ms apart, by convention; it belongs to its stroke and is not scored.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from ...errors import ScoreError
from ..written import DrumPlace, RollReading, Unread, WrittenStroke
from .directions import FORTE
from .drums import drum_of_name, technique_of
from .loudness import Loudness
from .raw import RawNote, RawPart
from .rolls import MAX_STROKES as MOST_A_NOTE
from .rolls import grace_strokes, read_roll, slash_words, strokes_words, two_note_strokes
from .timeline import Timeline
from .unison import joined

GRACE_S = Fraction(28, 1000)
ACCENT_LEVEL = (0.0, 0.2, 0.26)  # added to the level by no accent, an accent, a strong accent; chosen
GHOST_LEVEL = 0.5  # a notehead in parentheses: share of the level; chosen
MAX_STROKES = 30_000  # a part; an hour of sixteenths at 120 has 28 800
MAX_NOTES = 60_000  # with rests and graces
ONE_NAME = {"bass": "bass", "tenors": "tenor", "snare": "snare", "cymbals": "cymbal"}
RollKey = tuple[int, str]  # bar and count


@dataclass(frozen=True, slots=True)
class Sounding:
    """A printed note in its played bar."""

    note: RawNote
    at_q: Fraction
    played_bar: int


@dataclass(frozen=True, slots=True)
class Tie:
    """A tie under way; where it ends is part of its key, because another voice may strike the same drum meanwhile."""

    rolled: bool


class Striker:
    """Collects the strokes of one part."""

    def __init__(
        self,
        part: RawPart,
        instrument: str,
        time: Timeline,
        places: tuple[DrumPlace, ...],
        rolls: Mapping[RollKey, int],
    ) -> None:
        self.part, self.instrument, self.time, self.given = part, instrument, time, rolls
        self.drums = {place.key: place.drums for place in places}
        self.by_instrument = any(place.key in part.instruments for place in places)
        self.loudness = Loudness(part.bars, time.played)
        self.strokes: list[WrittenStroke] = []
        self.unread: list[Unread] = []
        self.warnings: list[str] = []
        self.rolls: dict[RollKey, RollReading] = {}
        self._ties: dict[tuple[str, str, int, Fraction], Tie] = {}
        self._graces: dict[tuple[str, int], list[list[Sounding]]] = {}
        self._pair: tuple[Sounding, list[WrittenStroke]] | None = None
        self._closed: tuple[Sounding, Fraction, int] | None = None

    def strike(self) -> None:
        """Fill strokes, unread, warnings and rolls."""
        if sum(len(self.part.bars[played.index].notes) for played in self.time.played) > MAX_NOTES:
            raise ScoreError(f"With its repeats the part has more than {MAX_NOTES} notes and rests.")
        for n, played in enumerate(self.time.played):
            notes = [note for note in self.part.bars[played.index].notes if not note.only or played.time in note.only]
            for note in sorted(notes, key=lambda note: note.at):
                self._note(Sounding(note, played.at_q + note.at, n))
                if len(self.strokes) > MAX_STROKES:
                    raise ScoreError(f"With its repeats and rolls the part has more than {MAX_STROKES} strokes.")
        for waiting in list(self._graces.values()):
            self._loose_graces(waiting)
        self._leave_pair()
        self.strokes = joined(self.strokes)

    def _note(self, sounding: Sounding) -> None:
        note = sounding.note
        stave = (note.voice, note.staff)
        if note.grace:
            groups = self._graces.setdefault(stave, [])
            if note.chord and groups:
                groups[-1].append(sounding)
            else:
                groups.extend([sounding] for _ in range(grace_strokes(note)))
            return
        graces = self._graces.pop(stave, [])
        if note.rest:
            self._loose_graces(graces)
            return
        tie = self._tie(sounding)
        is_roll = note.tremolo is not None or note.buzz
        if tie is None:
            if note.tie_stop and not graces:
                self._warn(sounding, "a tie into a note comes from nowhere; the note is struck")
            self._stroke(sounding, graces, continued=False)
        elif graces:
            self._warn(sounding, "a tied note has a grace before it; it is struck again")
            self._stroke(sounding, graces, continued=False)
        elif is_roll:
            self._stroke(sounding, graces, continued=tie.rolled)
        elif tie.rolled:
            self._release(sounding)

    def _tie(self, sounding: Sounding) -> Tie | None:
        """The tie that ends at this note, if one does; and note the one that begins."""
        note = sounding.note
        key = (note.place, note.instrument, note.staff)
        before = self._ties.pop((*key, sounding.at_q), None) if note.tie_stop else None
        if note.tie_start:
            ends = sounding.at_q + note.length
            self._ties[(*key, ends)] = Tie(note.tremolo is not None or note.buzz)
        return before

    def _release(self, sounding: Sounding) -> None:
        """A roll tied into a plain note: in the trade that note is the stroke that ends the roll."""
        key = self._key(sounding)
        given = self.given.get(key, 1)
        says = "a roll is tied into this note: its first moment is struck, the release"
        says = says if given else "no release, set by the organizer"
        self._reading(sounding, RollReading(*key, 0, min(given, 1), says, "release", 1, corrected=key in self.given))
        if given:
            self._stroke(sounding, [], continued=False)

    def _stroke(self, sounding: Sounding, graces: list[list[Sounding]], continued: bool) -> None:
        note = sounding.note
        drums = self.drums_of(note)
        if not drums:
            self._say(sounding, "note", f"a note at {note.place} stands for no drum; that stroke is missing")
            return
        self._graces_before(sounding, graces, drums)
        pair = note.tremolo is not None and note.tremolo.kind in ("start", "stop") and not note.buzz
        if pair:
            self._two_note(sounding, [self._written(sounding, drum) for drum in drums])
            return
        self._leave_pair(sounding)
        for drum in drums:
            first = self._written(sounding, drum)
            if note.tremolo is None and not note.buzz:
                self.strokes.append(first)
            else:
                self._roll(sounding, first, continued)

    def _graces_before(self, sounding: Sounding, graces: list[list[Sounding]], drums: list[str]) -> None:
        """Several graces one after the other come 28 ms apart; a chord of graces comes at once."""
        for back, group in zip(range(len(graces), 0, -1), graces, strict=True):
            for grace in group:
                for drum in self.drums_of(grace.note) or drums:
                    self._grace(sounding, grace, drum, back)

    def _grace(self, sounding: Sounding, grace: Sounding, drum: str, back: int) -> None:
        early_s = GRACE_S * back
        early_q = early_s * self.time.clock.tempo_before(sounding.at_q) / 60
        written = self._written(replace(sounding, note=replace(grace.note, at=sounding.note.at)), drum)
        at_s = float(self.time.clock.seconds(sounding.at_q) - early_s)
        early = replace(written, at_q=sounding.at_q - early_q, at_s=at_s, length_q=Fraction(0), length_s=0.0)
        self.strokes.append(replace(early, kind="grace", accent=False))

    def _loose_graces(self, graces: list[list[Sounding]]) -> None:
        for back, group in zip(range(len(graces), 0, -1), graces, strict=True):
            for grace in group:
                for drum in self.drums_of(grace.note):
                    self._grace(grace, grace, drum, back)
        if graces:
            self._say(graces[-1][0], "grace", "a grace note stands before no stroke; it is heard and not scored")

    def _roll(self, sounding: Sounding, first: WrittenStroke, continued: bool) -> None:
        note, key = sounding.note, (first.bar, first.count)
        reading = read_roll(note, first.length_s, self.given.get(key))
        slashes, corrected = note.tremolo.slashes if note.tremolo else 0, key in self.given
        read_as = read_roll(note, first.length_s).strokes if corrected else reading.strokes
        told = RollReading(*key, slashes, reading.strokes, reading.says, "roll", read_as, first.length_s, corrected)
        self._reading(sounding, told)
        if reading.strokes == 0:
            self.strokes.append(replace(first, kind="buzz"))
            return
        for k in range(reading.strokes):
            kind = "diddle" if k or continued else "stroke"
            self.strokes.append(self._rolled(sounding, first, k, reading.step, kind))

    def _reading(self, sounding: Sounding, told: RollReading) -> None:
        """Keep how a roll was read; a bar that is played again reads the same and is told once."""
        key = (told.bar, told.count)
        known = self.rolls.setdefault(key, told)
        if (known.kind, known.read_as) != (told.kind, told.read_as):
            self._warn(sounding, f"two rolls begin on {told.count} and differ; a correction sets both alike")
        element = sounding.note.element
        if element >= 0 and element not in known.elements:
            self.rolls[key] = replace(known, elements=(*known.elements, element))

    def _rolled(self, sounding: Sounding, first: WrittenStroke, k: int, step: Fraction, kind: str) -> WrittenStroke:
        at_q = sounding.at_q + k * step
        start, end = self.time.clock.seconds(at_q), self.time.clock.seconds(at_q + step)
        letters = sounding.note.sticking
        hand = letters[k] if k < len(letters) else (letters[0] if len(letters) == 1 and k < 2 else None)
        count = self.time.count(sounding.played_bar, sounding.note.at + k * step)
        timed = replace(first, at_q=at_q, at_s=float(start), length_q=step, length_s=float(end - start))
        return replace(timed, count=count, kind=kind, accent=first.accent and k == 0, hand=hand)

    def _two_note(self, sounding: Sounding, strokes: list[WrittenStroke]) -> None:
        """Both notes of a two-note tremolo together: strokes alternate between them over the time of both."""
        note, tremolo = sounding.note, sounding.note.tremolo
        assert tremolo is not None
        if tremolo.kind == "start":
            if self._pair is not None and self._pair[0].at_q == sounding.at_q:
                self._pair[1].extend(strokes)
                return
            self._leave_pair()
            self._pair = (sounding, strokes)
            return
        if self._pair is not None:
            before, opening = self._pair
            self._pair = None
            span = sounding.at_q + note.length - before.at_q
            key = (opening[0].bar, opening[0].count)
            read_as = two_note_strokes(note, span)
            count = max(2, min(self.given.get(key, read_as), MOST_A_NOTE))
            self._closed = (before, span / count, count)
            says = f"two notes in alternation, {slash_words(tremolo.slashes)}: {strokes_words(count)} over both"
            if key in self.given:
                says = f"two notes in alternation: {strokes_words(count)} over both, set by the organizer"
            length_s = float(self.time.clock.seconds(before.at_q + span) - self.time.clock.seconds(before.at_q))
            told = RollReading(*key, tremolo.slashes, count, says, "pair", read_as, length_s, key in self.given)
            self._reading(before, told)
            self._reading(sounding, told)
            self._alternate(opening, 0)
        if self._closed is None:
            self.strokes.extend(strokes)
            self._say(sounding, "tremolo", "a two-note tremolo has no first note; its roll is missing")
            return
        self._alternate(strokes, 1)

    def _alternate(self, strokes: list[WrittenStroke], first: int) -> None:
        """Every other stroke of the closed pair, from the first or the second on."""
        assert self._closed is not None
        before, step, count = self._closed
        bare = replace(before, note=replace(before.note, sticking=""))
        for stroke in strokes:
            for k in range(first, count, 2):
                rolled = self._rolled(bare, stroke, k, step, "diddle" if k else "stroke")
                self.strokes.append(replace(rolled, accent=stroke.accent and k == first))

    def _leave_pair(self, sounding: Sounding | None = None) -> None:
        """A two-note tremolo whose second note does not come is read as one stroke."""
        last = self._closed or self._pair
        if last is not None and sounding is not None:
            before = last[0]
            if before.note.voice != sounding.note.voice or before.at_q == sounding.at_q:
                return
        self._closed = None
        if self._pair is None:
            return
        before, opening = self._pair
        self._pair = None
        self.strokes.extend(opening)
        self._say(before, "tremolo", "a two-note tremolo has no second note; its roll is missing")

    def _written(self, sounding: Sounding, drum: str) -> WrittenStroke:
        note, played = sounding.note, self.time.played[sounding.played_bar]
        start, end = self.time.clock.seconds(sounding.at_q), self.time.clock.seconds(sounding.at_q + note.length)
        level = self.loudness.at(sounding.at_q) if note.level is None else float(note.level) * FORTE
        level = (level + ACCENT_LEVEL[note.accent]) * (GHOST_LEVEL if note.ghost else 1.0)
        return WrittenStroke(
            at_q=sounding.at_q,
            at_s=float(start),
            bar=played.number,
            played_bar=sounding.played_bar,
            count=self.time.count(sounding.played_bar, note.at),
            kind="stroke",
            drum=drum,
            accent=note.accent > 0,
            length_q=note.length,
            length_s=float(end - start),
            hand=note.sticking[-1] if note.sticking else None,
            level=max(0.05, min(1.0, round(level, 4))),
            technique=technique_of(note, self.part, self.instrument),
        )

    def drums_of(self, note: RawNote) -> list[str]:
        """The drums a note stands for; none where the mapping has no drum for it."""
        if self.instrument in ("bass", "tenors"):
            key = note.instrument if self.by_instrument else note.place
            return [f"{ONE_NAME[self.instrument]}-{drum}" for drum in self.drums.get(key, ())]
        if self.instrument in ONE_NAME:
            return [ONE_NAME[self.instrument]]
        named = self.part.instruments.get(note.instrument)
        return [drum_of_name(named.name) or named.name or note.place if named else note.place]

    def _key(self, sounding: Sounding) -> RollKey:
        return self.time.played[sounding.played_bar].number, self.time.count(sounding.played_bar, sounding.note.at)

    def _say(self, sounding: Sounding, element: str, says: str) -> None:
        number = self.time.played[sounding.played_bar].number
        self.unread.append(Unread(number, element, f"bar {number}: {says}"))

    def _warn(self, sounding: Sounding, says: str) -> None:
        self.warnings.append(f"bar {self.time.played[sounding.played_bar].number}: {says}")

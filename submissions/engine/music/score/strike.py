"""From printed notes in played order to written strokes: ties, graces, rolls, dynamics, drums and sticking.

A grace is placed 28 ms before its stroke, several 28 ms apart, by convention; it belongs to its stroke and is not scored.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from ..written import DrumPlace, RollReading, Unread, WrittenStroke
from .directions import FORTE
from .drums import technique_of
from .raw import RawBar, RawNote, RawPart
from .rolls import read_roll
from .timeline import Timeline

GRACE_S = Fraction(28, 1000)
ACCENT_LEVEL = (0.0, 0.2, 0.26)  # added to the level by no accent, an accent, a strong accent; chosen
GHOST_LEVEL = 0.5  # a notehead in parentheses: share of the level; chosen
RollKey = tuple[int, str]  # bar and count


@dataclass(frozen=True, slots=True)
class Sounding:
    """A printed note in its played bar."""

    note: RawNote
    at_q: Fraction
    played_bar: int


class Striker:
    """Collects the strokes of one part."""

    def __init__(self, part: RawPart, instrument: str, time: Timeline, places: tuple[DrumPlace, ...], rolls: Mapping[RollKey, int]) -> None:
        self.part, self.instrument, self.time, self.given = part, instrument, time, rolls
        self.drums = {place.key: place.drums for place in places}
        self.by_instrument = any(place.key in part.instruments for place in places)
        self.strokes: list[WrittenStroke] = []
        self.unread: list[Unread] = []
        self.rolls: list[RollReading] = []
        self._open_ties: dict[tuple[str, str, int], tuple[Fraction, bool]] = {}
        self._graces: dict[tuple[str, int], list[Sounding]] = {}
        self._pair: Sounding | None = None
        self._level, self._wedge = FORTE, ""

    def strike(self) -> None:
        for n, played in enumerate(self.time.played):
            bar = self.part.bars[played.index]
            self._open_ties = {key: tie for key, tie in self._open_ties.items() if tie[0] >= played.at_q}
            self._bar(bar, n, played.time)
        for waiting in list(self._graces.values()):
            self._loose_graces(waiting)
        self.strokes = joined(self.strokes)

    def _bar(self, bar: RawBar, n: int, time: int) -> None:
        played = self.time.played[n]
        notes = [note for note in bar.notes if not note.only or time in note.only]
        levels = iter(sorted(bar.dynamics, key=lambda d: d.at))
        waiting = next(levels, None)
        for note in sorted(notes, key=lambda note: note.at):
            while waiting is not None and waiting.at <= note.at:
                self._level = self._level if waiting.level is None else waiting.level
                waiting = next(levels, None)
            self._note(Sounding(note, played.at_q + note.at, n))
        while waiting is not None:
            self._level = self._level if waiting.level is None else waiting.level
            waiting = next(levels, None)

    def _note(self, sounding: Sounding) -> None:
        note = sounding.note
        stave = (note.voice, note.staff)
        if note.grace:
            self._graces.setdefault(stave, []).append(sounding)
            return
        if note.rest:
            if stave in self._graces:
                self._loose_graces(self._graces.pop(stave))
            return
        key = (note.place, note.instrument, note.staff)
        tie = self._open_ties.pop(key, None)
        held = note.tie_stop and tie is not None and tie[0] == sounding.at_q
        rolled = held and tie is not None and tie[1]
        is_roll = note.tremolo is not None or note.buzz
        if note.tie_start:
            self._open_ties[key] = (sounding.at_q + note.length, is_roll)
        graces = self._graces.pop(stave, [])
        if held and not rolled and not is_roll:
            return
        self._stroke(sounding, graces, continued=rolled and is_roll)

    def _stroke(self, sounding: Sounding, graces: list[Sounding], continued: bool) -> None:
        note = sounding.note
        drums = self._drums_of(note)
        if not drums:
            self._say(sounding, note.place, f"a note at {note.place} stands for no drum; that stroke is missing")
            return
        for drum in drums:
            self._graces_before(sounding, graces, drum)
            first = self._written(sounding, drum)
            if note.tremolo is None and not note.buzz:
                self.strokes.append(first)
            elif note.tremolo is not None and note.tremolo.kind in ("start", "stop") and not note.buzz:
                self._two_note(sounding, first)
            else:
                self._roll(sounding, first, continued, tell=drum == drums[0])

    def _graces_before(self, sounding: Sounding, graces: list[Sounding], drum: str) -> None:
        """Graces of this stroke; several at the same place of the page that are no chord come 28 ms apart."""
        for back, grace in zip(range(len(graces), 0, -1), graces, strict=True):
            own = self._drums_of(grace.note) or [drum]
            struck = drum if drum in own or len(own) > 1 else own[0]
            self._grace(sounding, grace, struck, back)

    def _grace(self, sounding: Sounding, grace: Sounding, drum: str, back: int) -> None:
        early_s = GRACE_S * back
        early_q = early_s * self.time.clock.tempo_before(sounding.at_q) / 60
        written = self._written(replace(sounding, note=replace(grace.note, at=sounding.note.at)), drum)
        at_s = float(self.time.clock.seconds(sounding.at_q) - early_s)
        self.strokes.append(replace(written, at_q=sounding.at_q - early_q, at_s=at_s, kind="grace", accent=False, length_q=Fraction(0), length_s=0.0))

    def _loose_graces(self, graces: list[Sounding]) -> None:
        for back, grace in zip(range(len(graces), 0, -1), graces, strict=True):
            for drum in self._drums_of(grace.note):
                self._grace(grace, grace, drum, back)
        self._say(graces[-1], "grace", "a grace note stands before no stroke; it is heard and not scored")

    def _roll(self, sounding: Sounding, first: WrittenStroke, continued: bool, tell: bool) -> None:
        note = sounding.note
        seconds = first.length_s
        reading = read_roll(note, note.length, seconds, self.given.get((first.bar, first.count)))
        if tell and not any(roll.bar == first.bar and roll.count == first.count for roll in self.rolls):
            slashes = note.tremolo.slashes if note.tremolo else 0
            self.rolls.append(RollReading(first.bar, first.count, slashes, reading.strokes, reading.says))
        if reading.strokes == 0:
            self.strokes.append(replace(first, kind="buzz"))
            return
        step = note.length / reading.strokes
        for k in range(reading.strokes):
            self.strokes.append(self._rolled(sounding, first, k, step, "diddle" if k or continued else "stroke"))

    def _rolled(self, sounding: Sounding, first: WrittenStroke, k: int, step: Fraction, kind: str) -> WrittenStroke:
        at_q = sounding.at_q + k * step
        start, end = self.time.clock.seconds(at_q), self.time.clock.seconds(at_q + step)
        letters = sounding.note.sticking
        hand = letters[k] if k < len(letters) else (letters[0] if len(letters) == 1 and k < 2 else None)
        count = self.time.count(sounding.played_bar, sounding.note.at + k * step)
        return replace(first, at_q=at_q, at_s=float(start), count=count, kind=kind, accent=first.accent and k == 0, length_q=step, length_s=float(end - start), hand=hand)

    def _two_note(self, sounding: Sounding, stroke: WrittenStroke) -> None:
        """Both notes of a two-note tremolo together: strokes alternate between them over the time of both."""
        note = sounding.note
        assert note.tremolo is not None
        if note.tremolo.kind == "start" or self._pair is None:
            self._pair = sounding
            self.strokes.append(stroke)
            return
        before, self._pair = self._pair, None
        opening = next(s for s in reversed(self.strokes) if s.at_q == before.at_q and s.kind != "grace")
        self.strokes.remove(opening)
        span = sounding.at_q + note.length - before.at_q
        strokes = max(2, round(span * 2 ** (note.beams + note.tremolo.slashes)))
        step = span / strokes
        for k in range(strokes):
            source = opening if k % 2 == 0 else stroke
            rolled = self._rolled(replace(before, note=replace(before.note, sticking="")), source, k, step, "diddle" if k else "stroke")
            self.strokes.append(replace(rolled, accent=opening.accent and k == 0))
        says = f"two notes in alternation, {note.tremolo.slashes} slashes: {strokes} strokes over both"
        self.rolls.append(RollReading(opening.bar, opening.count, note.tremolo.slashes, strokes, says))

    def _written(self, sounding: Sounding, drum: str) -> WrittenStroke:
        note, played = sounding.note, self.time.played[sounding.played_bar]
        start, end = self.time.clock.seconds(sounding.at_q), self.time.clock.seconds(sounding.at_q + note.length)
        level = self._level if note.level is None else float(note.level) * FORTE
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
            technique=technique_of(note, self.part),
        )

    def _drums_of(self, note: RawNote) -> list[str]:
        if self.instrument in ("bass", "tenors"):
            key = note.instrument if self.by_instrument else note.place
            singular = {"bass": "bass", "tenors": "tenor"}[self.instrument]
            return [f"{singular}-{drum}" for drum in self.drums.get(key, ())]
        if self.instrument in ("snare", "cymbals"):
            return [{"snare": "snare", "cymbals": "cymbal"}[self.instrument]]
        named = self.part.instruments.get(note.instrument)
        return [named.name or note.place if named else note.place]

    def _say(self, sounding: Sounding, element: str, says: str) -> None:
        number = self.time.played[sounding.played_bar].number
        entry = Unread(number, element, f"bar {number}: {says}")
        if entry not in self.unread:
            self.unread.append(entry)


def joined(strokes: list[WrittenStroke]) -> list[WrittenStroke]:
    """In order of time, each drum struck once at a time: accents joined, the louder and the longer kept."""
    best: dict[tuple[Fraction, str, bool], WrittenStroke] = {}
    for stroke in strokes:
        key = (stroke.at_q, stroke.drum, stroke.kind == "grace")
        other = best.get(key)
        best[key] = stroke if other is None else join_pair(other, stroke)
    return sorted(best.values(), key=lambda s: (s.at_q, s.kind != "grace", s.drum))


def join_pair(one: WrittenStroke, other: WrittenStroke) -> WrittenStroke:
    """Two strokes of the same moment as one; a counted stroke goes before a buzz, a stroke before a diddle."""
    rank = ("stroke", "diddle", "grace", "buzz")
    first, second = sorted((one, other), key=lambda s: rank.index(s.kind))
    return replace(
        first,
        accent=first.accent or second.accent,
        level=max(first.level, second.level),
        length_q=max(first.length_q, second.length_q),
        length_s=max(first.length_s, second.length_s),
        hand=first.hand or second.hand,
        technique=first.technique or second.technique,
    )

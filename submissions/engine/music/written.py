"""What the page asks for: parts, bars, beats and written strokes as frozen values.

Conventions: positions are exact rationals of a quarter note (`_q`) counted from zero, the first downbeat of bar 1,
in PLAYED order (repeats unrolled; a pickup is negative). Seconds (`_s`) are derived from them once, at the very end.
"""

from dataclasses import dataclass
from fractions import Fraction

KINDS = ("stroke", "grace", "diddle", "buzz")


@dataclass(frozen=True, slots=True)
class WrittenStroke:
    """One written stroke; a buzz is a region of length_q, never counted as strokes."""

    at_q: Fraction
    at_s: float
    bar: int  # printed bar number
    played_bar: int  # index into Part.bars, in played order
    count: str  # "1", "2e", "3&", "4a", "2la" ...
    kind: str  # one of KINDS; "diddle" = every stroke of a measured roll after its first
    drum: str  # "snare", "tenor-1".."tenor-6", "bass-1".."bass-5", "bass", "cymbal", "rim" ...
    accent: bool = False
    length_q: Fraction = Fraction(0)
    length_s: float = 0.0
    hand: str | None = None  # "R", "L" or None where the page does not say
    level: float = 0.7  # loudness from dynamics and accents, 0..1
    technique: str = ""  # "", "rim", "cross", "muted", "shot" ...

    @property
    def scored(self) -> bool:
        """Whether it counts as one written stroke (graces belong to theirs; a buzz is a region)."""
        return self.kind in ("stroke", "diddle")


@dataclass(frozen=True, slots=True)
class Beat:
    """One clicked beat of the grid."""

    at_q: Fraction
    at_s: float
    bar: int
    played_bar: int
    number: int  # 1 is the downbeat
    downbeat: bool
    length_q: Fraction  # a dotted quarter in 6/8


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar in played order."""

    number: int  # printed
    at_q: Fraction
    length_q: Fraction
    at_s: float
    length_s: float
    beats: int  # numerator of the meter
    beat_type: int  # denominator


@dataclass(frozen=True, slots=True)
class Tempo:
    """From at_q on, quarter notes a minute."""

    at_q: Fraction
    quarters_per_minute: Fraction


@dataclass(frozen=True, slots=True)
class Unread:
    """What the reader could not read: 'bar 12: ... is not read; strokes there are missing'."""

    bar: int
    element: str
    says: str


@dataclass(frozen=True, slots=True)
class RollReading:
    """How one roll was read, so that an organizer can see and correct it."""

    bar: int
    count: str
    slashes: int
    strokes_a_note: int  # 0 = read as a buzz
    says: str
    kind: str = "roll"  # "roll", "release" (a roll tied into a plain note) or "pair" (two notes in alternation)
    read_as: int = -1  # strokes as the desk reads the page itself; differs only where the organizer corrected it
    length_s: float = 0.0  # how long the note (a pair: both notes) lasts
    corrected: bool = False
    elements: tuple[int, ...] = ()  # which <note> elements of the part, by order; () where a sign stands for them


@dataclass(frozen=True, slots=True)
class DrumPlace:
    """One row of the mapping an organizer sees and corrects: a staff position or instrument id, its drums, and why."""

    key: str  # "C5" or an instrument id such as "P3-I41"
    drums: tuple[int, ...]  # (1,) ... or (1, 2, 3, 4, 5) for a unison line; () = not read
    notes: int  # how many notes stand there
    why: str
    read_as: tuple[int, ...] = ()  # drums as the desk reads the page itself
    bars: tuple[int, ...] = ()  # printed numbers of the bars with notes there, the one with most of them first
    name: str = ""  # what the file calls the instrument, where the key is an instrument id


@dataclass(frozen=True, slots=True)
class Part:
    """One part of one segment, ready for the click, the sheet and the ear."""

    part_id: str
    name: str
    instrument: str  # "snare", "tenors", "bass", "cymbals", "other"
    drum: str  # "all" or "1".."5"
    title: str
    strokes: tuple[WrittenStroke, ...]  # sorted by at_q; graces just before their stroke
    bars: tuple[Bar, ...]
    beats: tuple[Beat, ...]  # from zero to the end, clicked beats only
    tempi: tuple[Tempo, ...]
    end_q: Fraction
    end_s: float
    unread: tuple[Unread, ...] = ()
    rolls: tuple[RollReading, ...] = ()
    tips: tuple[tuple[int, str], ...] = ()  # (bar, the organizer's words)
    warnings: tuple[str, ...] = ()  # what was read with a doubt: no tempo given, hidden notes left out ...
    drum_map: tuple[DrumPlace, ...] = ()  # bass lines and tenors: which place on the staff is which drum

    @property
    def bpm(self) -> float:
        """Clicked beats a minute at bar 1, as players say it (dotted quarters in 6/8)."""
        at_zero = [tempo for tempo in self.tempi if tempo.at_q <= 0]
        return float((at_zero or self.tempi)[-1 if at_zero else 0].quarters_per_minute / self.beats[0].length_q)

    def bars_from_zero(self) -> tuple[Bar, ...]:
        """The bars without a pickup, in played order."""
        return tuple(bar for bar in self.bars if bar.at_q.numerator >= 0)  # asked often, and fractions compare slowly

    def scored(self) -> tuple[WrittenStroke, ...]:
        """The strokes that count, in order of time."""
        return tuple(s for s in self.strokes if s.scored)


@dataclass(frozen=True, slots=True)
class Score:
    """All parts of one MusicXML file."""

    title: str
    composer: str
    rights: str
    parts: tuple[Part, ...]
    warnings: tuple[str, ...] = ()


__all__ = ["KINDS", "Bar", "Beat", "DrumPlace", "Part", "RollReading", "Score", "Tempo", "Unread", "WrittenStroke"]

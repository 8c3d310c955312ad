"""What stands on the page, bar by bar, before repeats are unrolled: the reader's own intermediate values.

Conventions: `at` and `length` are quarters from the start of the printed bar, exact.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from ..grid import Meter


@dataclass(frozen=True, slots=True)
class Tremolo:
    kind: str  # "single", "start", "stop", "unmeasured"
    slashes: int


@dataclass(frozen=True, slots=True)
class RawNote:
    """One note as printed. place is its staff position such as "C5"; head "" is the ordinary notehead."""

    at: Fraction
    length: Fraction
    place: str
    instrument: str  # id of a score-instrument, "" where the file gives none
    voice: str
    staff: int
    rest: bool = False
    grace: bool = False
    chord: bool = False  # sounds with the note before it
    tie_start: bool = False
    tie_stop: bool = False
    beams: int = 0  # flags or beams of the note's type: 0 quarter and longer, 1 eighth ...
    nominal: Fraction = Fraction(0)  # length by type and dots alone, before any tuplet
    tremolo: Tremolo | None = None
    buzz: bool = False
    head: str = ""
    ghost: bool = False  # notehead in parentheses
    accent: int = 0  # 1 accent, 2 strong accent
    marks: frozenset[str] = frozenset()  # "staccato", "tenuto", "muted", "rim" ...
    sticking: str = ""  # letters R and L in order
    level: Fraction | None = None  # the note's own dynamics, 1 = forte
    only: frozenset[int] = frozenset()  # passes in which it sounds; empty = all
    stemless: bool = False
    element: int = -1  # which <note> of the part it is, by order; -1 where a repeat sign stands for it


@dataclass(frozen=True, slots=True)
class RawTempo:
    at: Fraction
    quarters_per_minute: Fraction


@dataclass(frozen=True, slots=True)
class RawDynamic:
    """A level from at on; wedge "crescendo", "diminuendo" or "stop" where it is a hairpin."""

    at: Fraction
    level: float | None
    wedge: str = ""


FLAGS = (
    "forward",
    "backward",
    "after_jump",
    "ending_stop",
    "backward_before",
    "ending_stop_before",
    "forward_after",
    "dacapo",
    "fine",
)


@dataclass(slots=True)
class Signs:
    """What the bar says about the way through the piece."""

    forward: bool = False
    backward: bool = False
    times: int | None = None
    after_jump: bool = False
    ending_start: frozenset[int] = frozenset()
    ending_stop: bool = False
    backward_before: bool = False  # written at the start of this bar, meant for the end of the one before
    ending_stop_before: bool = False
    forward_after: bool = False  # written at the end of this bar, meant for the start of the next
    segno: str | None = None
    coda: str | None = None
    dacapo: bool = False
    dalsegno: str | None = None
    tocoda: str | None = None
    fine: bool = False
    jump_only: frozenset[int] = frozenset()

    def join(self, other: "Signs") -> None:
        """Take over what another part says of the same bar."""
        for name in FLAGS:
            setattr(self, name, getattr(self, name) or getattr(other, name))
        for name in ("times", "segno", "coda", "dalsegno", "tocoda"):
            if getattr(self, name) is None:
                setattr(self, name, getattr(other, name))
        self.ending_start = self.ending_start or other.ending_start
        self.jump_only = self.jump_only or other.jump_only


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a bar, in quarters from its start; end None = to the end of the bar."""

    start: Fraction
    end: Fraction | None
    stems: bool = False  # slashes whose stems show a rhythm to be played


@dataclass(slots=True)
class RawBar:
    """One printed bar of one part."""

    label: str
    implicit: bool
    meter: Meter
    number: int = 0
    filled: Fraction = Fraction(0)  # how far its notes reach
    notes: list[RawNote] = field(default_factory=list)
    tempi: list[RawTempo] = field(default_factory=list)
    dynamics: list[RawDynamic] = field(default_factory=list)
    signs: Signs = field(default_factory=Signs)
    unread: list[tuple[str, str]] = field(default_factory=list)  # element, what is wrong
    warnings: list[str] = field(default_factory=list)
    sticking: list[tuple[Fraction, str]] = field(default_factory=list)  # letters printed as text, and where
    held: bool = False  # a fermata over the barline
    repeat_of: int = 0  # measure-repeat: how many bars back its content stands
    slashes: list[Stretch] = field(default_factory=list)  # rhythm slashes: free strokes
    beat_repeats: list[Stretch] = field(default_factory=list)  # signs that say "the last beat again"


@dataclass(frozen=True, slots=True)
class RawInstrument:
    id: str
    name: str


@dataclass(slots=True)
class RawPart:
    id: str
    name: str
    abbreviation: str
    instruments: dict[str, RawInstrument]
    bars: list[RawBar] = field(default_factory=list)

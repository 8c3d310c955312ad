"""A cut sheet: the picks of a call in running order, as plain values; everything an export is made from.

Conventions: `_s` are seconds. A pick's zero_s is file time (sample 0 of its decoded sound is 0 s); record times count
from the start of the finished running order, in click time. picture time = file time + picture_offset_s.
"""

from dataclasses import dataclass
from fractions import Fraction

FRAME_RATE = Fraction(30000, 1001)  # what most phones and most editors call 29.97; never the float


@dataclass(frozen=True, slots=True)
class CutPick:
    """One take in one chair of one segment."""

    chair: str  # "snare 1"
    part: str
    credit: str  # the name as it will appear
    file: str  # name of the take's file as it lies beside the export
    zero_s: float
    zero_from: str
    zero_sd_s: float | None
    clock_ratio: float  # seconds of file time per second of click time
    nudge_ms: float  # an editor's shift; positive plays the take later
    file_duration_s: float
    picture_offset_s: float  # where file time 0 lies on the picture's own clock
    fps: float | None
    bias_ms: float | None = None
    spread_ms: float | None = None

    def source_start_s(self) -> float:
        """File time that sounds at the segment's zero once the nudge is applied."""
        return self.zero_s - self.nudge_ms / 1000 * self.clock_ratio


@dataclass(frozen=True, slots=True)
class CutSegment:
    """One segment as it stands in the running order (a repeated segment stands there several times)."""

    name: str
    bpm: float
    length_s: float  # from zero to the end of its last bar
    picks: tuple[CutPick, ...]


@dataclass(frozen=True, slots=True)
class CutSheet:
    """The whole running order; chairs in the order in which the line stands."""

    title: str
    chairs: tuple[str, ...]
    segments: tuple[CutSegment, ...]
    rate: Fraction = FRAME_RATE

    def starts_s(self) -> tuple[float, ...]:
        """Record time of each segment's zero."""
        out, at = [], 0.0
        for segment in self.segments:
            out.append(at)
            at += segment.length_s
        return tuple(out)

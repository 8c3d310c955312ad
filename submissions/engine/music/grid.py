"""The grid: meters, clicked beats and the names of counts.

Conventions: quarters are exact rationals. A meter's groups say how many of its units each clicked beat holds:
quarters in 4/4, dotted quarters in 6/8, halves in 2/2, 3 + 2 units in a meter printed as 3+2.
"""

from dataclasses import dataclass
from fractions import Fraction

MAX_BEATS = 64  # a numerator above this is a mistake in the file
# Positions within a beat, as the trade speaks them (common practice; the words vary from line to line).
SYLLABLES = {
    Fraction(0): "",
    Fraction(1, 4): "e",
    Fraction(1, 2): "&",
    Fraction(3, 4): "a",
    Fraction(1, 3): "la",
    Fraction(2, 3): "li",
    Fraction(1, 6): "ta",
    Fraction(5, 6): "ta",
}


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature. groups are the clicked beats in numerator units, e.g. (3, 3) for 6/8; () = senza misura."""

    beats: int
    beat_type: int
    groups: tuple[int, ...]

    @property
    def length(self) -> Fraction | None:
        """Quarters a bar; None without a measure."""
        return Fraction(4 * self.beats, self.beat_type) if self.groups else None

    @property
    def beat_lengths(self) -> tuple[Fraction, ...]:
        return tuple(Fraction(4 * group, self.beat_type) for group in self.groups)


def make_meter(beats: str, beat_type: str) -> Meter | None:
    """The meter of a time signature such as "4" "4" or "3+2" "8"; None where it cannot be one."""
    counts = [int(count) for count in beats.replace(" ", "").split("+") if count.isascii() and count.isdigit()]
    if not beat_type.strip().isdigit() or len(counts) != beats.count("+") + 1:
        return None
    unit, total = int(beat_type), sum(counts)
    if not 0 < total <= MAX_BEATS or min(counts) == 0 or unit not in (1, 2, 4, 8, 16, 32, 64):
        return None
    if len(counts) > 1:
        groups = tuple(counts) if unit >= 8 else (1,) * total
    elif unit >= 8 and total % 3 == 0 and total > 3:
        groups = (3,) * (total // 3)
    else:
        groups = (1,) * total
    return Meter(total, unit, groups)


def sum_of_meters(meters: list[Meter]) -> Meter:
    """One meter for a signature such as 3/4 + 3/8: all counted in the smallest unit, each keeping its own beats."""
    unit = max(meter.beat_type for meter in meters)
    groups: list[int] = []
    for meter in meters:
        scale = unit // meter.beat_type
        together = meter.beat_type >= 8 and len(meter.groups) <= 4
        groups += [meter.beats * scale] if together else [group * scale for group in meter.groups]
    return Meter(sum(groups), unit, tuple(groups))


def beats_of(meter: Meter, length: Fraction, offset: Fraction = Fraction(0)) -> list[tuple[Fraction, int, Fraction]]:
    """Clicked beats of a bar of `length` quarters that begins `offset` quarters into its meter: (at, number, length).

    A bar without a meter, or longer than its meter, is clicked on in quarters or in the meter's last beat.
    """
    out: list[tuple[Fraction, int, Fraction]] = []
    at, number = -offset, 0
    lengths = meter.beat_lengths or (Fraction(1),)
    while at < length:
        beat = lengths[min(number, len(lengths) - 1)]
        number += 1
        if at >= 0:
            out.append((at, number, beat))
        at += beat
    return out


def count_name(meter: Meter, at: Fraction) -> str:
    """The count at `at` quarters into the meter: "1", "2e", "3&", "1la" ...; other places as "2+2/5" of the beat."""
    lengths = meter.beat_lengths or (Fraction(1),)
    number, start = 1, Fraction(0)
    while at >= start + lengths[min(number, len(lengths)) - 1]:
        start += lengths[min(number, len(lengths)) - 1]
        number += 1
    part = (at - start) / lengths[min(number, len(lengths)) - 1]
    return f"{number}{SYLLABLES[part]}" if part in SYLLABLES else f"{number}+{part}"


COMMON = Meter(4, 4, (1, 1, 1, 1))  # where the page gives no time signature

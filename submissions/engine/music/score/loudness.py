"""How loud: the written dynamics of a part in played order, hairpins drawn as straight lines between levels.

Levels are shares 0..1, not decibels; what they become in sound is for whoever makes it.
"""

from bisect import bisect_right
from fractions import Fraction

from .directions import FORTE
from .raw import RawBar
from .timeline import PlayedBar

HAIRPIN_STEP = 0.24  # a hairpin without a dynamic at its end changes by about two steps, e.g. mp to f; chosen


class Loudness:
    """The level at a place in quarters."""

    def __init__(self, bars: list[RawBar], played: list[PlayedBar]) -> None:
        self.points: list[tuple[Fraction, float]] = [(played[0].at_q, FORTE)]
        opened: tuple[Fraction, str] | None = None
        waiting = False  # a hairpin has ended and the level it led to has not come yet
        for bar in played:
            for dynamic in sorted(bars[bar.index].dynamics, key=lambda dynamic: dynamic.at):
                at = bar.at_q + dynamic.at
                if dynamic.level is not None:
                    self._level(at, dynamic.level, joined=waiting)
                    waiting = False
                elif dynamic.wedge == "stop" and opened is not None:
                    self._close(opened, at)
                    opened, waiting = None, True
                elif dynamic.wedge != "stop":
                    opened, waiting = (at, dynamic.wedge), False
        self.places = [at for at, _ in self.points]

    def _level(self, at: Fraction, level: float, joined: bool) -> None:
        if joined and len(self.points) > 1:
            self.points[-1] = (self.points[-1][0], level)  # the hairpin ends at the level printed after it
        self.points.append((at, self.points[-1][1]))
        self.points.append((at, level))

    def _close(self, opened: tuple[Fraction, str], at: Fraction) -> None:
        start, shape = opened
        level = self.points[-1][1]
        self.points.append((start, level))
        change = HAIRPIN_STEP if shape == "crescendo" else -HAIRPIN_STEP
        self.points.append((max(at, start), min(1.0, max(0.1, level + change))))

    def at(self, place: Fraction) -> float:
        """The level at place, between two points in a straight line."""
        n = bisect_right(self.places, place)
        if n == 0:
            return self.points[0][1]
        (left, low), (right, high) = self.points[n - 1], self.points[min(n, len(self.points) - 1)]
        if right <= left:
            return low
        return low + (high - low) * float((place - left) / (right - left))

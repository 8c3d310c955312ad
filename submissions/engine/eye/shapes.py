"""Ways in which a hand moves to a drum and away from it: how high it is, from the times since and until its strokes.

A few of every kind are tried on each take (SHAPES); the ones that fit are then bent to the take (own.py), for nobody knows
how a player moves before having seen it. None falls slower than it rises: a hand that did would be a film played
backwards, and that is what tells before from after.

Conventions: seconds; `since` the last stroke, `until` the next one; heights 0 (on the drum) to 1 (fully raised).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FALL = 1.5  # a rebound's heights fall as 1 - x^1.5: a stroke gets faster until it lands
STEP = 1.25  # times longer or shorter, from one shape to the next beside it
STEP_BACK = 0.12
FALL_SHARE = 0.5  # of a lift at most: a hand falls at least as fast as it is raised


@dataclass(frozen=True, slots=True)
class Rebound:
    """Waits above, falls, comes back: seconds of falling, of rising after the stroke, of staying down between them."""

    fall_s: float
    rise_s: float
    stay_s: float = 0.0

    def heights(self, since: Floats, until: Floats) -> Floats:
        rising = 1 - (1 - np.clip((since - self.stay_s) / self.rise_s, 0, 1)) ** FALL
        return np.asarray(np.minimum(1 - np.clip(1 - until / self.fall_s, 0, 1) ** FALL, rising))

    def possible(self) -> bool:
        return self.rise_s >= 0.95 * self.fall_s

    def beside(self) -> Iterator["Rebound"]:
        for times in (1 / STEP, STEP):
            yield replace(self, fall_s=self.fall_s * times)
            yield replace(self, rise_s=self.rise_s * times)


@dataclass(frozen=True, slots=True)
class Raise:
    """Waits low, is raised for the next stroke and falls into it.

    Raised from lift_s before the stroke, falling for the last fall_s; back: where it waits, reached within rise_s or so.
    Strokes closer together than reach_s are played lower in proportion. bend: above 1 the raise begins slowly. Both ways go
    as a sine does, which is how limbs swing; the fall is fastest when it lands.
    """

    fall_s: float
    lift_s: float
    back: float
    rise_s: float = 0.06
    reach_s: float = 0.3
    bend: float = 1.3

    def heights(self, since: Floats, until: Floats) -> Floats:
        gap = since + until
        lift = np.minimum(self.lift_s, gap)
        fall = lift * min(FALL_SHARE, self.fall_s / self.lift_s)
        low = self.back * (1 - np.exp(-since / self.rise_s))
        top = np.maximum(np.minimum(1.0, gap / self.reach_s), low)
        raised = np.clip((lift - until) / np.maximum(lift - fall, 1e-3), 0, 1) ** self.bend
        up = low + (top - low) * np.sin(0.5 * np.pi * raised)
        down = top * np.cos(0.5 * np.pi * np.clip(1 - until / np.maximum(fall, 1e-3), 0, 1))
        return np.asarray(np.where(until < fall, down, up))

    def possible(self) -> bool:
        return self.fall_s <= FALL_SHARE * self.lift_s + 1e-9

    def beside(self) -> Iterator["Raise"]:
        """Within what hands can do: a fall of 30 to 220 ms, a raise of at most 0.6 s."""
        for times in (1 / STEP, STEP):
            yield replace(self, fall_s=min(max(self.fall_s * times, 0.03), 0.22))
            yield replace(self, lift_s=min(max(self.lift_s * times, 0.1), 0.6))
            yield replace(self, reach_s=min(max(self.reach_s * times, 0.1), 0.6))
            yield replace(self, rise_s=min(max(self.rise_s * times, 0.02), 0.2))
            yield replace(self, bend=min(max(self.bend * times, 1.0), 2.6))
        for more in (-STEP_BACK, STEP_BACK):
            yield replace(self, back=min(max(self.back + more, 0.0), 0.7))


Shape = Rebound | Raise

# Chosen to span what hands can do (a fall lasts 40 to 160 ms), with those that appear at once and leave: a flash, a very
# fast hand. Which one fits best is of no interest by itself.
SHAPES: tuple[Shape, ...] = (
    *(Rebound(f, r) for f in (0.04, 0.07, 0.11, 0.16) for r in (0.07, 0.11, 0.16, 0.25) if r >= 0.95 * f),
    *(Rebound(0.001, r, stay) for r in (0.001, 0.1, 0.25) for stay in (0.001, 0.035, 0.065, 0.1, 0.15)),
    *(Raise(share * lift, lift, back) for lift in (0.2, 0.3, 0.42) for share in (0.35, 0.5) for back in (0.02, 0.3)),
)

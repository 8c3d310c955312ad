"""The grace before a main stroke: where the quiet tap of a flam began.

Conventions: seconds of file time.
"""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..music.written import Part
from .matching import Paired

Array = NDArray[np.float64]

MOST_GAP_S, LEAST_GAP_S = 0.075, 0.008  # graces lie 10 to 60 ms before their stroke (common practice, no source)


class _Event(Protocol):
    @property
    def strokes(self) -> tuple[int, ...]: ...


def find_graces(
    mono: NDArray[np.floating], rate: int, part: Part, events: tuple[_Event, ...], paired: Paired, heard_s: Array
) -> dict[int, float]:
    """Index into Part.strokes -> time of each grace that was heard."""
    main_of = {}
    for event, j in zip(events, paired.of_event.tolist(), strict=True):
        for n in event.strokes:
            main_of[n] = j
    taken = set(paired.of_event.tolist())
    out: dict[int, float] = {}
    for n, stroke in enumerate(part.strokes):
        if stroke.kind != "grace":
            continue
        main = next((k for k in range(n + 1, len(part.strokes)) if part.strokes[k].kind != "grace"), None)
        j = main_of.get(main, -1) if main is not None else -1
        if j < 0:
            continue
        gap = heard_s[j] - heard_s
        near = [int(k) for k in np.flatnonzero((gap > LEAST_GAP_S) & (gap < MOST_GAP_S)) if int(k) not in taken]
        if near:
            out[n] = float(heard_s[near[-1]])
    return out

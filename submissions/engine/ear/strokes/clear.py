"""How the page and the clear strokes agree, both ways: what could not have been missed, and what cannot be a flicker.

A right part in a long room loses its soft and close strokes, and another part on the same sixteenths covers most of a
dense page by chance. Asked of clear strokes only, the two lie far apart: loud written strokes with time before them are
heard or were not played, and loud sharp strokes that nobody wrote were played by somebody who plays something else.
"""

import numpy as np
from numpy.typing import NDArray

from ...music.written import Part
from .events import Event

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BEFORE_S = 0.095  # nothing written so long before: the ring of the stroke before has fallen by then
RISE_DB = 6.0  # over all that earlier strokes leave behind
UNDER_USUAL_DB = 5.0  # as loud as what is written loud, or nearly
LEAST = 6  # fewer tell nothing
GIVEN = 2  # strokes taken for explained beforehand: two voices in a sparse part are not another part


def found_share(part: Part, events: tuple[Event, ...], of_event: NDArray[np.int64]) -> float:
    """Share of the clear written strokes, from the first to the last one found, that were found; 1 where too few are."""
    hit = np.flatnonzero(of_event >= 0)
    if not len(hit):
        return 0.0
    level = np.array([max(part.strokes[n].level for n in event.strokes) for event in events])
    gap = np.diff([event.at_s for event in events], prepend=-1.0)
    main = np.array([event.kind != "diddle" for event in events])
    clear = main & (gap > BEFORE_S) & (level >= np.median(level[main]))
    clear[: hit[0]] = False
    clear[hit[-1] + 1 :] = False
    if np.count_nonzero(clear) < LEAST:
        return 1.0
    return float(np.mean(of_event[clear] >= 0))


def explained_share(matched: Mask, extra: Mask, rise_db: Array, level_db: Array) -> float:
    """Share of the clear strokes heard that the page explains; 1 where too few were heard."""
    if not np.any(matched):
        return 0.0
    clear = (rise_db > RISE_DB) & (level_db > np.median(level_db[matched]) - UNDER_USUAL_DB)
    explained, other = np.count_nonzero(clear & matched), np.count_nonzero(clear & extra)
    return (explained + GIVEN) / (explained + other + GIVEN) if explained + other >= LEAST else 1.0

"""The page as the vote sees it, and what was heard, ready to be laid over each other.

Conventions: written times are seconds from zero at the performance tempo; heard times are seconds of file time.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from ...music.click import ClickLayout
from ...music.written import Part
from ..struck.onsets import Onsets

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

WINDOW_S = 0.075  # nothing farther away is taken for a written stroke's own; three spreads of a beginner
ECHO_S = 0.060  # an echo or a ring that swells comes within this ...
ECHO_SHARE = 0.4  # ... and rises less than this share of the stroke; the second of a diddle rises by half or more
GHOST_S = 0.035  # a ghost follows within this: the strongest early reflections, a grace's lead


@dataclass(frozen=True)
class Page:
    """The scored strokes of a part as arrays of one length."""

    at_s: Array
    level: Array
    buzz_s: Array  # (k, 2) begin and end of each buzz
    count_s: Array  # beats of a count-off that may be there, negative
    bar_s: float  # the first bar
    bpm: float
    end_s: float

    def __len__(self) -> int:
        return len(self.at_s)


def page_of(part: Part, layout: ClickLayout | None = None) -> Page:
    """The strokes that can be heard as one onset each, in order of time; unisons count once."""
    main = [stroke for stroke in part.strokes if stroke.kind != "grace"]
    times = np.array([stroke.at_s for stroke in main])
    levels = np.array([stroke.level for stroke in main])
    buzz = np.array([(s.at_s, s.at_s + s.length_s) for s in main if s.kind == "buzz"]).reshape(-1, 2)
    scale = layout.tempo_scale if layout else 1.0
    count = np.array([beat.at_s * scale for beat in layout.beats if beat.counted]) if layout else np.zeros(0)
    keep = np.concatenate([[True], np.diff(times) > 1e-6]) if len(times) else np.zeros(0, bool)
    return Page(times[keep], levels[keep], buzz, count, part.bars_from_zero()[0].length_s, part.bpm, part.end_s)


def strongest(onsets: Onsets, page: Page) -> Onsets:
    """The onsets without those that a stronger neighbour explains: echoes, the ring of a rim, graces.

    A neighbour is nearer than GHOST_S and than the page's own strokes ever come.
    """
    gaps = np.diff(page.at_s)
    reach = min(GHOST_S, 0.45 * float(gaps.min())) if len(gaps) else GHOST_S
    times, strength = onsets.times_s, onsets.strengths
    keep = np.ones(len(times), bool)
    for step in range(1, 4):
        close = times[step:] - times[:-step] < reach
        keep[step:] &= ~(close & (strength[:-step] >= strength[step:]))
        keep[:-step] &= ~(close & (strength[:-step] < strength[step:]))
        after = times[step:] - times[:-step] < ECHO_S
        keep[step:] &= ~(after & (strength[step:] < ECHO_SHARE * strength[:-step]))
    return only(onsets, keep)


def only(onsets: Onsets, keep: NDArray[np.bool_]) -> Onsets:
    """The onsets for which keep, shape (n,), is true."""
    return replace(onsets, **{part.name: getattr(onsets, part.name)[keep] for part in fields(onsets)})


def pair_up(heard: Array, due: Array, window_s: float = WINDOW_S) -> tuple[Ints, Ints]:
    """Indices (into heard, into due) of pairs that are each other's nearest within window_s; both sorted."""
    if not len(heard) or not len(due):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    to_heard = _nearest(due, heard)
    to_due = _nearest(heard, due)
    ours = np.arange(len(due))
    good = (to_due[to_heard] == ours) & (np.abs(heard[to_heard] - due) <= window_s)
    return to_heard[good], ours[good]


def _nearest(values: Array, among: Array) -> Ints:
    right = np.clip(np.searchsorted(among, values), 1, max(1, len(among) - 1))
    if len(among) == 1:
        return np.zeros(len(values), np.int64)
    left = right - 1
    nearer: Ints = np.where(values - among[left] <= among[right] - values, left, right)
    return nearer

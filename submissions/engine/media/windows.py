"""Which short stretches of the picture to decode at full rate: where the sound has strokes that cannot be mistaken.

A stretch of even strokes fits the motion at every stroke's distance, so stretches with uneven strokes, and above all the
first strokes after silence, are worth more. The share of the picture decoded falls with its size, to keep the cost down.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..facts import ContainerFacts, Samples
from .packets import PictureTable

HOP_S = 0.010  # envelope step: finer than any camera's frames
WINDOW_S = 3.0  # long enough for several strokes
# Chosen from the cost limits (0.30 of a full decode at 1080p30, 0.10 at 4K60, sparse frames and sound included):
# windows may cover this share of the picture, at most MAX_TOTAL_S in all; short takes are cheap and get more.
SHARE_SMALL, SHARE_LARGE = 0.14, 0.035
LARGE_RATE = 3840 * 2160 * 30  # pixels a second from which a take counts as large
MIN_SMALL_S, MIN_LARGE_S, MAX_TOTAL_S = 9.0, 2.0, 12.0


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of container time."""

    start_s: float
    end_s: float


@dataclass
class Envelope:
    """Loudness of the sound in steps of HOP_S, collected block by block."""

    levels: list[NDArray[np.float64]] = field(default_factory=list)
    rest: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def add(self, block: Samples, rate: int) -> None:
        hop = max(1, round(rate * HOP_S))
        loud = np.concatenate([self.rest, np.diff(block.astype(np.float64).sum(axis=1), prepend=0.0) ** 2])
        whole = len(loud) // hop * hop
        self.levels.append(loud[:whole].reshape(-1, hop).sum(axis=1))
        self.rest = loud[whole:]

    def rises(self) -> NDArray[np.float64]:
        """How much louder each step is than the ones before, in log units, never negative."""
        level = np.concatenate(self.levels) if self.levels else np.zeros(0)
        if len(level) < 8:
            return np.zeros(0)
        log = np.log10(level + 1e-3 * level.max() + 1e-12)
        before = np.maximum(log[:-2], log[1:-1])
        return np.concatenate([[0.0, 0.0], np.maximum(log[2:] - before, 0.0)])


def choose_windows(envelope: Envelope, facts: ContainerFacts, table: PictureTable) -> list[Window]:
    """At most a few windows in container time, best first chosen, returned in order of time."""
    rises = envelope.rises()
    shown = table.times_s[table.shown]
    start, end = float(shown.min()), float(shown.max())
    zero = facts.sound_start_s or 0.0
    total = _total_s(facts)
    length = min(WINDOW_S, total)
    if len(rises) == 0 or end - start < 0.5:
        return [Window(start, min(end, start + total))] if end > start else []
    if end - start <= total:
        return [Window(start, end)]
    steps = max(1, round(length / HOP_S))
    starts = np.arange(0, max(1, len(rises) - steps), max(1, steps // 6))
    scores = [(_score(rises[s : s + steps]), int(s)) for s in starts]
    chosen: list[Window] = []
    for score, s in sorted(scores, reverse=True):
        at = zero + s * HOP_S
        window = Window(max(start, at), min(end, at + length))
        if score <= 0 or window.end_s - window.start_s < 0.5 * length:
            continue
        if all(window.start_s >= w.end_s or window.end_s <= w.start_s for w in chosen):
            chosen.append(window)
        if (len(chosen) + 1) * length > total + 1e-6:
            break
    return sorted(chosen, key=lambda w: w.start_s)


def _total_s(facts: ContainerFacts) -> float:
    rate = (facts.width or 0) * (facts.height or 0) * (facts.fps or 30.0)
    large = rate > LARGE_RATE
    share, least = (SHARE_LARGE, MIN_LARGE_S) if large else (SHARE_SMALL, MIN_SMALL_S)
    return float(np.clip(share * facts.duration_s, least, MAX_TOTAL_S))


def _score(rises: NDArray[np.float64]) -> float:
    """Strength of the strokes times how badly they fit themselves at any shift of 60 to 450 ms."""
    strokes = np.where(rises > 0.5, np.minimum(rises, 2.0), 0.0)  # half a decade: a stroke, not a ripple of noise
    energy = float(strokes @ strokes)
    if np.count_nonzero(strokes) < 2:
        return 0.0
    soft = np.convolve(strokes, [0.5, 1.0, 0.5])
    shifts = range(round(0.06 / HOP_S), round(0.45 / HOP_S))
    own = max(float(soft[s:] @ soft[:-s]) for s in shifts) / float(soft @ soft)
    return float(np.sqrt(min(energy, 40.0)) * (1.02 - min(own, 1.0)))

"""Written strokes and heard ones brought together: each at most once, in order, the likeliest whole.

Conventions: times in seconds of file time; evidence and scores in nats (natural logarithms of likelihood ratios).

The written strokes are taken in order, and so are the candidates; a path through both says of each written stroke
which candidate it was, or that it is missing, and of each candidate whether it was written, extra, or nothing at
all. The best path is found exactly, by dynamic programming. What counts: how clearly a candidate was struck, how
far it lies from where it was due, how well its distance from the stroke before fits, and what a missing or an extra
stroke costs. Wide windows do no harm so, because a neighbour's stroke is wanted by the neighbour.
"""

from bisect import bisect_left
from dataclasses import dataclass
from math import exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

REACH_SPREADS = 4.0  # how far from its place a stroke is looked for, in spreads ...
LEAST_REACH_S, MOST_REACH_S = 0.050, 0.150  # ... within these: beginners' worst strokes lie about 0.1 away
OUTLIER_SHARE = 0.05  # strokes that lie anywhere within reach: stumbles
MISSED_COST = (
    4.5  # one in ninety: beginners leave out more, good players less; at one in thirty masked strokes are given up
)
MOST_MISSED_COST = 25.0  # of a whole stretch: a take may begin late, stop early or pause for bars
EXTRA_COST = 4.5  # what an unwritten stroke must overcome, candidate by candidate
CORRELATION = 0.3  # of neighbouring deviations: 130 performances of an open data set of drummers to a metronome
NEVER = -1e9
GESTURE_S = 0.13  # strokes nearer than this are played in one gesture and keep their distance better


@dataclass(frozen=True)
class Paired:
    """For each written event the index of its candidate, -1 where it was missed."""

    of_event: NDArray[np.int64]
    gain: float  # nats over hearing nothing of the part


def pair(due_s: Array, heard_s: Array, evidence: Array, spread_s: float) -> Paired:
    """The likeliest pairing of events due at due_s with candidates at heard_s, both sorted; shapes (n,) and (m,).

    evidence (m,) is how clearly each candidate is a stroke; spread_s the standard deviation of heard minus due.
    """
    path = _Path(due_s.tolist(), heard_s.tolist(), evidence.tolist(), spread_s)
    for event in range(len(path.due)):
        path.extend(event)
    return path.trace()


_Tie = tuple[float, float, float]  # correlation of two deviations, one less its square, minus half the log of that


def _tie(steps: int, gap_s: float) -> _Tie:
    """How the deviations of two events hang together."""
    r = float(CORRELATION**steps)
    if gap_s < GESTURE_S:
        r = max(r, 1 - 0.5 * gap_s / GESTURE_S)
    rest = 1 - r * r
    return r, rest, -0.5 * log(rest)


class _Path:
    """The best path to every (event, candidate): its score, and where it came from."""

    def __init__(self, due: list[float], heard: list[float], evidence: list[float], spread_s: float) -> None:
        self.due, self.heard, self.evidence, self.spread_s = due, heard, evidence, spread_s
        self.reach_s = min(MOST_REACH_S, max(LEAST_REACH_S, REACH_SPREADS * spread_s))
        self.extra = [0.0]  # what the candidates before this one are worth as extra strokes
        for nats in evidence:
            self.extra.append(self.extra[-1] + max(nats - EXTRA_COST, 0.0))
        self.reached: list[list[tuple[int, float, tuple[int, int]]]] = []  # per event (candidate, score, came from)
        # Best over all events so far: by what it costs to miss each event since, and by what a whole stretch costs.
        self.settled: list[tuple[float, tuple[int, int]]] = []
        self.rested: list[tuple[float, tuple[int, int]]] = []

    def extend(self, event: int) -> None:
        """Every candidate within reach of this event, with the best way to it."""
        due = self.due[event]
        here: list[tuple[int, float, tuple[int, int]]] = []
        before: list[tuple[int, _Tie]] = []  # the events that a candidate may share its reach with, the nearest first
        while len(before) < event and due - self.due[event - 1 - len(before)] <= 2 * self.reach_s:
            k = event - 1 - len(before)
            before.append((k, _tie(event - k, due - self.due[k])))
        low = bisect_left(self.heard, due - self.reach_s)
        high = bisect_left(self.heard, due + self.reach_s)
        for j in range(low, high):
            late = self.heard[j] - due
            best, origin = self._best_way(event, j, late, before)
            here.append((j, best + self.evidence[j] + self._nearness(late), origin))
        self.reached.append(here)
        tops = [(score - self.extra[j + 1], (event, n)) for n, (j, score, _) in enumerate(here)]
        top: tuple[float, tuple[int, int]] = max(tops, default=(NEVER, (-1, -1)))
        each = (top[0] + MISSED_COST * event, top[1])
        self.settled.append(max(each, self.settled[-1]) if self.settled else each)
        self.rested.append(max(top, self.rested[-1]) if self.rested else top)

    def _best_way(
        self, event: int, j: int, late: float, before: list[tuple[int, _Tie]]
    ) -> tuple[float, tuple[int, int]]:
        best, origin = self.extra[j] - min(MOST_MISSED_COST, MISSED_COST * event), (-1, -1)
        x = late / self.spread_s
        for k, (r, rest, sharper) in before:
            due = self.due[k]
            for n, (i, score, _) in enumerate(self.reached[k]):
                if i >= j:
                    break
                y = (self.heard[i] - due) / self.spread_s
                # What the deviation before says of this one: ln p(late | before) - ln p(late), bounded for stumbles.
                together = sharper - 0.5 * ((x - r * y) ** 2 / rest - x * x)
                together = 2.0 if together > 2.0 else -3.0 if together < -3.0 else together
                total = score + self.extra[j] - self.extra[i + 1] - MISSED_COST * (event - k - 1) + together
                if total > best:
                    best, origin = total, (k, n)
        k = event - 1 - len(before)
        if k >= 0:  # so far back that no candidate is within reach of both: the best of all is enough
            for (far, where), cost in (
                (self.settled[k], MISSED_COST * (event - 1)),
                (self.rested[k], MOST_MISSED_COST),
            ):
                total = far + self.extra[j] - cost
                if total > best:
                    best, origin = total, where
        return best, origin

    def _nearness(self, late: float) -> float:
        """Log density of a deviation against an even one over the reach: a bell with a floor for stumbles."""
        bell = exp(-0.5 * (late / self.spread_s) ** 2) * 2 * self.reach_s / (self.spread_s * sqrt(2 * pi))
        return log((1 - OUTLIER_SHARE) * bell + OUTLIER_SHARE)

    def trace(self) -> Paired:
        """The best path of all, backwards."""
        out = np.full(len(self.due), -1, np.int64)
        best, at = 0.0, (-1, -1)
        for event, here in enumerate(self.reached):
            left = min(MOST_MISSED_COST, MISSED_COST * (len(self.due) - 1 - event))
            for n, (j, score, _) in enumerate(here):
                total = score - self.extra[j + 1] - left
                if total > best:
                    best, at = total, (event, n)
        while at[0] >= 0:
            j, _, origin = self.reached[at[0]][at[1]]
            out[at[0]] = j
            at = origin
        return Paired(out, best)

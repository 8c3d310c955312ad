"""How far what was heard is from what is true: onset scores by the usual one-to-one matching, and timing errors.

Conventions: times in seconds, windows in seconds and inclusive. Definition of the score: precision, recall and F of a
largest one-to-one matching within the window (mir_eval.onset.f_measure; windows of 25 and 10 ms after Böck, Krebs and
Schedl 2012). On a line with one window for all, taking the earliest free partner gives a largest matching.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..facts import PlayedStroke
from ..music.written import Part
from .truth import Truth

TOGETHER_S = 0.005  # two drums struck at once are one onset: ears need about 2 ms to hear two (Hirsh 1959)
Times = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Score:
    """Counts of one take or of many; they add."""

    matched: int = 0
    true: int = 0
    heard: int = 0

    def __add__(self, other: "Score") -> "Score":
        return Score(self.matched + other.matched, self.true + other.true, self.heard + other.heard)

    @property
    def precision(self) -> float:
        return self.matched / self.heard if self.heard else 0.0

    @property
    def recall(self) -> float:
        return self.matched / self.true if self.true else 0.0

    @property
    def f(self) -> float:
        return 2 * self.matched / (self.true + self.heard) if self.true + self.heard else 0.0


def pairs(true_s: Sequence[float] | Times, heard_s: Sequence[float] | Times, window_s: float) -> list[tuple[int, int]]:
    """A largest one-to-one matching within the window, as (index of true, index of heard) in order of time."""
    true, heard = np.asarray(true_s, float), np.asarray(heard_s, float)
    order_t, order_h = np.argsort(true, kind="stable"), np.argsort(heard, kind="stable")
    out, n, m = [], 0, 0
    while n < len(true) and m < len(heard):
        gap = heard[order_h[m]] - true[order_t[n]]
        if abs(gap) <= window_s:
            out.append((int(order_t[n]), int(order_h[m])))
            n, m = n + 1, m + 1
        elif gap > 0:
            n += 1
        else:
            m += 1
    return out


def score(true_s: Sequence[float] | Times, heard_s: Sequence[float] | Times, window_s: float) -> Score:
    """Matched, true and heard counts."""
    return Score(len(pairs(true_s, heard_s, window_s)), len(true_s), len(heard_s))


def merged(times_s: Sequence[float] | Times, within_s: float = TOGETHER_S) -> list[float]:
    """Times with everything that follows the first of its group by less than within_s taken out."""
    out: list[float] = []
    for at in sorted(float(t) for t in times_s):
        if not out or at - out[-1] >= within_s:
            out.append(at)
    return out


def outside_buzzes(truth: Truth, times_s: Sequence[float], keep_first: bool) -> list[float]:
    """Times outside the buzz regions, where strokes are not counted; a buzz's first contact may stay."""
    spans = [(span.start_s, span.end_s) for _, span, _ in truth.buzzes]
    out = []
    for at in times_s:
        inside = any(start + (0.012 if keep_first else -0.012) <= at <= end + 0.03 for start, end in spans)
        if not inside:
            out.append(float(at))
    return out


def onset_score(truth: Truth, heard_s: Sequence[float], window_s: float) -> Score:
    """Score of every stroke heard against every stroke struck; the insides of buzzes and a false start do not count."""
    true = merged(outside_buzzes(truth, [*truth.earlier_s, *truth.strikes_s], True))
    heard = outside_buzzes(truth, heard_s, True)
    if truth.earlier_s:  # whether a broken-off go is listed or not is nobody's mistake
        start = truth.strikes_s[0] - 0.1 if truth.strikes_s else 0.0
        true, heard = [t for t in true if t >= start], [t for t in heard if t >= start]
    return score(true, heard, window_s)


KINDS = ("main", "grace", "inner")


def recall_by_kind(truth: Truth, part: Part, heard_s: Sequence[float], window_s: float) -> dict[str, Score]:
    """Recall of main strokes, graces and inner roll strokes among all that was heard, one heard time each."""
    played = sorted(truth.played, key=lambda item: item[1])
    found = {played[n][0] for n, _ in pairs([at for _, at in played], heard_s, window_s)}
    out = {kind: Score() for kind in KINDS}
    for index, _ in played:
        kind = {"grace": "grace", "diddle": "inner"}.get(part.strokes[index].kind, "main")
        out[kind] += Score(int(index in found), 1, 0)
    return out


def timing_errors_ms(truth: Truth, strokes: Sequence[PlayedStroke]) -> list[float]:
    """Heard minus true time of every stroke that was both played and found, milliseconds."""
    played = dict(truth.played)
    return [1e3 * (s.played_s - played[s.index]) for s in strokes if s.played_s is not None and s.index in played]

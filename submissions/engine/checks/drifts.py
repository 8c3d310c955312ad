"""Does the player leave the click in the course of the take?"""

from collections.abc import Iterator

import numpy as np

from ..ear.timing import within
from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part
from .noisy import LIMIT_HIDING_DB
from .wrong_tempo import LIMIT as TEMPO_LIMIT

CODE = "drifts"
LIMIT_MS = 50.0  # chosen: more than half a sixteenth at 150 is past nudging; twice the 20-30 ms at which players hear a line apart
MIN_BARS = 4
# A player's bars stray by themselves: a slope must stand out from them. 3.3 standard errors with many bars and more with
# few follow Student's distribution at one in a thousand (8.6 at 4 degrees of freedom, 5.0 at 9; this gives 8.3 and 5.5).
SURE_ERRORS, FEW_BARS = 3.3, 6.0
# Who leaves the click goes one way; who wanders comes back, and comes out somewhere by chance. Bars of steady players lie
# within a tenth of the way about a smooth curve, bars of loose ones a third and more (made takes, seeds under 10 000).
WANDERING_SHARE = 0.22
LEAST_MS2 = 1e-6  # strokes to the microsecond are no player's
FEWEST_BENT, MOST_TIE = 6, 0.9  # strokes for a parabola and three that contradict it; a series tied more is no series


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    bars = [row for row in facts.timing.by_bar if row[3] >= 2]
    if len(bars) < MIN_BARS:  # sparse parts: single strokes
        bars = list(facts.timing.by_bar)
    own_tempo = abs(facts.zero.tempo_ratio - 1) > TEMPO_LIMIT
    if len(bars) < MIN_BARS or (own_tempo and not _leaves_little_by_little(facts)):
        return
    quarter = max(1, len(bars) // 4)
    early = sorted(row[1] for row in bars[:quarter])[quarter // 2]
    late = sorted(row[1] for row in bars[-quarter:])[quarter // 2]
    away = late - early
    if abs(away) >= LIMIT_MS and (own_tempo or facts.zero.path or _stands_out([row[1] for row in bars])):
        way = "falls behind" if away > 0 else "runs ahead"
        certain = (own_tempo or not _wanders([row[1] for row in bars], away)) and facts.level.strokes_over_noise_db >= LIMIT_HIDING_DB
        yield Finding(
            CODE,
            Level.REDO if certain else Level.LOOK,
            f"The playing {way}: by the end it is {abs(away):.0f} ms from where it began.",
            "Turn the click up until you can hear it over the drum (not louder than you need), and listen to it through the long notes.",
        )


def _leaves_little_by_little(facts: TakeFacts) -> bool:
    """Whether one other tempo is only the mean of a tempo that begins near the click's and goes on changing.

    A parabola through the deviations: its bend must stand out from its own standard error, and the tempo at its
    beginning must lie nearer to the click's than to the mean. Neighbours' deviations hang together, so that so many
    strokes count as fewer (a series of first order).
    """
    pairs = {p.written_s: p.late_ms for p in facts.strokes.strokes if p.kind != "grace" and p.late_ms is not None}
    if len(pairs) < FEWEST_BENT:
        return False
    at, late = np.array(sorted(pairs.items())).T
    at = at - at.mean()
    curve = np.stack([np.ones_like(at), at, at**2], axis=1)
    kept = np.ones(len(at), bool)
    for _ in range(3):
        fitted = np.linalg.lstsq(curve[kept], late[kept], rcond=None)[0]
        kept = within(late - curve @ fitted)
    rest = (late - curve @ fitted)[kept]
    free = len(rest) - 3
    if free < FEWEST_BENT - 3:
        return False
    tie = float(np.clip(np.mean(rest[1:] * rest[:-1]) / max(np.mean(rest**2), LEAST_MS2), 0, MOST_TIE))
    variance = max(np.sum(rest**2), LEAST_MS2) / free * (1 + tie) / (1 - tie)
    error = float(np.sqrt(variance * np.linalg.inv(curve[kept].T @ curve[kept])[2, 2]))
    begins = fitted[1] + 2 * fitted[2] * at[0]
    return bool(abs(fitted[2]) > SURE_ERRORS * (1 + FEW_BARS / free) * error and abs(begins) < 0.5 * abs(fitted[1]))


def _wanders(late_ms: list[float], away_ms: float) -> bool:
    """Whether the bars' means lie far about any steady change of tempo (a parabola), against the way they came."""
    bars = np.arange(len(late_ms))
    rest = np.array(late_ms) - np.polyval(np.polyfit(bars, late_ms, 2), bars)
    return bool(np.sqrt(np.sum(rest**2) / (len(bars) - 3)) > WANDERING_SHARE * abs(away_ms))


def _stands_out(late_ms: list[float]) -> bool:
    """Whether the slope of a straight line through the bars' means is more than their own scatter makes."""
    count = len(late_ms)
    middle, mean = (count - 1) / 2, sum(late_ms) / count
    square = sum((n - middle) ** 2 for n in range(count))
    slope = sum((n - middle) * (late - mean) for n, late in enumerate(late_ms)) / square
    rest = sum((late - mean - slope * (n - middle)) ** 2 for n, late in enumerate(late_ms)) / (count - 2)
    return bool(abs(slope) > SURE_ERRORS * (1 + FEW_BARS / (count - 2)) * (rest / square) ** 0.5)

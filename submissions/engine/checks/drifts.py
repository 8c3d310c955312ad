"""Does the player leave the click in the course of the take?"""

from collections.abc import Iterator

import numpy as np

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


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    bars = [row for row in facts.timing.by_bar if row[3] >= 2]
    if len(bars) < MIN_BARS:  # sparse parts: single strokes
        bars = list(facts.timing.by_bar)
    if len(bars) < MIN_BARS or abs(facts.zero.tempo_ratio - 1) > TEMPO_LIMIT:
        return
    quarter = max(1, len(bars) // 4)
    early = sorted(row[1] for row in bars[:quarter])[quarter // 2]
    late = sorted(row[1] for row in bars[-quarter:])[quarter // 2]
    away = late - early
    if abs(away) >= LIMIT_MS and (facts.zero.path or _stands_out([row[1] for row in bars])):
        way = "falls behind" if away > 0 else "runs ahead"
        certain = not _wanders([row[1] for row in bars], away) and facts.level.strokes_over_noise_db >= LIMIT_HIDING_DB
        yield Finding(
            CODE,
            Level.REDO if certain else Level.LOOK,
            f"The playing {way}: by the end it is {abs(away):.0f} ms from where it began.",
            "Turn the click up until you can hear it over the drum (not louder than you need), and listen to it through the long notes.",
        )


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

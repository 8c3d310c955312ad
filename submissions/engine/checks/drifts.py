"""Does the player leave the click in the course of the take?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part
from .wrong_tempo import LIMIT as TEMPO_LIMIT

CODE = "drifts"
LIMIT_MS = 50.0  # chosen: more than half a sixteenth at 150 is past nudging; twice the 20-30 ms at which players hear a line apart
MIN_BARS = 4


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    bars = [row for row in facts.timing.by_bar if row[3] >= 2]
    if len(bars) < MIN_BARS or abs(facts.zero.tempo_ratio - 1) > TEMPO_LIMIT:
        return
    quarter = max(1, len(bars) // 4)
    early = sorted(row[1] for row in bars[:quarter])[quarter // 2]
    late = sorted(row[1] for row in bars[-quarter:])[quarter // 2]
    away = late - early
    if abs(away) >= LIMIT_MS:
        way = "falls behind" if away > 0 else "runs ahead"
        yield Finding(
            CODE,
            Level.REDO,
            f"The playing {way}: by the end it is {abs(away):.0f} ms from where it began.",
            "Turn the click up until you can hear it over the drum (not louder than you need), and listen to it through the long notes.",
        )

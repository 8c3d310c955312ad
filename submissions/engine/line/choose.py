"""Which takes of a part are best, and why: an order and its reasons, for an editor to overrule."""

from dataclasses import dataclass

# What a nudge cannot mend counts most. Points are the project's choice; the reasons are shown, never the points.
POINTS_A_MISSED_SHARE = 400.0  # one stroke in a hundred missing weighs as much as 4 ms of spread
POINTS_UNSURE = 15.0
POINTS_LOOK, POINTS_REDO = 10.0, 60.0
NOTICEABLE_MS = 6.0  # Friberg & Sundberg 1995: smaller displacements are not noticed below 240 ms between strokes


@dataclass(frozen=True, slots=True)
class Candidate:
    """What the order is made from; one take of the part."""

    key: int
    verdict: str
    written: int
    missed: int
    extra: int
    spread_ms: float | None
    bias_ms: float | None
    zero_sure: bool
    height: int | None


@dataclass(frozen=True, slots=True)
class Ranked:
    """A take with its place (from 1) and the reasons for it, sentences short enough for a list."""

    key: int
    place: int
    reasons: tuple[str, ...]


def rank(candidates: list[Candidate]) -> list[Ranked]:
    """Best first; equal takes keep the order in which they came."""
    ordered = sorted(candidates, key=_points)
    return [Ranked(c.key, place, reasons(c)) for place, c in enumerate(ordered, 1)]


def _points(take: Candidate) -> float:
    spread = take.spread_ms if take.spread_ms is not None else 40.0
    points = max(spread, NOTICEABLE_MS)
    if take.written:
        points += POINTS_A_MISSED_SHARE * (take.missed + 0.5 * take.extra) / take.written
    points += 0.0 if take.zero_sure else POINTS_UNSURE
    points += {"ready": 0.0, "look": POINTS_LOOK}.get(take.verdict, POINTS_REDO)
    return points - min(take.height or 0, 1080) / 1080  # of two equal takes the larger picture


def reasons(take: Candidate) -> tuple[str, ...]:
    """What speaks for and against the take, in the order of weight."""
    out = []
    if take.written:
        out.append("every stroke is there" if not take.missed else f"{take.missed} of {take.written} strokes missing")
    if take.extra:
        out.append(f"{take.extra} strokes too many")
    if take.spread_ms is not None:
        out.append(f"strokes within {take.spread_ms:.0f} ms of even")
    if take.bias_ms is not None and abs(take.bias_ms) >= NOTICEABLE_MS:
        out.append(f"sits {abs(take.bias_ms):.0f} ms {'after' if take.bias_ms > 0 else 'before'} the click, a nudge mends it")
    if not take.zero_sure:
        out.append("where bar 1 begins is not certain")
    return tuple(out)

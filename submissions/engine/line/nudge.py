"""How far a pick should be moved so that it sits with the click."""

NOTICEABLE_MS = 6.0  # Friberg & Sundberg 1995: the least displacement that is noticed
LARGEST_MS = 60.0  # chosen: more than that is a mistake to look at, not a nudge


def suggest(bias_ms: float | None) -> float | None:
    """The nudge in ms that takes a constant bias out (negative plays the take earlier); None: leave it alone."""
    if bias_ms is None or not NOTICEABLE_MS <= abs(bias_ms) <= LARGEST_MS:
        return None
    return round(-bias_ms, 1)

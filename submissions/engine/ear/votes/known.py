"""Whether the strokes alone know where zero is.

Conventions: as in `ballot`.
"""

from .ballot import SAME_TEMPO, Hypothesis

SURE_GAP = 8.0  # nats between the best and the next hypothesis
SURE_SUPPORT = 0.5
SURE_SD_S = 0.0053  # nearly four of them lie within the 20 ms past which a zero must be called unsure
SURE_BOTH = 0.75  # at another tempo: share of the page found and share of what was heard explained, both ...
SURE_SPREAD_S = 0.020  # ... and lying tight; with a tempo to choose, many pages lie somehow on many others


def gap(ballot: list[Hypothesis]) -> float:
    """Nats between the best hypothesis and the next."""
    return ballot[0].gain - (ballot[1].gain if len(ballot) > 1 else 0.0)


def is_sure(best: Hypothesis) -> bool:
    """Whether a hypothesis of the strokes alone can be trusted by itself."""
    if best.support <= SURE_SUPPORT or best.sd_s > SURE_SD_S:
        return False
    tight = best.spread_s < SURE_SPREAD_S and min(best.support, best.explained) > SURE_BOTH
    return tight or abs(best.stretch - 1) < SAME_TEMPO


def know_place(ballot: list[Hypothesis]) -> bool:
    """Whether the best hypothesis stands alone and can be trusted by itself."""
    return bool(ballot) and gap(ballot) > SURE_GAP and is_sure(ballot[0])

"""The mean deviation of what was heard from the page, and how far it may lie from the mean of what was played.

Conventions: deviations are heard less due, seconds. The aim is the mean of all that was played, not of a player's
habit: that a player's deviations wander (1/f) moves both alike. What keeps the two apart is what was not found, what
was taken for a neighbour, and attacks that are heard late. A foot is hidden for as long as the attack takes to pass
what rang before it, so the hidden share of an attack that stands R dB over it is 10 ** (-R / 20); it is never heard
early for that.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HIDDEN_S = 0.016  # a snare's wires answer about so long after its head, and are heard where the head is hidden
UNSEEN_S = 0.001  # what is left of that; as WIDE_SPREAD_S fitted to 149 made takes, half of them real hits
FOOT_SD_S = 0.82e-3  # of all feet together: drums that grow, and what is left of a coder's smear; fitted to 479 more takes
FOUND_SHARE = 0.26  # of the standard error of a mean: strokes found are mostly right ...
MOSTLY = 0.5  # ... so that half of it stays where nothing is missed
LOST_SHARE = 0.65  # strokes not found lie to one side by this much of the spread; as FOUND_SHARE fitted to 271 more takes
LINE_SHARE = 1.7  # a line's begin is known sqrt(3) times worse than its mean
WIDE_SPREAD_S = 0.024  # a beginner's; the spread of chance hits alone is 0.055
LEAST = 8  # strokes


def robust_mean(late: Array, width: float = 2.5) -> tuple[float, float]:
    """(mean, spread) of deviations, Huber's estimate with the spread from the median absolute deviation."""
    centre = median(late)
    for _ in range(8):
        away = np.abs(late - centre)
        spread = max(1.4826 * median(away), 1e-4)
        weight = np.minimum(1.0, width * spread / np.maximum(away, 1e-9))
        before, centre = centre, float(weight @ late) / float(weight.sum())
        if abs(centre - before) < 1e-6:
            break
    return centre, spread


def median(values: Array) -> float:
    """The median; numpy's own costs several times as much for a few hundred values."""
    ordered = np.sort(values)
    return 0.5 * float(ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2])


def heard_late(late: Array, attack_db: Array, spread: float) -> tuple[float, float]:
    """(how much of the mean is attacks heard late, standard deviation of what is left of that), seconds.

    The half of softer attacks against the half of sharper ones; the less so the worse either half is known.
    """
    hidden = 10 ** (-np.maximum(attack_db, 0.0) / 20)
    unseen = UNSEEN_S * float(hidden.mean())
    sharp = attack_db > median(attack_db)
    if min(int(sharp.sum()), int((~sharp).sum())) < LEAST:
        return 0.0, unseen
    later = max(0.0, robust_mean(late[~sharp])[0] - robust_mean(late[sharp])[0])
    due = (HIDDEN_S * float(hidden[~sharp].mean())) ** 2
    chance = spread**2 * (1 / float(sharp.sum()) + 1 / float((~sharp).sum()))
    return 0.5 * later * due / (due + chance), unseen


def standard_error(late: Array, spread: float, lost: float, given: bool) -> float:
    """Of the mean of all that was played (given), or of where a line fitted to it begins; neighbours are alike.

    late: what was matched; spread: theirs; lost: share of the page that was not. Where they lie wide, many have been
    taken for their neighbours.
    """
    n = len(late)
    if n < LEAST:
        return max(spread, 0.01)
    centred = np.clip(late - late.mean(), -3 * spread, 3 * spread)
    total = float(np.sum(centred**2))
    lag = float(np.sum(centred[1:] * centred[:-1]) / total) if total > 0 else 0.0
    lag = float(np.clip(lag, 0.0, 0.9))
    mean_sd = spread / np.sqrt(n) * np.sqrt((1 + lag) / (1 - lag))
    wide = max(1.0, spread / WIDE_SPREAD_S) ** 3
    if not given:
        return float(np.hypot(LINE_SHARE * wide * mean_sd, FOOT_SD_S))
    own = np.hypot(FOUND_SHARE * mean_sd * np.sqrt(MOSTLY + lost), LOST_SHARE * lost * spread)
    return float(np.hypot(wide * own, FOOT_SD_S))

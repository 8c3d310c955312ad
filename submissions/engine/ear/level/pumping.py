"""How far a phone's automatic gain moves: the noise of the room comes up when nobody plays.

Conventions: levels in dB; frames are groups of those of novelty.py; times in seconds of file time.

Ring and room can only add to the noise between strokes, never take from it. Noise that lies lower between strokes than
in the pauses has therefore been turned down: the measure errs to the small side and keeps still where the room is
louder than the noise. The upper bands are asked, because drums and rooms fade there first.
"""

import numpy as np
from numpy.typing import NDArray

from ..struck.novelty import HOP_S, Novelty

Array = NDArray[np.float64]

UPPER_SHARE = 0.6  # bands from here up: over 1.5 kHz
GROUP = 8  # 20 ms of frames: enough of them for a steady mean power
PLAYING_S = (0.06, 0.5)  # after a stroke: its attack is over, the gain is still down
PAUSE_S = 1.2  # after the last stroke: phones let go within about a second (common practice, no source)
BEFORE_NEXT_S = (0.02, 0.05)  # kept from the next stroke, in playing and in a pause
LEAST_GROUPS = 25
# Gaps in the playing are many and short, so their quietest tell the noise; talk and clicks fill most of a pause.
PLAYING_QUANTILE, PAUSE_QUANTILE = 0.05, 0.1
DEAD = 1e-13  # digital silence is no noise


def pumping_db(novelty: Novelty, heard_s: tuple[float, ...]) -> float:
    """Level of the noise in the pauses over that between strokes, 0 where it cannot be told or is no higher."""
    struck = np.sort(np.array(heard_s))
    bands = novelty.power.shape[1]
    count = len(novelty.power) // GROUP
    if len(struck) < 8 or count < 2 * LEAST_GROUPS:
        return 0.0
    upper = novelty.power[: count * GROUP, int(UPPER_SHARE * bands) :].sum(axis=1, dtype=np.float64)
    power = upper.reshape(count, GROUP).mean(axis=1)
    at = (np.arange(count) + 0.5) * GROUP * HOP_S
    place = np.searchsorted(struck, at)
    since = at - np.concatenate([[-np.inf], struck])[place]
    until = np.concatenate([struck, [np.inf]])[place] - at
    alive = power > DEAD
    alive[[0, -1]] = False  # where the file begins and ends its coder may fade
    playing = alive & (since > PLAYING_S[0]) & (since < PLAYING_S[1]) & (until > BEFORE_NEXT_S[0])
    pause = alive & (since > PAUSE_S) & (until > BEFORE_NEXT_S[1])
    if min(np.count_nonzero(playing), np.count_nonzero(pause)) < LEAST_GROUPS:
        return 0.0
    between, still = np.quantile(power[playing], PLAYING_QUANTILE), np.quantile(power[pause], PAUSE_QUANTILE)
    return max(0.0, 10 * float(np.log10(still / between)))

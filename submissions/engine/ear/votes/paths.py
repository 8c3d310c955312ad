"""Where a player who leaves the click goes: one path through the whole take, not one offset and not one tempo.

Conventions: as in `ballot`. `late` is how far the playing lies after the page at (zero, stretch), seconds. A path is
told at knots: (written time, late), straight between them, level outside.

Each second of the page is laid on the recording at every offset within REACH_S; the likeliest sequence of offsets is
found by dynamic programming over (offset, speed): a player's speed against the click changes little by little, so
that past half a sixteenth the neighbour's place is no way out.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from .page import Page

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP_S = 0.005
REACH_S = 0.8
WINDOW_S = 1.0  # of the page; some strokes, and too short to leave the click in
BLUR_S = 0.016  # a player's spread about their own path
HIT = 0.95
FASTEST = 14  # steps of STEP_S in WINDOW_S: 7 per cent
TURN_COST = 2.0  # nats for each step by which the speed changes from one second to the next
AWAY_COST = 0.3  # nats for each step of speed at the beginning: who plays to a click begins with it
PUSH_S = 0.040  # how far from the given zero the path begins
WIDE_PUSH_S = 0.300  # ... where that zero is the strokes' own: a line through a drift begins beside it
LEAST_GAIN = 25.0  # nats over the best straight line; takes of good players stay under 12, loose ones reach 31
LEAST_AWAY_S = 0.050
OWN_AWAY_S = 0.100  # where zero itself is the strokes' own: loose playing wanders by 70 ms
OTHER_TEMPO = 0.004  # under this a tempo of the strokes' own is nothing but a line through a drift
OVER_TEMPO = 15.0  # nats by which a path must be better than one other tempo, having more to choose
SMOOTH = np.array([0.25, 0.5, 0.25])  # knots lie on whole steps


@dataclass(frozen=True)
class Path:
    """How late the playing is along the page, and how much likelier than staying with the click."""

    at_s: Array  # knots, written time
    late_s: Array
    nats: float
    gain: float  # nats over the best path without any speed

    def leaves(self, least_away_s: float = LEAST_AWAY_S) -> bool:
        """Whether the player goes away from the click for certain, and as far as can be heard."""
        return self.gain > LEAST_GAIN and float(np.ptp(self.late_s)) > least_away_s

    @property
    def knots(self) -> tuple[tuple[float, float], ...]:
        return tuple(zip(self.at_s.tolist(), self.late_s.tolist(), strict=True))


def begin_with_click(path: Path, zero_s: float, stretch: float) -> tuple[float, float, Path]:
    """(zero, its uncertainty, path from there) of a path about a zero and stretch that the strokes alone gave.

    Who drifts away from the click has begun with it: the parabola through the path that is level at its beginning.
    """
    late = path.late_s + (stretch - 1) * path.at_s
    curve = path.at_s**2
    bow, level = np.polyfit(curve, late, 1)
    free = float(np.polyfit(path.at_s, late, 2)[2])
    rest = float(np.std(late - level - bow * curve))
    moved = replace(path, late_s=late - float(level))
    return zero_s + float(level), max(abs(free - float(level)), rest), moved


def follow_path(heard: Array, page: Page, zero_s: float, stretch: float, push_s: float = PUSH_S) -> Path | None:
    """The likeliest path of the playing about (zero_s, stretch), or None where too little is written or heard."""
    if len(heard) < 8 or len(page) < 8 or page.end_s < 4 * WINDOW_S:
        return None
    scores, centres = _scores(heard, page, zero_s, stretch)
    offsets = (np.arange(scores.shape[1]) - scores.shape[1] // 2) * STEP_S
    prior = -0.5 * (offsets / push_s) ** 2
    best, states = _best_path(scores, prior)
    straight = float((scores.sum(axis=0) + prior).max())
    late = np.convolve(np.pad(offsets[states], 1, mode="reflect", reflect_type="odd"), SMOOTH, mode="valid")
    ends = np.array([centres[0] - WINDOW_S / 2, *centres, centres[-1] + WINDOW_S / 2])
    late = np.pad(late, 1, mode="reflect", reflect_type="odd")
    late[[0, -1]] = 0.5 * (late[[0, -1]] + late[[1, -2]])
    return Path(ends, late, best, best - straight)


def beats_tempo(path: Path, heard: Array, page: Page, zero_s: float, stretch: float, ratio: float) -> bool:
    """Whether the path explains the playing better than the one other tempo that the strokes found."""
    if abs(stretch / ratio - 1) < OTHER_TEMPO:
        return True
    scores, _ = _scores(heard, page, zero_s, stretch)
    return path.nats > float(scores.sum(axis=0).max()) + OVER_TEMPO


def _scores(heard: Array, page: Page, zero_s: float, stretch: float) -> tuple[Array, Array]:
    """(nats of each window at each offset, (windows, offsets); written time of the windows' middles)."""
    reach = round(REACH_S / STEP_S)
    first_s = min(heard[0], zero_s + stretch * page.at_s[0]) - REACH_S - 1.0
    last_s = max(heard[-1], zero_s + stretch * page.at_s[-1]) + REACH_S + 1.0
    size = int((last_s - first_s) / STEP_S) + 2
    train = np.bincount(np.round((heard - first_s) / STEP_S).astype(np.int64), minlength=size).astype(float)
    chance = max(1.0, 0.5 * len(heard) / max(1.0, float(heard[-1] - heard[0])))
    nats = np.log(1 - HIT + HIT * gaussian_filter1d(train / STEP_S, BLUR_S / STEP_S) / chance)
    places = np.round((zero_s + stretch * page.at_s - first_s) / STEP_S).astype(np.int64)
    each = nats[places[:, None] + np.arange(-reach, reach + 1)[None, :]]
    window = np.floor((page.at_s - page.at_s[0]) / WINDOW_S).astype(np.int64)
    scores = np.zeros((int(window[-1]) + 1, 2 * reach + 1))
    np.add.at(scores, window, each)
    return scores, page.at_s[0] + (np.arange(len(scores)) + 0.5) * WINDOW_S


def _best_path(scores: Array, prior: Array) -> tuple[float, Ints]:
    """(nats, offset index of each window) of the likeliest path."""
    count, width = scores.shape
    speeds = np.arange(-FASTEST, FASTEST + 1)
    now = scores[0] + prior + -AWAY_COST * np.abs(speeds)[:, None]
    source = np.arange(width)[None, :] - speeds[:, None]
    walls = np.where((source < 0) | (source >= width), -np.inf, 0.0)
    came_from = np.clip(source, 0, width - 1) + width * np.arange(len(speeds))[:, None]
    reached = [now]
    for n in range(1, count):
        turned = now - TURN_COST
        best = now.copy()
        np.maximum(best[1:], turned[:-1], out=best[1:])
        np.maximum(best[:-1], turned[1:], out=best[:-1])
        now = np.take(best, came_from)
        now += walls
        now += scores[n]
        reached.append(now)
    speed, at = (int(k) for k in np.unravel_index(int(np.argmax(now)), now.shape))
    total = float(now[speed, at])
    states = np.zeros(count, np.int64)
    for n in range(count - 1, -1, -1):
        states[n] = at
        if n:
            at -= int(speeds[speed])
            earlier = reached[n - 1][:, at]
            near = range(max(speed - 1, 0), min(speed + 2, len(speeds)))
            speed = max(near, key=lambda k: earlier[k] - (TURN_COST if k != speed else 0.0))
    return total, states


def behind_s(at_s: float, knots: tuple[tuple[float, float], ...]) -> float:
    """How far behind the click the player is at written time at_s, by a path's knots; 0 without any."""
    if not knots:
        return 0.0
    return float(np.interp(at_s, [at for at, _ in knots], [late for _, late in knots]))

"""Sound against picture: by how much the sound is late, from motion around the strokes; None where it cannot be told.

The windows of a take (short stretches at full rate) are cut into blocks, freed of slow light, and split into regions
that move on their own (strikes.py). Fits over all distances give the answer; sudden changes sharpen it (flashes.py).
It is only given when no other distance does nearly as well. All frame times are packet times, so that variable rates
and gaps change nothing.

Sign: positive = the sound is late. ITU-R BT.1359-1 and EBU R37 print the opposite sign.
"""

import numpy as np
from numpy.typing import NDArray

from ..facts import MotionFacts
from ..media import RawTake
from .flashes import Agreement, agreement
from .picture import shows_nothing
from .strikes import distances, likelihoods, parts

Floats = NDArray[np.float64]

DARK_LUMA = 20.0  # below it the grain moves more than the hands
BLOCK = 4  # pixels: a window frame of 160 x 90 becomes 40 x 22 blocks
FEWEST_FRAMES, FEWEST_STROKES = 45, 5  # below them a fit can be luck
APART_S = 0.055  # another answer counts when it is further away than this
# Chosen on rehearsal clips of some seeds and checked on others (docs/eye.md): share of the likelihood over the usual
# one by which the best distance must lead every other one.
LEAD = 0.28
LEAST = 60.0  # log likelihood over the usual one: far above what chance gives in 1,000 fits
REACH_ALONE_S, SHARE_ALONE = 0.25, 0.5  # sudden changes without a fit: most strokes must have one
REACH_NEAR_S, SHARE_NEAR = 0.09, 0.2  # beside a fit: enough that they are no accident
SAME, SAME_SHARE = 0.10, 0.7  # strokes this alike in distance, as a share of all distances, are even
HALF_CONTENT = 0.8  # chance makes a whole; it does not make both halves
SURE_S = 0.020  # shapes that fit nearly as well may not disagree by more


def measure_motion(raw: RawTake, heard_s: tuple[float, ...]) -> MotionFacts:
    """How late the sound is at the strokes heard (file time, seconds)."""
    at_s, logs, first = _logs_of(raw)
    heard = _near(np.asarray(sorted(heard_s), float), at_s)
    if len(at_s) < 8 or len(heard) == 0:
        return MotionFacts()
    fitted = _by_strikes(logs, first, at_s, heard) if _shows_something(raw) else None
    sharp = None
    if _even(heard) and float(np.median(np.diff(heard))) < 2 * REACH_ALONE_S:
        pass  # a light for each of quick even strokes fits at every stroke's distance
    elif fitted is None:
        sharp = agreement(logs, first, at_s, heard, 0.0, REACH_ALONE_S, SHARE_ALONE)
    else:
        sharp = agreement(logs, first, at_s, heard, fitted[0], REACH_NEAR_S, SHARE_NEAR)
    return _facts(fitted, sharp)


def _shows_something(raw: RawTake) -> bool:
    """Whether most of the windows show more than darkness or a plain patch, whose noise could be taken for motion."""
    looked = [frame.gray for window in raw.windows for frame in window[::10]]
    return bool(looked) and float(np.mean([g.mean() < DARK_LUMA or shows_nothing(g) for g in looked])) < 0.5


def _facts(fitted: tuple[float, float] | None, sharp: Agreement | None) -> MotionFacts:
    if sharp is not None:
        return MotionFacts(1000 * sharp.late_s, 1000 * sharp.sd_s)
    return MotionFacts(1000 * fitted[0], 1000 * fitted[1]) if fitted is not None else MotionFacts()


def _logs_of(raw: RawTake) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """File times of all window frames, log brightness of their blocks, and which frames begin a window."""
    windows = [w for w in raw.windows if len(w) >= 4 and w[0].gray.shape == raw.windows[0][0].gray.shape]
    windows = [tuple(f for f in w if f.gray.shape == w[0].gray.shape) for w in windows]
    if not windows:
        return np.zeros(0), np.zeros((0, 0)), np.zeros(0, bool)
    at_s = np.array([raw.file_s(frame.at_s) for window in windows for frame in window])
    # 8 of 255 is added: noise in the dark must not count as motion.
    logs = [np.log(_blocked(np.stack([f.gray for f in window]).astype(np.float64)) + 8.0) for window in windows]
    first = np.concatenate([np.arange(len(window)) == 0 for window in windows])
    return at_s, np.concatenate(logs), first


def _blocked(stack: Floats) -> Floats:
    count, height, width = stack.shape
    rows, columns = height // BLOCK, width // BLOCK
    cut = stack[:, : rows * BLOCK, : columns * BLOCK].reshape(count, rows, BLOCK, columns, BLOCK)
    return np.asarray(cut.mean(axis=(2, 4)).reshape(count, -1))


def _evened(logs: Floats, first: NDArray[np.bool_]) -> Floats:
    """Each block less its usual brightness in its window, each frame less what changing light adds everywhere."""
    windows = np.split(logs, np.flatnonzero(first)[1:])
    level = np.concatenate([window - np.median(window, axis=0) for window in windows])
    return np.asarray(level - np.median(level, axis=1, keepdims=True))


def _near(heard: Floats, at_s: Floats) -> Floats:
    """Strokes that a frame of the windows could show at some distance looked at."""
    if not len(at_s) or not len(heard):
        return heard[:0]
    place = np.searchsorted(at_s, heard)
    below, above = at_s[np.clip(place - 1, 0, None)], at_s[np.clip(place, None, len(at_s) - 1)]
    gap = np.minimum(np.abs(heard - below), np.abs(heard - above))
    return heard[gap < 0.5]


def _by_strikes(logs: Floats, first: NDArray[np.bool_], at_s: Floats, heard: Floats) -> tuple[float, float] | None:
    """(late, sd) in seconds from the movement of hands, or None when it cannot be told."""
    if len(at_s) < FEWEST_FRAMES or len(heard) < FEWEST_STROKES or _even(heard):
        return None
    courses = parts(_evened(logs, first))
    if not courses.shape[1]:
        return None
    table = likelihoods(courses, at_s, heard)
    best, places = table.max(axis=0), distances()
    top = int(best.argmax())
    usual = float(np.median(best))
    far = np.abs(places - places[top]) > APART_S
    room = float(best[top]) - usual
    if room < LEAST or float(best[top]) - float(best[far].max()) < LEAD * room:
        return None
    if not all(_agrees(likelihoods(courses[half], at_s[half], heard).max(axis=0), top) for half in _halves(at_s)):
        return None
    answers = places[table.argmax(axis=1)]
    good = table.max(axis=1) > float(best[top]) - 0.15 * room
    spread = float(answers[good].std())
    if spread > SURE_S:
        return None
    late = _summit(places, best, top)
    usual_frame = float(np.median(np.diff(np.sort(at_s))))
    # No finer than a frame's own length allows, however many strokes agree.
    return late, float(np.hypot(spread, usual_frame / np.sqrt(12.0)))


def _halves(at_s: Floats) -> tuple[slice, slice]:
    middle = len(at_s) // 2
    return slice(None, middle), slice(middle, None)


def _agrees(best: Floats, top: int) -> bool:
    """Whether a half of the frames, on its own, is well content with the distance that all of them chose."""
    usual = float(np.median(best))
    near = float(best[max(0, top - 2) : top + 3].max())
    return near - usual >= HALF_CONTENT * (float(best.max()) - usual)


def _even(heard: Floats) -> bool:
    """Whether the strokes are so even that only the manner of moving, not the rhythm, could tell."""
    gaps = np.diff(heard)
    if len(gaps) == 0:
        return False
    usual = float(np.median(gaps))
    return bool((np.abs(gaps - usual) < SAME * usual).mean() > SAME_SHARE)


def _summit(places: Floats, best: Floats, top: int) -> float:
    """The summit of a parabola through the best distance and its neighbours."""
    if not 0 < top < len(best) - 1:
        return float(places[top])
    a, b, c = best[top - 1], best[top], best[top + 1]
    bend = a - 2 * b + c
    return float(places[top] + (0.5 * (a - c) / bend if bend < 0 else 0.0) * (places[1] - places[0]))

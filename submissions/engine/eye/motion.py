"""Sound against picture: by how much the sound is late, from motion around the strokes; None where it cannot be told.

The windows of a take (short stretches at full rate) are cut into blocks, freed of slow light and slow movement, and split
into regions that move on their own (strikes.py). Fits over all distances give the answer; sudden changes sharpen it
(flashes.py). It is only given when no other distance does nearly as well, both halves of the frames come to it by
themselves, and rhythms that were not played do clearly worse (chance.py). All frame times are packet times, so that
variable rates and gaps change nothing.

Sign: positive = the sound is late. ITU-R BT.1359-1 and EBU R37 print the opposite sign.
"""

import numpy as np
from numpy.typing import NDArray

from ..facts import MotionFacts, Span
from ..media import Frame, RawTake
from .beyond import surely_beyond
from .blows import slowness
from .chance import chance
from .flashes import agreement
from .own import own_shapes
from .picture import frozen_spans, is_shaking, shows_nothing
from .shapes import SHAPES
from .strikes import REACH_S, distances, likelihoods, parts
from .unheard import with_unheard

Floats = NDArray[np.float64]

DARK_LUMA = 20.0  # below it the grain moves more than the hands
BLOCK = 4  # pixels: a window frame of 160 x 90 becomes 40 x 22 blocks
# Below them a fit can be luck: with half of a film frozen, 119 frames and 10 strokes once led 120 ms astray.
FEWEST_FRAMES, FEWEST_STROKES, BY_S = 45, 12, 0.15
LEAP_S = 0.05  # after a standing picture: a frame or two
SLOW_S = 0.5  # a stroke, raising included, lasts at most 0.3 s; what takes longer is no stroke
# Chosen on made clips of some seeds, checked on others and on pictures that show nothing of the playing
# (docs/eye-confusion.md). Rises are log likelihoods over the usual one of all distances.
LEAST = 40.0  # rise of the best distance
# Distances within MIDDLE of it are as good as the best: the answer is their middle. There is none when distances within
# LEAD of it stretch over more than WIDE_S, for then it could be wrong by half of that and more.
MIDDLE, LEAD, WIDE_S = 0.12, 0.20, 0.05
# Shares of it that others may reach: the same strokes at other times, or in another order, and steady beats. These fit a
# player's mostly even strokes nearly as well, and a conductor several times better.
MOVED, REORDERED, STEADY = 0.85, 0.75, 1.25
REACH_ALONE_S, SHARE_ALONE = 0.25, 0.5  # sudden changes without a fit: most strokes must have one
REACH_NEAR_S, SHARE_NEAR = 0.09, 0.2  # beside a fit: enough that they are no accident
COARSE_S = 0.045  # a little more than a picture lasts at 24 a second: a light seen no better moved a fit of 6 ms to 55
FAR_MS = 60.0  # EBU R37's wider limit: a shaking picture, in which all moves in time, was once told 200 ms for 3
# A hand's turning point fits nearly as well as its blow, from 110 to 140 ms away. Where it or the blow would lie further off
# than was looked, the other one has no rival: it is at least as far, but no figure is given.
TURN_S = 0.15
SAME, SAME_SHARE = 0.10, 0.7  # strokes this alike in distance, as a share of all distances, are even
HALF_CONTENT, HALF_S = 0.8, 0.06  # chance makes a whole; it does not make both halves


def measure_motion(raw: RawTake, heard_s: tuple[float, ...]) -> MotionFacts:
    """How late the sound is at the strokes heard (file time, seconds)."""
    told = _told(raw, heard_s)
    far = max(abs(told.sound_late_ms or 0.0), abs(told.beyond_ms or 0.0)) > FAR_MS
    return MotionFacts() if far and is_shaking(raw.windows) else told


def _told(raw: RawTake, heard_s: tuple[float, ...]) -> MotionFacts:
    at_s, logs, first = _logs_of(raw)
    every = np.asarray(sorted(heard_s), float)
    heard = _near(every, at_s)
    if len(at_s) < 8 or len(heard) == 0:
        return MotionFacts()
    fitted = _by_strikes(logs, first, at_s, every, heard) if _shows_something(raw) else MotionFacts()
    if _even(heard) and float(np.median(np.diff(heard))) < 2 * REACH_ALONE_S:
        return fitted  # a light for each of quick even strokes fits at every stroke's distance
    if fitted.sound_late_ms is None:
        sharp = agreement(logs, first, at_s, heard, 0.0, REACH_ALONE_S, SHARE_ALONE)
    else:
        sharp = agreement(logs, first, at_s, heard, fitted.sound_late_ms / 1000, REACH_NEAR_S, SHARE_NEAR)
        if sharp is not None and sharp.sd_s * np.sqrt(12.0) > COARSE_S:
            sharp = None
    return fitted if sharp is None else MotionFacts(1000 * sharp.late_s, 1000 * sharp.sd_s)


def _shows_something(raw: RawTake) -> bool:
    """Whether most of the windows show more than darkness or a plain patch, whose noise could be taken for motion."""
    looked = [frame.gray for window in raw.windows for frame in window[::10]]
    return bool(looked) and float(np.mean([g.mean() < DARK_LUMA or shows_nothing(g) for g in looked])) < 0.5


def _logs_of(raw: RawTake) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """File times of all window frames, log brightness of their blocks, and which frames begin a window."""
    spans = frozen_spans(raw)
    moving = [piece for window in raw.windows for piece in _moving(raw, window, spans)]
    moving = _one_stretch(raw, moving, spans)
    windows = [w for w in moving if len(w) >= 4 and w[0].gray.shape == moving[0][0].gray.shape]
    windows = [tuple(f for f in w if f.gray.shape == w[0].gray.shape) for w in windows]
    if not windows:
        return np.zeros(0), np.zeros((0, 0)), np.zeros(0, bool)
    at_s = np.array([raw.file_s(frame.at_s) for window in windows for frame in window])
    # 8 of 255 is added: noise in the dark must not count as motion.
    logs = [np.log(_blocked(np.stack([f.gray for f in window]).astype(np.float64)) + 8.0) for window in windows]
    first = np.concatenate([np.arange(len(window)) == 0 for window in windows])
    return at_s, np.concatenate(logs), first


def _moving(raw: RawTake, window: tuple[Frame, ...], spans: tuple[Span, ...]) -> list[tuple[Frame, ...]]:
    """The window without the stretches in which the picture stands still: they, and the leap after them, show no hands."""
    alive = [not any(s.start_s < raw.file_s(f.at_s) <= s.end_s + LEAP_S for s in spans) for f in window]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.array(alive, np.int8), [0]])))
    return [window[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _one_stretch(
    raw: RawTake, moving: list[tuple[Frame, ...]], spans: tuple[Span, ...]
) -> list[tuple[Frame, ...]]:
    """Of the pieces between two standing pictures those of the stretch with most frames.

    What held a picture up may bring it back nearer to its sound, or further from it, than it was: frames from before and after do
    not speak of one distance, and together they once agreed on one that neither had. If one stretch is too little, nothing is told.
    """
    ends_s = np.array([span.end_s for span in spans])
    after = [int((ends_s < raw.file_s(piece[0].at_s)).sum()) for piece in moving]
    frames = [sum(len(piece) for piece, which in zip(moving, after, strict=True) if which == n) for n in range(len(spans) + 1)]
    return [piece for piece, which in zip(moving, after, strict=True) if which == int(np.argmax(frames))]


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


def _quick(level: Floats, first: NDArray[np.bool_], at_s: Floats) -> Floats:
    """Each block less its own mean over SLOW_S around: people who walk by, a camera that turns, lamps that fade go."""
    starts = np.flatnonzero(first)[1:]
    pieces = zip(np.split(level, starts), np.split(at_s, starts), strict=True)
    return np.concatenate([piece - _smoothed(piece, times) for piece, times in pieces])


def _smoothed(piece: Floats, times: Floats) -> Floats:
    width = max(3, round(SLOW_S / float(np.median(np.diff(times)))) | 1)
    if width >= len(piece):
        return np.broadcast_to(piece.mean(axis=0), piece.shape)
    padded = np.pad(piece, ((width // 2 + 1, width // 2), (0, 0)), mode="reflect")
    total = np.cumsum(padded, axis=0)
    return np.asarray((total[width:] - total[:-width]) / width)


def _near(heard: Floats, at_s: Floats, by_s: float = 0.5) -> Floats:
    """Strokes with a frame within by_s: by default, those that a frame could show at some distance looked at."""
    if not len(at_s) or not len(heard):
        return heard[:0]
    place = np.searchsorted(at_s, heard)
    below, above = at_s[np.clip(place - 1, 0, None)], at_s[np.clip(place, None, len(at_s) - 1)]
    gap = np.minimum(np.abs(heard - below), np.abs(heard - above))
    return heard[gap < by_s]


def _by_strikes(
    logs: Floats, first: NDArray[np.bool_], at_s: Floats, every: Floats, heard: Floats
) -> MotionFacts:
    """What the movement of hands tells: the distance, or where only that is sure how far it is at least, or nothing."""
    if len(at_s) < FEWEST_FRAMES or len(_near(heard, at_s, BY_S)) < FEWEST_STROKES:
        return MotionFacts()
    courses = parts(_quick(_evened(logs, first), first, at_s))
    if not courses.shape[1]:
        return MotionFacts()
    places = distances()
    fits = likelihoods(courses, at_s, heard, places)
    alone = heard  # chance is asked of the strokes that were heard alone: those put in were chosen to fit
    if float(fits.max() - np.median(fits.max(axis=0))) >= LEAST:  # else there is nothing to mend
        heard, fits = with_unheard(fits, courses, at_s, heard, places)
    own = own_shapes(fits, courses, at_s, heard, places)
    best = np.vstack([fits, likelihoods(courses, at_s, heard, places, own)]).max(axis=0)
    top = int(best.argmax())
    rise = float(best[top] - np.median(best))
    if not 0 < top < len(places) - 1 or rise < LEAST:
        return MotionFacts()  # the summit may lie further off than was looked, or there is none
    if _even(heard) and abs(float(places[top])) + float(np.median(np.diff(heard))) > REACH_S:
        return MotionFacts()  # one stroke on it would fit nearly as well, and there nobody looked
    shapes = (*SHAPES, *own)
    slow = slowness(courses, first, at_s, heard, places, top, shapes)
    close = places[_less(best, slow) > float(best[top]) - LEAD * rise]
    halves = [
        likelihoods(courses[half], at_s[half], heard, places, shapes, by_halves=False).max(axis=0)
        for half in _halves(at_s)
    ]
    told = float(np.ptp(close)) <= WIDE_S + 1e-9 and all(
        _agrees(_less(half, slow), places, top, rise) for half in halves
    )
    beyond = surely_beyond(places, best, halves)
    if told and abs(float(places[top])) + TURN_S > REACH_S:
        told, beyond = False, float(close[np.abs(close).argmin()])
    if not told and beyond is None:
        return MotionFacts()
    others = chance(courses, at_s, every, alone, float(places[top]), own[:2], places[slow >= 1])
    if others.reordered > REORDERED or others.steady > STEADY:
        return MotionFacts()
    if told and others.moved <= MOVED:
        weight = np.maximum(0.0, _less(best, slow) - float(best[top]) + MIDDLE * rise)
        late = float(weight @ places / weight.sum())
        spread = float(np.sqrt(weight @ (places - late) ** 2 / weight.sum()))
        usual_frame = float(np.median(np.diff(np.sort(at_s))))
        # No finer than a frame's own length allows, however many strokes agree.
        return MotionFacts(1000 * late, 1000 * float(np.hypot(spread, usual_frame / np.sqrt(12.0))))
    return MotionFacts(beyond_ms=1000 * beyond) if beyond is not None and others.elsewhere <= MOVED else MotionFacts()


def _less(fits: Floats, slow: Floats) -> Floats:
    """The fits less what the pace of the picture has against them (blows.py).

    Log likelihoods of two kinds of evidence add: in the pace, 1 is enough to refuse a place, as LEAD is in the fit.
    """
    usual = float(np.median(fits))
    return np.asarray(np.where(slow >= 1, usual, fits - slow * LEAD * (float(fits.max()) - usual)))


def _halves(at_s: Floats) -> tuple[slice, slice]:
    middle = len(at_s) // 2
    return slice(None, middle), slice(middle, None)


def _agrees(best: Floats, places: Floats, top: int, rise: float) -> bool:
    """Whether a half of the frames, on its own, chooses the distance that all of them chose, or one as good.

    rise: of all frames at their distance. A half that knows another distance better than all know theirs contradicts it.
    """
    if abs(float(places[int(best.argmax())] - places[top])) <= HALF_S:
        return True
    usual = float(np.median(best))
    if float(best.max()) - usual > rise:
        return False
    near = float(best[max(0, top - 2) : top + 3].max())
    return near - usual >= HALF_CONTENT * (float(best.max()) - usual)


def _even(heard: Floats) -> bool:
    """Whether the strokes are so even that only the manner of moving, not the rhythm, could tell."""
    gaps = np.diff(heard)
    if len(gaps) == 0:
        return False
    usual = float(np.median(gaps))
    return bool((np.abs(gaps - usual) < SAME * usual).mean() > SAME_SHARE)

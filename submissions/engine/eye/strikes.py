"""How well a moving picture fits strokes at given times, for every possible distance between sound and picture.

The idea: what a picture shows of a playing hand depends on one thing only, how high the hand is. So for a supposed
distance d the heights at all frames follow from the strokes (heard minus d) and from a shape of movement; frames of
equal height must then look alike. The fit is the variance explained by a handful of height classes, as a log likelihood
with a price on classes (Schwarz, 1978). The shapes are those of shapes.py, and the take's own (own.py).

Conventions: times in seconds of one clock; d is sound minus picture, positive = the sound is late.
Pictures come as block brightnesses, shape (frames, blocks).
"""

import numpy as np
from numpy.typing import NDArray

from .shapes import SHAPES, Shape

Floats = NDArray[np.float64]

REACH_S = 0.40  # distances looked at: more than twice what BT.1359-1 calls unacceptable
STEP_S = 0.010
PARTS = 12  # regions that move on their own: two hands, their shadows, the drums, what goes on behind
CLASSES = 6  # heights told apart
SPEED_WEIGHT = 1.0  # changes from frame to frame are as many observations as frames


def distances() -> Floats:
    """The distances looked at."""
    count = round(REACH_S / STEP_S)
    return np.asarray(np.arange(-count, count + 1) * STEP_S, dtype=np.float64)


def parts(blocks: Floats, count: int = PARTS) -> Floats:
    """Courses of the regions that move on their own, shape (frames, count), mean 0 and spread 1.

    Principal components turned by varimax (Kaiser, 1958) so that each belongs to one place in the picture.
    """
    centred = blocks - blocks.mean(axis=0)
    left, strength, right = np.linalg.svd(centred, full_matrices=False)
    keep = strength[:count] > 1e-9 * max(float(strength[0]), 1e-12)
    left, strength, right = left[:, :count][:, keep], strength[:count][keep], right[:count][keep]
    if not len(strength):
        return np.zeros((len(blocks), 0))
    courses = (left * strength) @ _varimax(right.T * strength)
    return np.asarray(courses / courses.std(axis=0).clip(1e-12))


def _varimax(loads: Floats, rounds: int = 40) -> Floats:
    turn, before = np.eye(loads.shape[1]), 0.0
    for _ in range(rounds):
        turned = loads @ turn
        u, s, v = np.linalg.svd(loads.T @ (turned**3 - turned * (turned**2).mean(axis=0)))
        turn = u @ v
        if s.sum() < before * (1 + 1e-5):
            break
        before = float(s.sum())
    return np.asarray(turn)


def likelihoods(
    courses: Floats,
    at_s: Floats,
    heard_s: Floats,
    places: Floats,
    shapes: tuple[Shape, ...] = SHAPES,
    by_halves: bool = True,
) -> Floats:
    """Log likelihood over no strokes at all at each distance of places, shape (len(shapes), len(places)).

    Each region may answer to all strokes or to every other one (a hand of two); strokes of one hand out of turn cost
    likelihood and nothing else. One stroke that is not heard changes the hands' turns from there on: with by_halves, a
    region may therefore answer to other strokes in the second half of the frames than in the first.
    """
    each = likelihoods_by_region(courses, at_s, heard_s, places, shapes, by_halves)
    return np.asarray(each.sum(axis=2))


def likelihoods_by_region(
    courses: Floats,
    at_s: Floats,
    heard_s: Floats,
    places: Floats,
    shapes: tuple[Shape, ...] = SHAPES,
    by_halves: bool = True,
) -> Floats:
    """The same for each region by itself, shape (len(shapes), len(places), regions)."""
    total = np.zeros((len(shapes), len(places), courses.shape[1]))
    subsets = (heard_s, heard_s[0::2], heard_s[1::2])
    frames = [_since_until(at_s, strokes, places) for strokes in subsets if len(strokes)]
    middle = len(courses) // 2
    cuts = (slice(None), slice(None, middle), slice(middle, None)) if by_halves else (slice(None),)
    pieces = [(cut, _evenly(courses[cut]), _evenly(np.abs(np.diff(courses[cut], axis=0)))) for cut in cuts]
    for index, shape in enumerate(shapes):
        heights = [shape.heights(since, until) for since, until in frames]
        whole, *halves = (_best(part, pace, [h[:, cut] for h in heights]) for cut, part, pace in pieces)
        total[index] = np.maximum(whole, np.sum(halves, axis=0)) if halves else whole
    return total


def _best(part: Floats, pace: Floats, heights: list[Floats]) -> Floats:
    """Log likelihood of each region within a piece of the frames, by the strokes that it answers to best."""
    fits = [_fit(part, h) + SPEED_WEIGHT * _speed_fit(pace, h) for h in heights]
    return np.asarray(np.max(np.stack(fits), axis=0))


def _evenly(courses: Floats) -> Floats:
    """Mean 0 and spread 1."""
    return np.asarray((courses - courses.mean(axis=0)) / courses.std(axis=0).clip(1e-12))


def _since_until(at_s: Floats, strokes_s: Floats, places: Floats) -> tuple[Floats, Floats]:
    """Seconds since the last and until the next stroke in the picture, shape (places, frames); 9 when there is none."""
    moments = at_s[None, :] + places[:, None]
    after = np.searchsorted(strokes_s, moments, side="right")
    before = np.clip(after - 1, 0, None)
    since = np.where(after > 0, moments - strokes_s[before], 9.0)
    until = np.where(after < len(strokes_s), strokes_s[np.minimum(after, len(strokes_s) - 1)] - moments, 9.0)
    return since, until


def _fit(courses: Floats, heights: Floats) -> Floats:
    """Log likelihood of each region at each distance, shape (distances, regions), never below 0."""
    count = len(courses)
    classes = np.minimum((heights * (CLASSES - 1)).astype(np.int8), CLASSES - 2)
    classes[heights >= 0.999] = CLASSES - 1
    explained = np.zeros((len(heights), courses.shape[1]))
    used = np.zeros(len(heights))
    for number in range(CLASSES):
        inside = (classes == number).astype(np.float64)
        members = inside.sum(axis=1, keepdims=True)
        explained += (inside @ courses) ** 2 / np.maximum(members, 1.0)
        used += members[:, 0] > 0
    share = np.minimum(explained / count, 0.999)
    price = 0.5 * (used - 1) * np.log(count)
    return np.asarray(np.maximum(0.0, -0.5 * count * np.log(1 - share) - price[:, None]))


def _speed_fit(pace: Floats, heights: Floats) -> Floats:
    """Log likelihood that the picture changes fast where the hand moves fast, shape (distances, regions).

    Equal heights look alike at the top of a stroke as well as on the drum; only the speed tells them apart.
    """
    speed = np.abs(np.diff(heights, axis=1))
    speed = speed - speed.mean(axis=1, keepdims=True)
    scale = np.sqrt((speed**2).mean(axis=1, keepdims=True)).clip(1e-9)
    match = np.clip((speed / scale) @ pace / len(pace), 0.0, 0.999)
    return np.asarray(-0.5 * len(pace) * np.log(1 - match**2))

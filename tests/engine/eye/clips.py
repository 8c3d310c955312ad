"""Clips of motion with known strokes, as raw window frames: other hands and other laws of movement than the rehearsal's.

A stick on a pivot or a round hand; it drops and rebounds, swings evenly, whips, rests on the drum between strokes, or is
there at once; a light that flashes. Nothing here is shared with the film maker of the rehearsal room.
"""

from dataclasses import dataclass

import numpy as np

from submissions.engine.facts import ContainerFacts
from submissions.engine.media import Frame, RawTake

WIDTH, HEIGHT = 160, 90
KINDS = ("drop", "swing", "whip", "rest", "at once")


@dataclass(frozen=True)
class Clip:
    raw: RawTake
    heard_s: tuple[float, ...]
    late_ms: float


def rhythm(rng, seconds):
    cells = ((0, 0.5), (0, 0.25, 0.5, 0.75), (0, 0.5, 0.75), (0, 0.25, 0.75))
    beat, at, out = 60 / rng.choice([84, 100, 112, 120, 132, 144]), 1.0, []
    while at < seconds - 0.3 - beat:
        out += [at + beat * place + rng.normal(0, 0.008) for place in cells[rng.integers(len(cells))]]
        at += beat
    return np.array(sorted(out))


def frame_times(rng, fps, seconds, uneven):
    if not uneven:
        return np.arange(0, seconds, 1 / fps)
    steps = (1 + 0.04 * rng.normal(size=int(seconds * fps * 1.2))).clip(0.3) / fps
    late = rng.random(len(steps)) < 0.02
    steps[late] += rng.choice([1, 2, 4], late.sum()) / fps
    times = np.cumsum(steps)
    return times[times < seconds]


def height(kind, t, strokes):
    """0 on the drum, 1 raised."""
    after = np.searchsorted(strokes, t, side="right")
    since = t - strokes[after - 1] if after else 9.0
    until = strokes[after] - t if after < len(strokes) else 9.0
    gap = since + until
    if kind == "drop":
        fall, rise = min(0.12, 0.45 * gap), min(0.18, 0.55 * gap)
        return 1 - (1 - until / fall) ** 2 if until < fall else 1 - (1 - since / rise) ** 2 if since < rise else 1.0
    if kind == "swing":
        return abs(np.sin(np.pi * since / gap)) if gap < 1.2 else min(1.0, min(since, until) / 0.3)
    if kind == "whip":
        return min(until / min(0.06, 0.4 * gap), since / min(0.25, 0.6 * gap), 1.0)
    if kind == "at once":
        return 1 - np.exp(-since / 0.07)
    lift = min(0.3, 0.8 * gap)
    share = max(0.0, 1 - until / lift)
    return share / 0.75 if share < 0.75 else 1 - ((share - 0.75) / 0.25) ** 1.5


def strike_clip(seed, kind, late_ms, *, fps=30.0, uneven=False, light=False, passer=False, noise=2.0, seconds=9.0):
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    strokes, times = rhythm(rng, seconds), frame_times(rng, fps, seconds, uneven)
    yy, xx = np.mgrid[:HEIGHT, :WIDTH].astype(float)
    ground = 90 + 25 * np.sin(xx / 30) + rng.normal(0, 3, (HEIGHT, WIDTH))
    cx, cy = WIDTH * rng.uniform(0.4, 0.6), HEIGHT * rng.uniform(0.65, 0.8)
    ground[int(cy) : int(cy) + 6, int(cx) - 35 : int(cx) + 35] = 200
    stick, tone, sweep = rng.random() < 0.5, rng.choice([25, 240]), rng.uniform(0.4, 0.9)
    frames = []
    for t in times:
        image = ground.copy()
        if passer:
            image[(xx - (20 + 12 * t) % WIDTH) ** 2 + (yy - 18) ** 2 < 60] = 50
        for side, own in ((1, strokes[0::2]), (-1, strokes[1::2])):
            up = height(kind, t, own)
            if stick:
                angle, px = sweep * up + 0.05, cx + side * 34
                along = (px - xx) * side * np.cos(angle) + (cy - 3 - yy) * np.sin(angle)
                across = -(px - xx) * side * np.sin(angle) + (cy - 3 - yy) * np.cos(angle)
                image[(along > 0) & (along < 30) & (abs(across) < 1.3)] = tone
            else:
                image[(xx - cx - side * 14) ** 2 + (yy - cy + 4 + 28 * sweep * up) ** 2 < 20] = tone
        if light:
            image = image * (1 + 0.15 * np.sin(1.3 * t) + 0.05 * np.sign(np.sin(5.0 * t)))
        frames.append(np.clip(image + rng.normal(0, noise / 2, image.shape), 0, 255).astype(np.uint8))
    kept = strokes[rng.random(len(strokes)) > 0.04]
    heard = np.sort(kept + late_ms / 1000 + rng.normal(0, 0.001, len(kept)))
    return _clip(times, frames, heard, late_ms)


def flash_clip(seed, late_ms, *, fps=30000 / 1001, on_frames=True, uneven=False, full=False, seconds=9.0):
    """A light that flashes for 70 ms, on frame times or at any moment, and a beep with each flash."""
    rng = np.random.default_rng([seed, 77])
    times = frame_times(rng, fps, seconds, uneven)
    moments = np.cumsum(rng.uniform(0.45, 1.1, 12)) + 0.5
    moments = moments[moments < seconds - 0.5]
    if on_frames:
        moments = times[np.unique(np.searchsorted(times, moments))]
    ground = 70 + 10 * rng.normal(size=(HEIGHT, WIDTH))
    frames = []
    for t in times:
        image = ground.copy()
        if ((t >= moments) & (t < moments + 0.07)).any():
            image[(slice(None) if full else slice(20, 50)), (slice(None) if full else slice(50, 100))] = 245
        frames.append(np.clip(image + rng.normal(0, 1, image.shape), 0, 255).astype(np.uint8))
    return _clip(times, frames, moments + late_ms / 1000, late_ms)


def _clip(times, frames, heard, late_ms):
    window = tuple(Frame(float(t), f) for t, f in zip(times, frames, strict=True))
    return Clip(RawTake(ContainerFacts(), None, (), (window,)), tuple(float(h) for h in heard), late_ms)

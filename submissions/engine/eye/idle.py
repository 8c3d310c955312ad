"""Pictures that move and show nothing of the playing: there must be no answer on sound against picture.

Cameras that turn, people who walk by, lamps, pendulums and conductors at the tempo of the music, test cards, key pictures
that sharpen the picture at fixed times, hands that do something else. Everything follows from kind and seed; frames have
the size of a window frame and need no file.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ..facts import ContainerFacts
from ..media import Frame, RawTake
from .motion import measure_motion

Floats = NDArray[np.float64]
Draw = Callable[[float], Floats]

WIDTH, HEIGHT = 160, 90
SECONDS, WINDOW_S = 20.0, 3.0
DOWN, ACROSS = np.mgrid[:HEIGHT, :WIDTH].astype(float)
CELLS = ((0, 0.5), (0, 0.25, 0.5, 0.75), (0, 0.5, 0.75), (0, 0.25, 0.75), (0,), (0.5,), (0, 1 / 3, 2 / 3))


def idle_take(kind: str, seed: int) -> tuple[RawTake, tuple[float, ...]]:
    """(what would be read of the film, strokes heard) for a kind of KINDS."""
    rng = np.random.default_rng([seed, *kind.encode()])
    beat_s = 60.0 / float(rng.uniform(80, 160))
    heard = _rhythm(rng, beat_s)
    fps = float(rng.choice([24, 25, 30, 30, 60]))
    draw, grain = KINDS[kind](rng, beat_s), rng.normal(0, rng.uniform(0.3, 2.5), (7, HEIGHT, WIDTH))
    start_s = float(rng.uniform(0.5, 4.0))
    windows = []
    for begin_s in (start_s, start_s + float(rng.uniform(5.0, 10.0))):
        times = begin_s + np.arange(round(WINDOW_S * fps)) / fps
        grays = (draw(float(t)) + grain[n % 7] for n, t in enumerate(times))
        windows.append(
            tuple(Frame(float(t), g.clip(0, 255).astype(np.uint8)) for t, g in zip(times, grays, strict=True))
        )
    return RawTake(ContainerFacts(), None, (), tuple(windows)), heard


def told_of(kind: str, seed: int) -> bool:
    """Whether anything of sound against picture is told of such a take, as it never should be."""
    told = measure_motion(*idle_take(kind, seed))
    return told.sound_late_ms is not None or told.beyond_ms is not None


def _rhythm(rng: np.random.Generator, beat_s: float) -> tuple[float, ...]:
    """Uneven cells on a steady beat with a player's spread; half of the time the same two bars again and again."""
    again = [CELLS[i] for i in rng.integers(len(CELLS), size=8)]
    repeats, spread, out = rng.random() < 0.5, rng.uniform(0.003, 0.012), []
    for beat in range(int((SECONDS - 1.5) / beat_s)):
        cell = again[beat % 8] if repeats else CELLS[int(rng.integers(len(CELLS)))]
        out += [1.0 + beat_s * (beat + place) + float(rng.normal(0, spread)) for place in cell]
    return tuple(sorted(out))


def _room(rng: np.random.Generator) -> Floats:
    return np.asarray(90 + 25 * np.sin(ACROSS / 30 + rng.uniform(0, 6)) + rng.normal(0, 6, (HEIGHT, WIDTH)))


def _disc(image: Floats, x: float, y: float, radius: float, tone: float) -> Floats:
    cover = np.clip(radius + 0.5 - np.hypot(ACROSS - x, DOWN - y), 0, 1)
    return np.asarray(image + cover * (tone - image))


def _line(image: Floats, a: tuple[float, float], b: tuple[float, float], radius: float, tone: float) -> Floats:
    dx, dy = b[0] - a[0], b[1] - a[1]
    along = np.clip(((ACROSS - a[0]) * dx + (DOWN - a[1]) * dy) / (dx * dx + dy * dy + 1e-9), 0, 1)
    cover = np.clip(radius + 0.5 - np.hypot(ACROSS - a[0] - along * dx, DOWN - a[1] - along * dy), 0, 1)
    return np.asarray(image + cover * (tone - image))


def _pan(rng: np.random.Generator, beat_s: float) -> Draw:
    wide = np.repeat(np.repeat(rng.uniform(20, 230, (HEIGHT // 6 + 8, 3 * WIDTH // 6)), 6, axis=0), 6, axis=1)
    speed, sway, period = rng.uniform(5, 40), rng.uniform(2, 18), rng.uniform(1, 5)

    def draw(t: float) -> Floats:
        x, y = int(speed * t % (1.8 * WIDTH)), int(20 + sway * np.sin(2 * np.pi * t / period))
        return np.asarray(wide[y : y + HEIGHT, x : x + WIDTH])

    return draw


def _walkers(rng: np.random.Generator, beat_s: float) -> Draw:
    room = _room(rng)
    people = [
        (rng.uniform(0, WIDTH), rng.uniform(-25, 25), rng.uniform(1.6, 2.2), rng.choice([30, 60, 200])) for _ in "ab"
    ]

    def draw(t: float) -> Floats:
        image = room
        for start, speed, steps, tone in people:
            x, swing = (start + speed * t) % (WIDTH + 40) - 20, 14 * np.sin(np.pi * steps * t)
            image = _line(image, (x, 30), (x, 55), 6, tone)
            for side in (-1, 1):
                image = _line(image, (x, 55), (x + side * swing, 82), 2.5, tone)
        return image

    return draw


def _lamp(rng: np.random.Generator, beat_s: float) -> Draw:
    room, rate, depth = (
        _room(rng),
        rng.choice([0.3, 1 / beat_s, 2 / beat_s, rng.uniform(0.5, 9), 10.0]),
        rng.uniform(0.03, 0.3),
    )
    glow = np.exp(-((ACROSS - rng.uniform(20, 140)) ** 2 + (DOWN - 30) ** 2) / 900) if rng.random() < 0.5 else 1.0
    hard = rng.random() < 0.5

    def draw(t: float) -> Floats:
        wave = np.sin(2 * np.pi * rate * t)
        return np.asarray(room * (1 + depth * (np.sign(wave) if hard else wave) * glow))

    return draw


def _pendulum(rng: np.random.Generator, beat_s: float) -> Draw:
    room, period = _room(rng), beat_s * rng.choice([0.5, 2 / 3, 1, 2, 4])
    reach, length, phase, tone = rng.uniform(0.2, 0.7), rng.uniform(20, 60), rng.uniform(0, 6.28), rng.choice([20, 240])

    def draw(t: float) -> Floats:
        angle = reach * np.sin(2 * np.pi * t / period + phase)
        return _line(room, (80, 84), (80 + length * np.sin(angle), 84 - length * np.cos(angle)), 2.0, tone)

    return draw


def _conductor(rng: np.random.Generator, beat_s: float) -> Draw:
    """Both hands from point to point, one a beat, with the uneven speed of a conductor's beat."""
    room, points = _room(rng), rng.uniform(-1, 1, (int(rng.integers(2, 5)), 2)) * [14, 10]
    phase, sharp, tone = rng.uniform(0, beat_s), rng.uniform(0.6, 3), rng.choice([20, 235])
    x, y = rng.uniform(40, 120), rng.uniform(30, 60)

    def draw(t: float) -> Floats:
        beat, part = divmod((t + phase) / beat_s, 1.0)
        a, b = points[int(beat) % len(points)], points[(int(beat) + 1) % len(points)]
        px, py = a + (b - a) * part**sharp
        py -= 12 * np.sin(np.pi * part**sharp)
        image = room
        for side in (-1, 1):
            image = _line(image, (x + side * 6, y), (x + side * (14 + px), y + py), 1.6, tone)
            image = _disc(image, x + side * (14 + px), y + py, 3.0, tone)
        return image

    return draw


def _nodder(rng: np.random.Generator, beat_s: float) -> Draw:
    """A head that nods, or a foot that taps, at the tempo and with a person's spread."""
    room, period, spread = _room(rng), beat_s * rng.choice([0.5, 1, 2]), rng.normal(0, 0.02, 400)
    phase, reach, sharp = rng.uniform(0, period), rng.uniform(2, 9), rng.choice([0.5, 1, 2, 4])
    x, y, radius, tone = rng.uniform(50, 110), rng.uniform(25, 60), rng.uniform(8, 18), rng.choice([40, 210])

    def draw(t: float) -> Floats:
        number = int((t + phase) / period)
        part = ((t + phase + spread[number % 400]) / period) % 1.0
        return _disc(room, x, y + reach * np.sin(np.pi * part) ** sharp, radius, tone)

    return draw


def _key_pictures(rng: np.random.Generator, beat_s: float) -> Draw:
    room, period = _room(rng), float(rng.choice([0.25, 0.4, 0.5, 1.0, 2.0, beat_s]))
    coarse, fades = rng.normal(0, rng.uniform(2, 8), (HEIGHT, WIDTH)), rng.uniform(0.1, 3)
    return lambda t: np.asarray(room + coarse * np.exp(-fades * (t % period) / period))


def _busy_hand(rng: np.random.Generator, beat_s: float) -> Draw:
    """A hand that does something else, in smooth movements of any speed."""
    room, waves = _room(rng), [(rng.uniform(0.2, 5), rng.uniform(0, 6.28), rng.normal(0, 5, 2)) for _ in range(9)]
    radius, tone = rng.uniform(3, 9), rng.choice([25, 230])

    def draw(t: float) -> Floats:
        x, y = sum((np.sin(2 * np.pi * rate * t + phase) * push for rate, phase, push in waves), np.array([80.0, 45.0]))
        return _disc(room, float(x), float(y), radius, tone)

    return draw


def _test_card(rng: np.random.Generator, beat_s: float) -> Draw:
    """Bars, a bar that sweeps, a patch that changes each second and one that changes each tenth."""
    bars, speed = 40 + 25.0 * (ACROSS // 20 % 8), rng.uniform(10, 80)
    tones = rng.uniform(20, 235, 500)

    def draw(t: float) -> Floats:
        image = bars.copy()
        image[60:75, 40:60], image[60:75, 70:90] = tones[int(t)], tones[int(10 * t) % 500]
        return _line(image, (speed * t % WIDTH, 10), (speed * t % WIDTH, 50), 4, 235)

    return draw


KINDS: dict[str, Callable[[np.random.Generator, float], Draw]] = {
    "camera turns": _pan,
    "people walk by": _walkers,
    "a lamp flickers": _lamp,
    "a pendulum": _pendulum,
    "a conductor": _conductor,
    "somebody nods": _nodder,
    "key pictures": _key_pictures,
    "a busy hand": _busy_hand,
    "a test card": _test_card,
}

"""The invented player as a few shapes: a wall, a drum or plates, a body, two hands with sticks.

Conventions: coordinates are pixels, y downward; everything scales with the frame's height, so that any size works.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]
Point = tuple[float, float]
Shape = tuple[Point, Point, float, Colour]  # a thick line: from, to, radius, colour
NOWHERE = (0.0, 0.0, 0.0)
GRAIN = 3.0  # of 255: a phone in a lit room (common practice, no source)
STEPS = 96  # heights that are told apart: about two pixels each at 480 lines


@dataclass(frozen=True)
class Hand:
    """One hand: where its stick's tip lands, where the hand is, and which way it goes when it rises."""

    tip: tuple[float, float]
    grip: tuple[float, float]
    shoulder: tuple[float, float]
    rise: tuple[float, float]  # movement of the tip for a full raise
    follow: float  # share of it that the hand makes too


@dataclass(frozen=True)
class Stage:
    """A background with everything that does not move, and the two hands that do."""

    background: Picture
    grainy: tuple[Picture, ...]  # the same with a camera's noise, drawn in turn: no camera gives two equal frames
    hands: tuple[Hand, Hand]
    head: tuple[float, float, float]  # centre and radius
    stick: Colour
    skin: Colour
    sleeve: Colour
    thick: float  # half the thickness of a stick
    bead: float  # radius of its tip: a mallet's or a plate's is big


@dataclass(frozen=True)
class _Sprite:
    """A hand at one height, ready to be laid over a canvas: colour already multiplied by cover."""

    rows: slice
    columns: slice
    keep: NDArray[np.float32]  # what stays of the canvas, 0..1
    colour: NDArray[np.float32]


@dataclass
class Figure:
    """Lays head and hands over a canvas, smeared over an open shutter. Each position is drawn once and kept."""

    stage: Stage
    kept: dict[tuple[int, int], _Sprite] = field(default_factory=dict)

    def draw(self, canvas: Picture, heights: list[list[float]], sway: float) -> None:
        """heights: for each hand its heights while the shutter was open; sway: where the head is, -1 to 1."""
        tracks = [[sway], *heights]
        for which, track in enumerate(tracks):
            steps = [round(place * STEPS) for place in track]
            seen = steps if len(set(steps)) > 1 else steps[:1]
            share = np.float32(1.0 / len(seen))
            for step in seen:
                sprite = self._sprite(which, step)
                piece = canvas[sprite.rows, sprite.columns].astype(np.float32)
                piece *= 1 - share * (1 - sprite.keep)
                piece += share * sprite.colour
                canvas[sprite.rows, sprite.columns] = piece

    def _sprite(self, which: int, step: int) -> _Sprite:
        if (which, step) not in self.kept:
            place = step / STEPS
            shapes = self._head(place) if which == 0 else self._hand(self.stage.hands[which - 1], place)
            self.kept[which, step] = _drawn(shapes, self.stage.background.shape)
        return self.kept[which, step]

    def _head(self, sway: float) -> list[Shape]:
        x, y, radius = self.stage.head
        x, y = x + 0.12 * radius * sway, y + 0.05 * radius * abs(sway)
        return [((x, y), (x, y + 0.5 * radius), radius, self.stage.skin)]

    def _hand(self, hand: Hand, height: float) -> list[Shape]:
        stage, move = self.stage, hand.follow * height
        tip = (hand.tip[0] + hand.rise[0] * height, hand.tip[1] + hand.rise[1] * height)
        grip = (hand.grip[0] + hand.rise[0] * move, hand.grip[1] + hand.rise[1] * move)
        return [
            (hand.shoulder, grip, stage.thick * 3.4, stage.sleeve),
            (grip, tip, stage.thick, stage.stick),
            (tip, tip, stage.bead, stage.stick),
            (grip, grip, stage.thick * 3.2, stage.skin),
        ]


def _drawn(shapes: list[Shape], size: tuple[int, ...]) -> _Sprite:
    """The shapes alone, drawn over black and over white: the difference is what they cover."""
    reach = int(max(radius for _, _, radius, _ in shapes)) + 3
    xs = [point[0] for a, b, _, _ in shapes for point in (a, b)]
    ys = [point[1] for a, b, _, _ in shapes for point in (a, b)]
    x0, y0 = max(0, int(min(xs)) - reach), max(0, int(min(ys)) - reach)
    x1, y1 = min(size[1], int(max(xs)) + reach), min(size[0], int(max(ys)) + reach)
    layers = []
    for ground in (0, 255):
        layer = np.full((y1 - y0, x1 - x0, 3), ground, np.uint8)
        for a, b, radius, colour in shapes:
            capsule(layer, (a[0] - x0, a[1] - y0), (b[0] - x0, b[1] - y0), radius, colour)
        layers.append(layer.astype(np.float32))
    keep = (layers[1] - layers[0])[..., :1] / 255.0
    return _Sprite(slice(y0, y1), slice(x0, x1), keep, layers[0])


def capsule(canvas: Picture, a: tuple[float, float], b: tuple[float, float], radius: float, colour: Colour) -> None:
    """A thick line with round ends from a to b; soft at the rim by one pixel."""
    height, width = canvas.shape[:2]
    x0, x1 = int(min(a[0], b[0]) - radius - 2), int(max(a[0], b[0]) + radius + 3)
    y0, y1 = int(min(a[1], b[1]) - radius - 2), int(max(a[1], b[1]) + radius + 3)
    x0, x1, y0, y1 = max(0, x0), min(width, x1), max(0, y0), min(height, y1)
    if x1 <= x0 or y1 <= y0:
        return
    ys, xs = np.ogrid[y0:y1, x0:x1]
    dx, dy = b[0] - a[0], b[1] - a[1]
    along = np.clip(((xs - a[0]) * dx + (ys - a[1]) * dy) / (dx * dx + dy * dy + 1e-9), 0, 1)
    away = np.hypot(xs - (a[0] + along * dx), ys - (a[1] + along * dy))
    cover = np.clip(radius + 0.5 - away, 0, 1)[..., None].astype(np.float32)
    piece = canvas[y0:y1, x0:x1]
    canvas[y0:y1, x0:x1] = (piece + cover * (np.array(colour, np.float32) - piece)).astype(np.uint8)


def ellipse(canvas: Picture, centre: tuple[float, float], radii: tuple[float, float], colour: Colour) -> None:
    """A filled ellipse."""
    height, width = canvas.shape[:2]
    ys, xs = np.ogrid[0:height, 0:width]
    inside = ((xs - centre[0]) / radii[0]) ** 2 + ((ys - centre[1]) / radii[1]) ** 2 <= 1
    canvas[inside] = colour


def stage_for(instrument: str, width: int, height: int, seed: int) -> Stage:
    """The picture of one invented player of this instrument; colours by seed."""
    rng = np.random.default_rng([seed, 60])
    canvas = _room(width, height, rng)
    h = float(height)
    cx = width * rng.uniform(0.46, 0.54)
    shirt, shell = _colour(rng, 40, 190), _colour(rng, 30, 200)
    skin = ((236, 190, 160), (196, 140, 105), (141, 92, 64), (96, 62, 44))[int(rng.integers(4))]
    dress = (skin, _colour(rng, 40, 190))
    capsule(canvas, (cx, 0.42 * h), (cx, 0.75 * h), 0.16 * h, shirt)
    if instrument == "bass":
        made = _bass(canvas, cx, h, shell, dress)
    elif instrument == "cymbals":
        made = _plates(canvas, cx, h, dress)
    else:
        made = _drums(canvas, cx, h, shell, dress, 4 if instrument == "tenors" else 1)
    return replace(made, grainy=_grainy(made.background, rng), head=(cx, 0.12 * h, 0.085 * h))


def _grainy(background: Picture, rng: np.random.Generator) -> tuple[Picture, ...]:
    """The background under four draws of a camera's noise, two pixels wide so that an encoder keeps it."""
    height, width = background.shape[:2]
    out = []
    for _ in range(4):
        noise = rng.normal(0.0, GRAIN, (height // 2 + 1, width // 2 + 1, 1)).repeat(2, 0).repeat(2, 1)[:height, :width]
        out.append(np.clip(background + noise, 0, 255).astype(np.uint8))
    return tuple(out)


def _colour(rng: np.random.Generator, low: int, high: int) -> Colour:
    red, green, blue = (int(v) for v in rng.integers(low, high, 3))
    return red, green, blue


def _room(width: int, height: int, rng: np.random.Generator) -> Picture:
    """A wall with a soft gradient and some texture, and a floor."""
    wall = rng.uniform(90, 190, 3)
    shade = np.linspace(1.08, 0.86, width)[None, :, None] * np.linspace(1.0, 0.9, height)[:, None, None]
    canvas = wall[None, None, :] * shade
    canvas[int(0.86 * height) :] *= 0.62
    canvas += rng.normal(0, 4.0, (height // 4 + 1, width // 4 + 1, 1)).repeat(4, 0).repeat(4, 1)[:height, :width]
    return np.clip(canvas, 0, 255).astype(np.uint8)


def _drums(canvas: Picture, cx: float, h: float, shell: Colour, dress: tuple[Colour, Colour], heads: int) -> Stage:
    """One or four heads in front of the body, sticks from above."""
    radius = 0.24 * h if heads == 1 else 0.15 * h
    places = [cx] if heads == 1 else [cx + (k - 1.5) * 2.1 * radius for k in range(heads)]
    for x in places:
        capsule(canvas, (x - 0.75 * radius, 0.84 * h), (x + 0.75 * radius, 0.84 * h), 0.1 * h, shell)
        ellipse(canvas, (x, 0.74 * h), (radius, 0.3 * radius), (238, 236, 228))
    spread = 0.06 * h if heads == 1 else 1.05 * radius
    right, left = (
        Hand(
            (cx + k * spread, 0.735 * h),
            (cx + k * 0.27 * h, 0.60 * h),
            (cx + k * 0.13 * h, 0.36 * h),
            (k * 0.03 * h, -0.34 * h),
            0.4,
        )
        for k in (1, -1)
    )
    return Stage(canvas, (), (right, left), NOWHERE, (246, 222, 170), *dress, max(1.5, 0.010 * h), max(2.0, 0.016 * h))


def _bass(canvas: Picture, cx: float, h: float, shell: Colour, dress: tuple[Colour, Colour]) -> Stage:
    """A drum on its side, mallets from both sides."""
    radius = 0.27 * h
    ellipse(canvas, (cx, 0.62 * h), (radius, radius), shell)
    ellipse(canvas, (cx, 0.62 * h), (0.9 * radius, 0.9 * radius), (232, 230, 222))
    right, left = (
        Hand(
            (cx + k * radius, 0.62 * h),
            (cx + k * (radius + 0.16 * h), 0.74 * h),
            (cx + k * 0.15 * h, 0.36 * h),
            (k * 0.30 * h, -0.10 * h),
            0.35,
        )
        for k in (1, -1)
    )
    return Stage(canvas, (), (right, left), NOWHERE, (70, 62, 58), *dress, max(1.5, 0.012 * h), max(3.0, 0.036 * h))


def _plates(canvas: Picture, cx: float, h: float, dress: tuple[Colour, Colour]) -> Stage:
    """Two plates that meet in front of the chest."""
    right, left = (
        Hand(
            (cx + k * 0.035 * h, 0.5 * h),
            (cx + k * 0.05 * h, 0.5 * h),
            (cx + k * 0.14 * h, 0.36 * h),
            (k * 0.30 * h, -k * 0.05 * h),
            1.0,
        )
        for k in (1, -1)
    )
    return Stage(canvas, (), (right, left), NOWHERE, (205, 170, 70), *dress, 0.02 * h, 0.12 * h)

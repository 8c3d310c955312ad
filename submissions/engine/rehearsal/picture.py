"""A moving picture of somebody playing: sticks, mallets or plates that meet the drum at given times.

Conventions: frames are (height, width, 3) RGB, uint8. Times are seconds of the picture, 0 is its first frame; a hand
touches the drum exactly at its strike's time and is filmed with the given exposure, so a frame shows a smear of
what moved while it was open. Nobody real is shown: the player is a shape, the colours come from a seed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from .figure import Figure, capsule, stage_for

Picture = NDArray[np.uint8]
RAISE_S = 0.32  # a hand begins to rise this long before its stroke: an eighth note at a walking tempo
STILL_HEIGHT = 0.25  # where a hand rests between strokes, as a share of a full raise
SMEAR = 3  # positions drawn for one open shutter


EFFECTS = (
    "light", "still", "black", "dark", "covered", "blurred", "shaking", "letterboxed", "grain",
    "handheld", "passer-by", "far",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PictureSpec:
    """What the picture is asked to be. Effects are named as people would say them."""

    width: int = 854
    height: int = 480
    fps: float = 30.0
    instrument: str = "snare"
    exposure_s: float = 1 / 120
    effects: tuple[str, ...] = ()  # words of EFFECTS
    frozen_s: tuple[float, float] | None = None  # the same frame all this time
    uneven: bool = False  # variable frame rate: 24 to 30 frames a second with gaps
    seed: int = 0


@dataclass(frozen=True)
class Hands:
    """Two hands and when each of them meets the drum; times sorted."""

    right_s: NDArray[np.float64]
    left_s: NDArray[np.float64]


def hands_for(strikes_s: Sequence[float], instrument: str) -> Hands:
    """Strikes shared out hand to hand; plates always meet with both."""
    times = np.sort(np.asarray(strikes_s, dtype=np.float64))
    if instrument == "cymbals":
        return Hands(times, times)
    return Hands(times[0::2], times[1::2])


def height_at(t: float, strikes_s: NDArray[np.float64]) -> float:
    """How high a hand is, 0 on the drum to 1: rests low, rises, falls fastest into the stroke, rebounds."""
    after = int(np.searchsorted(strikes_s, t, side="right"))
    since = t - strikes_s[after - 1] if after > 0 else 9.0
    until = strikes_s[after] - t if after < len(strikes_s) else 9.0
    gap = since + until
    raise_s = min(RAISE_S, gap)
    top = min(1.0, 0.1 + gap / 0.4)  # fast strokes are low
    rest = STILL_HEIGHT * (1.0 - np.exp(-since / 0.05))
    if until >= raise_s:
        return float(rest)
    u = 1.0 - until / raise_s  # 0 at the start of the raise, 1 at the stroke
    arch = np.sin(np.pi * u**1.6) if u < 1 else 0.0
    return float(max(0.0, (1 - u) * rest + top * arch))


def frame_times(spec: PictureSpec, duration_s: float) -> list[float]:
    """When each frame is shown: even, or as a phone does it that lacks light."""
    if not spec.uneven:
        return [n / spec.fps for n in range(max(2, int(duration_s * spec.fps)))]
    rng = np.random.default_rng([spec.seed, 61])
    times, now = [], 0.0
    while now < duration_s:
        times.append(now)
        slow = 1.25 if int(now / 4.0) % 2 else 1.0  # by turns 30 and 24 frames a second
        now += slow / spec.fps * (1 + 0.03 * rng.standard_normal())
        if rng.random() < 0.006:
            now += 2.0 / spec.fps  # a frame that never came
    return times


def frames(spec: PictureSpec, strikes_s: Sequence[float], times_s: Sequence[float]) -> Iterator[Picture]:
    """One frame for each time."""
    near = replace(spec, width=spec.width // 4 * 2, height=spec.height // 4 * 2) if "far" in spec.effects else spec
    figure = Figure(stage_for(spec.instrument, near.width, near.height, spec.seed))
    hands = hands_for([] if "still" in spec.effects else strikes_s, spec.instrument)
    after = _Effects(spec)
    held: Picture | None = None
    for t in times_s:
        frozen = spec.frozen_s is not None and spec.frozen_s[0] <= t < spec.frozen_s[1]
        if not (frozen and held is not None) and not ("still" in spec.effects and held is not None):
            held = after.apply(_drawn(figure, hands, near, t), t)
        assert held is not None
        yield held


def _drawn(figure: Figure, hands: Hands, spec: PictureSpec, t: float) -> Picture:
    grainy = figure.stage.grainy
    canvas = grainy[round(t * spec.fps) % len(grainy)].copy()
    if "passer-by" in spec.effects:
        x = spec.width * (0.12 + 0.12 * np.sin(0.8 * t + spec.seed))
        capsule(canvas, (x, 0.35 * spec.height), (x, 0.8 * spec.height), 0.07 * spec.height, (60, 66, 74))
    moments = [t + spec.exposure_s * k / SMEAR for k in range(SMEAR)]
    heights = [[height_at(m, hands.right_s) for m in moments], [height_at(m, hands.left_s) for m in moments]]
    figure.draw(canvas, heights, round(12 * np.sin(2.1 * t) * np.cos(0.7 * t)) / 12)
    return canvas


@dataclass
class _Effects:
    """What light, lens and hand do to a frame."""

    spec: PictureSpec
    rng: np.random.Generator = field(init=False)
    grain: list[NDArray[np.int16]] = field(default_factory=list)
    wide: Picture | None = None

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.spec.seed, 62])
        shape = (self.spec.height, self.spec.width, 1)
        if "grain" in self.spec.effects or "dark" in self.spec.effects:
            self.grain = [np.round(2.2 * self.rng.standard_normal(shape)).astype(np.int16) for _ in range(6)]

    def apply(self, frame: Picture, t: float) -> Picture:
        effects = self.spec.effects
        if "black" in effects:
            return np.zeros_like(frame)
        if "covered" in effects:
            frame = np.full_like(frame, 9)
            frame[..., 0] = 26 + int(4 * np.sin(t))
        if "far" in effects:
            frame = self._further_away(frame)
        if "blurred" in effects:
            frame = _blurred(frame, max(4, self.spec.width // 40))
        if "shaking" in effects:
            shift = self.spec.width // 40
            dy, dx = (int(shift * (np.sin(7.0 * t + k) + 0.6 * np.sin(17.3 * t + 2 * k))) for k in (0, 1))
            frame = np.roll(frame, (dy, dx), axis=(0, 1))
        if "handheld" in effects:
            sway = self.spec.width / 300
            dy, dx = (round(sway * (np.sin(1.3 * t + 2 * k) + 0.5 * np.sin(3.1 * t + k))) for k in (0, 1))
            frame = np.roll(frame, (dy, dx), axis=(0, 1))
        if "letterboxed" in effects:
            frame = frame.copy()
            bar = self.spec.height // 7
            frame[:bar] = 0
            frame[-bar:] = 0
        gain = 0.09 if "dark" in effects else 1.0
        if "light" in effects:
            gain *= 0.8 + 0.2 * np.sin(0.9 * t) + 0.08 * np.sign(np.sin(2.3 * t))
        return self._exposed(frame, gain)

    def _further_away(self, near: Picture) -> Picture:
        """The player half as large, somewhere in a wide plain room."""
        if self.wide is None:
            self.wide = np.full((self.spec.height, self.spec.width, 3), near[0, 0], np.uint8)
        frame = self.wide.copy()
        top, left = self.spec.height - near.shape[0], (self.spec.width - near.shape[1]) // 3
        frame[top:, left : left + near.shape[1]] = near
        return frame

    def _exposed(self, frame: Picture, gain: float) -> Picture:
        if gain != 1.0:
            table = np.clip(np.arange(256) * gain, 0, 255).astype(np.uint8)
            frame = np.asarray(np.take(table, frame), np.uint8)
        if not self.grain:
            return frame
        noisy = frame.astype(np.int16) + self.grain[int(self.rng.integers(len(self.grain)))]
        return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def _blurred(frame: Picture, size: int) -> Picture:
    """A box blur along both axes by running sums."""
    out = frame.astype(np.float64)
    for axis in (0, 1):
        pad = [(0, 0)] * 3
        pad[axis] = (size, size)
        total = np.cumsum(np.pad(out, pad, mode="edge"), axis=axis)
        n = out.shape[axis]
        high = np.take(total, range(2 * size, 2 * size + n), axis=axis)
        low = np.take(total, range(n), axis=axis)
        out = (high - low) / (2 * size)
    return np.asarray(np.clip(out, 0, 255), np.uint8)

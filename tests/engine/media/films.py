"""Small files made on the spot: a picture with a moving block, a sound with clear clicks at known places."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from submissions.engine.facts import Sound
from submissions.engine.media import write_film

CLICKS_S = (0.25, 0.61, 1.07, 1.43)


def clicks(rate=48_000, channels=1, seconds=1.8, at_s=CLICKS_S):
    """Noise at -60 dB with decaying 1.5 kHz clicks."""
    rng = np.random.default_rng(5)
    samples = rng.normal(0, 0.001, (round(seconds * rate), channels))
    n = np.arange(round(0.02 * rate))
    wave = 0.7 * np.exp(-n / (0.004 * rate)) * np.cos(2 * np.pi * 1500 * n / rate)
    for at in at_s:
        start = round(at * rate)
        samples[start : start + len(n)] += wave[: len(samples) - start, None]
    return Sound(samples.astype(np.float32), rate)


def moving(count, width=160, height=90, seed=0):
    """Gray frames: a bright block walks over a gradient with some noise."""
    rng = np.random.default_rng(seed)
    ground = np.linspace(40, 120, width)[None, :] + rng.normal(0, 6, (height, width))
    for n in range(count):
        frame = ground + rng.normal(0, 1, (height, width))
        left = (7 * n) % max(1, width - 24)
        frame[height // 3 : height // 3 + 24, left : left + 24] = 230
        yield np.clip(frame, 0, 255).astype(np.uint8)


@dataclass(frozen=True)
class Film:
    """One row of the table: a name and how to write it."""

    name: str
    fps: float = 30
    seconds: float = 1.8
    width: int = 160
    height: int = 90
    rate: int = 48_000
    channels: int = 1
    sound: bool = True
    uneven: bool = False
    options: dict = field(default_factory=dict)

    @property
    def times(self):
        if not self.uneven:
            return None
        rng = np.random.default_rng(9)
        steps = 1 / self.fps * (1 + 0.15 * rng.standard_normal(int(self.seconds * self.fps)).clip(-2, 2))
        steps[12] = 0.35
        return list(np.concatenate([[0.0], np.cumsum(steps)])[:-1])

    def write(self, folder: Path) -> Path:
        path = folder / self.name
        times = self.times
        count = len(times) if times else round(self.seconds * self.fps)
        sound = clicks(self.rate, self.channels, self.seconds) if self.sound else None
        write_film(
            path, moving(count, self.width, self.height), fps=self.fps, times_s=times, sound=sound, **self.options
        )
        return path

"""Kits of real single hits, read from a folder where one is installed; the modelled kits live in music/sounds.py.

A folder holds sound files whose names begin with a drum word: snare, rim, tenor, bass, cymbal ("snare-soft.flac",
"tenor-2 loud.wav"). Each file is one hit. The foot of its attack is the first sample that passes 3 % of the peak; the
hit is cut there, so that truth means the same as for modelled hits.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np
import soxr
from numpy.typing import NDArray

from ..errors import EngineError
from ..music.sounds import Kit, hit

Wave = NDArray[np.float32]
FOOT_SHARE = 0.03  # -30 dB: over the noise before a hit, within 0.6 ms of the start of the files tried
LEAD = 32  # samples kept in front while resampling, for the filter's ringing
# Where the Debian package sonic-pi-samples (CC0) puts its files, and which of them are which drum.
CC0_FOLDER = Path("/usr/share/sonic-pi/samples")
CC0_HITS = {
    "snare": ("drum_snare_soft", "drum_snare_hard"),
    "tenor-1": ("drum_tom_hi_soft", "drum_tom_hi_hard"),
    "tenor": ("drum_tom_mid_soft", "drum_tom_mid_hard"),
    "tenor-4": ("drum_tom_lo_soft", "drum_tom_lo_hard"),
    "bass": ("drum_bass_soft", "drum_bass_hard"),
    "cymbal": ("drum_splash_soft", "drum_splash_hard", "drum_cymbal_soft", "drum_cymbal_hard"),
    "rim": ("drum_cowbell",),
}
PITCH = {"bass-1": 1.45, "bass-2": 1.2, "bass-4": 0.84, "bass-5": 0.7, "tenor-2": 1.1, "tenor-3": 0.92, "tenor-5": 1.3}


@dataclass(frozen=True, eq=False)
class RealHit:
    """One recorded hit: foot at sample 0, peak 1; peak is what the file had."""

    wave: Wave
    rate: int
    peak: float


@dataclass(frozen=True, eq=False)
class RealKit:
    """Recorded hits by drum word, softest first."""

    name: str
    hits: dict[str, tuple[RealHit, ...]] = field(default_factory=dict)

    def variants(self, drum: str) -> tuple[tuple[RealHit, ...], float]:
        """The hits of this drum, or of its family, and the pitch they are to be played at."""
        for word in (drum, drum.rpartition("-")[0]):
            if word in self.hits:
                return self.hits[word], 1.0 if word == drum else PITCH.get(drum, 1.0)
        first = next(iter(self.hits.values()))
        return self.hits.get("snare", first), 1.0


AnyKit = Kit | RealKit


def strike(drum: str, level: float, kit: AnyKit, rate: int, rng: np.random.Generator) -> Wave:
    """One stroke on either sort of kit; loudness as `music.sounds.hit` has it."""
    if isinstance(kit, Kit):
        return hit(drum, level, kit, rate, rng)
    variants, pitch = kit.variants(drum)
    place = level * len(variants) + rng.normal(0.0, 0.5)
    chosen = variants[int(np.clip(place, 0, len(variants) - 1))]
    wave: Wave = _resampled(chosen, rate, pitch) * np.float32(level * level)
    return wave


@lru_cache(maxsize=512)
def _resampled(one: RealHit, rate: int, pitch: float) -> Wave:
    source = one.rate * pitch
    if abs(source - rate) < 0.5:
        return one.wave
    padded = np.concatenate([np.zeros(LEAD, np.float32), one.wave])
    wave: Wave = soxr.resample(padded, source, rate).astype(np.float32)
    return wave[round(LEAD * rate / source) :]


def kit_from_folder(folder: Path) -> RealKit:
    """A kit of all the files in this folder whose names begin with a drum word."""
    words = ("snare", "rim", "tenor", "bass", "cymbal")
    found: dict[str, list[RealHit]] = {}
    for path in sorted(folder.iterdir()):
        stem = path.stem.lower()
        word = next((w for w in words if stem.startswith(w)), None)
        if word is None or path.suffix.lower() not in (".wav", ".flac", ".ogg", ".aif", ".aiff"):
            continue
        numbered = stem[: len(word) + 2]
        drum = numbered if numbered[len(word) :] in {f"-{n}" for n in range(1, 7)} else word
        found.setdefault(drum, []).append(read_hit(path))
    if not found:
        raise EngineError(f"There is no sound file that begins with a drum's word in {folder.name}.")
    return RealKit(folder.name, {drum: _softest_first(hits) for drum, hits in found.items()})


def cc0_kit() -> RealKit | None:
    """The kit of real CC0 hits, where the package sonic-pi-samples is installed."""
    if not (CC0_FOLDER / "drum_snare_hard.flac").is_file():
        return None
    hits = {
        word: _softest_first([read_hit(CC0_FOLDER / f"{n}.flac") for n in names]) for word, names in CC0_HITS.items()
    }
    return RealKit("cc0", hits)


def read_hit(path: Path) -> RealHit:
    """One file as a hit: mono, cut at its foot, peak 1."""
    import soundfile  # type: ignore[import-untyped]  # a reference library of the tests; takes on modelled kits need none

    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    mono = samples.mean(axis=1)
    peak = float(np.abs(mono).max())
    if peak <= 0:
        raise EngineError(f"The hit {path.name} is silent.")
    foot = int(np.argmax(np.abs(mono) >= FOOT_SHARE * peak))
    wave = (mono[foot : foot + 3 * rate] / peak).astype(np.float32)
    tail = min(len(wave), rate // 100)
    wave[-tail:] *= np.linspace(1, 0, tail, dtype=np.float32)
    return RealHit(wave, int(rate), peak)


def _softest_first(hits: list[RealHit]) -> tuple[RealHit, ...]:
    return tuple(sorted(hits, key=lambda one: one.peak))

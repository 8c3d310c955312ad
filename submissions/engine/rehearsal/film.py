"""A made take and a moving picture, written as the file a phone would hand over.

Conventions: the picture's time 0 is its first frame; the player's hands move at the take's true strikes, earlier or
later by what `sound_late_s` says. Sound and picture start together in the container unless `sound_starts_s` moves
the sound; the hands allow for it, so that `sound_late_s` stays what a viewer sees.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np

from ..facts import Sound
from ..media import write_aac, write_film
from .picture import Picture, PictureSpec, frame_times, frames
from .take import MadeTake, at_opus_rate

FAST = {"libx264": {"preset": "ultrafast"}}  # a demo is waited for; size matters less
CUT_AT_BOX = {"movflags": "faststart"}  # the table of contents in front, so that half a file still opens


@dataclass(frozen=True, slots=True)
class FilmSpec:
    """Container and picture of a film; the suffix is the container's."""

    suffix: str = ".mp4"  # ".mp4", ".mov", ".webm", ".mkv"
    picture: PictureSpec | None = field(default_factory=PictureSpec)  # None: a film without picture
    sound: bool = True
    rotation: int = 0  # degrees clockwise that a player turns it
    sound_late_s: float = 0.0  # the sound a viewer hears after the stroke they see; negative: before
    sound_starts_s: float = 0.0  # container time of the first sample
    cut_share: float | None = None  # the file breaks off after this share of its bytes
    crf: int = 30
    audio_bit_rate: int = 128_000
    video_codec: str = ""
    audio_codec: str = ""


def make_film(take: MadeTake, spec: FilmSpec, path: Path) -> None:
    """Write the film of a take to path, whose suffix must be the spec's."""
    picture = spec.picture
    if picture is None:
        write_aac(path, take.sound, spec.audio_bit_rate)
        return
    sound = take.sound if spec.sound else None
    times = frame_times(picture, take.sound.duration_s + max(0.0, spec.sound_starts_s))
    seen = [at + spec.sound_starts_s - spec.sound_late_s for at in take.truth.earlier_s + take.truth.strikes_s]
    codec = spec.video_codec or ("" if spec.suffix == ".webm" else "libx264")
    write_film(
        path,
        _turned(frames(picture, seen, times), spec.rotation),
        fps=Fraction(picture.fps).limit_denominator(1001),
        times_s=times if picture.uneven else None,
        sound=_storable(sound, spec),
        video_codec=codec,
        audio_codec=spec.audio_codec,
        rotation=spec.rotation,
        sound_starts_s=spec.sound_starts_s,
        crf=spec.crf,
        audio_bit_rate=spec.audio_bit_rate,
        options=FAST.get(codec),
        container_options=CUT_AT_BOX if spec.cut_share is not None and spec.suffix in (".mp4", ".mov") else None,
    )
    if spec.cut_share is not None:
        break_off(path, spec.cut_share)


def _turned(pictures: Iterator[Picture], rotation: int) -> Iterator[Picture]:
    """Frames as a phone held sideways stores them: turned back by what the player will turn them."""
    for picture in pictures:
        yield np.ascontiguousarray(np.rot90(picture, rotation // 90)) if rotation else picture


def _storable(sound: Sound | None, spec: FilmSpec) -> Sound | None:
    """At most two channels, and a rate that the container's codec takes."""
    if sound is None:
        return None
    if spec.suffix == ".webm" or "opus" in spec.audio_codec:
        sound = at_opus_rate(sound)
    return sound if sound.samples.shape[1] <= 2 else Sound(sound.samples[:, :2], sound.rate)


def break_off(path: Path, share: float) -> None:
    """Cut the file off after this share of its bytes, as a lost connection or a full memory does."""
    data = path.read_bytes()
    path.write_bytes(data[: max(1, int(share * len(data)))])


def film_of_text(path: Path) -> None:
    """A text file that calls itself a film."""
    path.write_text("Practice on Thursday at six. Bring sticks and water.\n" * 40, encoding="utf-8")

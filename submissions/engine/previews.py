"""Previews for people: poster, waveform, a small film at a constant rate, an aligned sound file.

Made after the verdict, step by step; each step's file appears under its name only when it is whole, and a step whose
file is there is not done again, so work that was stopped goes on where it stopped. All previews start at the same
moment, `start_s` of file time; zero lies `zero_s - start_s` seconds into each of them.
"""

import os
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from .media import preview_parts

LEAD_S = 2.0  # before zero: the last of the count-off is heard
TAIL_S = 1.5  # after the last bar: the ring-out
NAMES = {"peaks": "peaks.bin", "sound": "sound.m4a", "poster": "poster.jpg", "film": "film.mp4"}
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Stretch:
    """The part of a take that previews show, file time, seconds."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Previews:
    """The files made, by kind ("peaks", "sound", "poster", "film"), and where zero lies in each, if it is known."""

    files: dict[str, Path]
    start_s: float
    zero_in_preview_s: float | None


def stretch_of(zero_s: float | None, end_s: float, duration_s: float) -> Stretch:
    """From LEAD_S before zero to TAIL_S after the last bar (zero_s + end_s), or the whole take when zero is unknown."""
    if zero_s is None:
        return Stretch(0.0, duration_s)
    return Stretch(zero_s - LEAD_S, max(zero_s + 1.0, min(duration_s, zero_s + end_s + TAIL_S)))


def make_previews(
    path: Path | str,
    folder: Path,
    stretch: Stretch,
    zero_s: float | None = None,
    *,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    kinds: tuple[str, ...] = ("peaks", "sound", "poster", "film"),
) -> Previews:
    """Make the previews that are not there yet in folder. MediaError when the take cannot be read or work was stopped.

    progress is called with 0 to 1. cancelled is asked about twice a second.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = {kind: folder / NAMES[kind] for kind in kinds}
    # The quick ones first: people see something while the film is still being made.
    groups: tuple[tuple[str, ...], ...] = (("peaks", "sound", "poster"), ("film",))
    for group in groups:
        missing = {kind: files[kind] for kind in group if kind in files and not files[kind].exists()}
        if missing:
            _make(path, missing, stretch, progress if "film" in group else None, cancelled)
    if progress is not None:
        progress(1.0)
    return Previews(files, stretch.start_s, None if zero_s is None else zero_s - stretch.start_s)


def _make(
    path: Path | str,
    wanted: dict[str, Path],
    stretch: Stretch,
    progress: Progress | None,
    cancelled: Callable[[], bool] | None,
) -> None:
    """Write the wanted files beside their places under passing names, then move them there."""
    passing = {kind: target.with_name(f".{target.name}.part") for kind, target in wanted.items()}
    try:
        with ExitStack() as open_files:
            outputs = {k: open_files.enter_context(passing[k].open("w+b")) for k in wanted if k != "peaks"}
            descriptors = {kind: file.fileno() for kind, file in outputs.items()}
            for tag, payload in preview_parts(
                path, stretch.start_s, stretch.end_s, descriptors, "peaks" in wanted, cancelled=cancelled
            ):
                if tag == "peaks":
                    passing["peaks"].write_bytes(payload)
                elif progress is not None and payload:
                    progress(min(payload[0], 100) / 100)
        for kind, target in wanted.items():
            if passing[kind].exists() and passing[kind].stat().st_size:
                os.replace(passing[kind], target)
    finally:
        for part in passing.values():
            part.unlink(missing_ok=True)

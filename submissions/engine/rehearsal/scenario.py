"""The demo scenario: an invented line sends in its takes, good ones and one of each fault, with known truth.

Every player is invented, every address ends in example.org. `scenes()` lists the takes in the order in which they
arrive; `make_scene` writes one as a file. `Expected` says what the truth deserves: the verdict, the finding codes of
level redo or look that must be given, those that may be, and how close zero must be where something carries it.
"""

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from ..music.score import for_drum, read_score
from ..music.written import Part
from .cadence import cadence
from .film import FilmSpec, film_of_text, make_film
from .scenes import FAULTY, GOOD
from .scenewords import Expected, Player, Scene
from .take import MadeTake, make_take
from .truth import Truth

__all__ = ["Expected", "MadeScene", "Player", "Scene", "make_scene", "part_for", "scenes"]


@dataclass(frozen=True)
class MadeScene:
    """One take of the scenario as a file; truth is None where nothing was played (a text file)."""

    scene: Scene
    path: Path
    truth: Truth | None


def scenes() -> tuple[Scene, ...]:
    """All takes of the scenario; a copy comes after what it copies."""
    return GOOD + FAULTY


@lru_cache(maxsize=64)
def part_for(segment: str, part_id: str, drum: str = "all") -> Part:
    """The part as this player plays it."""
    text = next(source.musicxml_text for source in cadence() if source.name == segment)
    part = next(part for part in read_score(text.encode()).parts if part.part_id == part_id)
    return for_drum(part, drum)


def take_of(scene: Scene) -> MadeTake:
    """The sound and truth of a scene, without its picture."""
    part = part_for(scene.segment, scene.part_id, scene.drum)
    return make_take(part, scene.take_spec(part_for), scene.seed)


def make_scene(scene: Scene, folder: Path, made: Mapping[str, MadeScene] | None = None) -> MadeScene:
    """Write the scene's file into folder. made: what has been written before, which spares a copy its source."""
    path = folder / scene.file_name
    if scene.source == "text":
        film_of_text(path)
        return MadeScene(scene, path, None)
    if scene.source == "copy":
        first = (made or {}).get(scene.of) or make_scene(by_key(scene.of), folder)
        shutil.copyfile(first.path, path)
        return MadeScene(scene, path, first.truth)
    shown = by_key(scene.of) if scene.source == "encoded again" else scene
    take = take_of(shown)
    make_film(take, _film(scene, shown), path)
    return MadeScene(scene, path, take.truth)


def _film(scene: Scene, shown: Scene) -> FilmSpec:
    """A copy that was encoded again keeps the picture of its source and the wrapping of its own."""
    return scene.film if shown is scene else scene.rewrapped(shown.film)


def by_key(key: str) -> Scene:
    """The scene of this key."""
    return next(scene for scene in scenes() if scene.key == key)

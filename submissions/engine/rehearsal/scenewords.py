"""The words a scene of the demo scenario is told in."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from ..music.written import Part
from .film import FilmSpec
from .spec import TakeSpec

PartFor = Callable[[str, str, str], Part]


@dataclass(frozen=True, slots=True)
class Player:
    """An invented player. age is a word of the portal's age bands: "0" under 13, "13", "14", "15", "16", "18"."""

    name: str
    age: str = "18"
    guardian: str = ""

    @property
    def email(self) -> str:
        return f"{self.name.lower().replace(' ', '.')}@example.org"


@dataclass(frozen=True, slots=True)
class Expected:
    """What the truth of a take deserves. Codes are those of findings of level redo or look; notes do not count."""

    verdict: str = "ready"
    codes: frozenset[str] = frozenset()
    may: frozenset[str] = frozenset()
    zero_within_ms: float | None = None  # None: nothing in the take carries zero
    zero_from: str | None = None


@dataclass(frozen=True)
class Scene:
    """One take of the scenario: who plays what on which device, what goes wrong, what it deserves."""

    key: str
    player: Player
    segment: str
    part_id: str
    drum: str
    device: str
    seed: int
    spec: TakeSpec
    film: FilmSpec
    expects: Expected
    source: str = "film"  # "film", "text", "copy", "encoded again"
    of: str = ""  # key of the copied scene
    plays: tuple[str, str, str] | None = None  # (segment, part_id, drum) really played where it is another part
    tags: frozenset[str] = field(default_factory=frozenset)

    @property
    def file_name(self) -> str:
        return f"{self.key}{self.film.suffix}"

    def take_spec(self, part_for: PartFor) -> TakeSpec:
        """The take's spec with the other part filled in where one is played."""
        if self.plays is None:
            return self.spec
        return replace(self.spec, faults=replace(self.spec.faults, other_part=part_for(*self.plays)))

    def rewrapped(self, film: FilmSpec) -> FilmSpec:
        """Another take's film in this scene's wrapping: suffix, codecs and rates."""
        own = self.film
        return replace(
            film, suffix=own.suffix, crf=own.crf, audio_bit_rate=own.audio_bit_rate, video_codec=own.video_codec
        )

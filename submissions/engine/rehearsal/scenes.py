"""The takes of the demo scenario: seventeen good ones and one of each fault. Everybody and everything is invented."""

from dataclasses import replace
from typing import Any

from ..music.sounds import CUSHION, FIELD, LOOSE, MUTED, PAD, TABLE
from .devices import BEDROOM, CAMERA, FAN, GARAGE, HALL, LAPTOP, OLD_PHONE, PHONE, QUIET, STREET, TABLET, YARD
from .film import FilmSpec
from .kits import AnyKit
from .picture import PictureSpec
from .scenewords import Expected, Player, Scene
from .spec import (
    BEGINNER,
    INTERMEDIATE,
    PROFESSIONAL,
    Faults,
    Leak,
    Marks,
    Noise,
    Phone,
    Room,
    Skill,
    TakeSpec,
)
from .spec import (
    GOOD as GOOD_PLAYER,
)

GATE, LADDER, LANTERN = "Copper Gate", "Long Ladder", "Last Lantern"
SNARE, TENORS, BASS, CYMBALS = "P1", "P2", "P3", "P4"
INSTRUMENTS = {SNARE: "snare", TENORS: "tenors", BASS: "bass", CYMBALS: "cymbals"}
DEVICES = {"phone": PHONE, "old phone": OLD_PHONE, "tablet": TABLET, "laptop": LAPTOP, "camera": CAMERA}
ROOMS = {"bedroom": (BEDROOM, QUIET), "garage": (GARAGE, QUIET), "hall": (HALL, FAN), "yard": (YARD, STREET)}
LEAKED = Leak(level_db=-34.0)  # so far under the drums: found, and no finding
BOTH_MARKS, FIRST_MARKS = Marks(), Marks(end=False)


def _take(
    kit: AnyKit, skill: Skill, where: str, device: str, zero: str, ppm: float = 0.0, faults: Faults | None = None
) -> TakeSpec:
    """The spec of a usual take. zero: "marks", "first marks", "click", "written"."""
    room, noise = ROOMS[where]
    phone: Phone = replace(DEVICES[device], clock_ppm=ppm)
    marks = {"marks": BOTH_MARKS, "first marks": FIRST_MARKS}.get(zero)
    leak = LEAKED if zero == "click" else None
    quiet: Noise = noise
    place: Room = room
    return TakeSpec(
        kit=kit,
        skill=skill,
        room=place,
        noise=quiet,
        phone=phone,
        marks=marks,
        leak=leak,
        faults=faults or Faults(),
        talk=1,
    )


def _film(part_id: str, seed: int, suffix: str = ".mp4", **changes: Any) -> FilmSpec:
    """A film of this part's instrument; changes are fields of the picture or of the film."""
    picture_fields = {k: v for k, v in changes.items() if k in PictureSpec.__dataclass_fields__}
    film_fields = {k: v for k, v in changes.items() if k in FilmSpec.__dataclass_fields__}
    picture = PictureSpec(instrument=INSTRUMENTS[part_id], seed=seed, **picture_fields)
    return FilmSpec(suffix=suffix, picture=picture, **film_fields)


def _good(zero: str) -> Expected:
    if zero == "written":
        return Expected(zero_from="written")
    return Expected(zero_within_ms=1.0, zero_from="click" if zero == "click" else "marks")


def _scene(
    key: str, player: Player, what: tuple[str, str, str], kit: AnyKit, skill: Skill, where: str, device: str, zero: str, seed: int,
    suffix: str = ".mp4", **changes: Any,
) -> Scene:  # fmt: skip
    segment, part_id, drum = what
    ppm = float((seed * 37) % 61 - 30)  # phones' clocks differ by some 30 millionths
    spec = _take(kit, skill, where, device, zero, ppm)
    return Scene(
        key, player, segment, part_id, drum, device, seed, spec, _film(part_id, seed, suffix, **changes), _good(zero)
    )


def _faulty(
    key: str, player: Player, what: tuple[str, str, str], zero: str, seed: int, expects: Expected, *,
    faults: Faults | None = None, spec: dict[str, Any] | None = None, plays: tuple[str, str, str] | None = None, **changes: Any,
) -> Scene:  # fmt: skip
    segment, part_id, drum = what
    take = _take(FIELD, GOOD_PLAYER, "bedroom", "phone", zero, 0.0, faults)
    take = replace(take, **(spec or {}))
    return Scene(
        key, player, segment, part_id, drum, "phone", seed, take, _film(part_id, seed, **changes), expects, plays=plays
    )


def _says(verdict: str, *codes: str, may: tuple[str, ...] = (), zero: str | None = None) -> Expected:
    within = 1.0 if zero in ("marks", "click") else None
    return Expected(verdict, frozenset(codes), frozenset(may), within, zero)


def _copy(key: str, player: Player, of: Scene, source: str, film: FilmSpec) -> Scene:
    expects = replace(of.expects, verdict="look", codes=frozenset({"copy-of-a-take"}))
    return Scene(
        key, player, of.segment, of.part_id, of.drum, of.device, of.seed, of.spec, film, expects, source, of.key
    )


GOOD: tuple[Scene, ...] = (
    _scene("snare-ana", Player("Ana Quill"), (GATE, SNARE, "all"), FIELD, PROFESSIONAL, "garage", "phone", "marks", 101),
    _scene("snare-bo", Player("Bo Larkspur", "16"), (GATE, SNARE, "all"), FIELD, INTERMEDIATE, "bedroom", "phone", "marks", 102, ".mov", rotation=90),
    _scene("snare-cim", Player("Cim Ferrow", "13", "ferrow.family@example.org"), (GATE, SNARE, "all"), CUSHION, BEGINNER, "bedroom", "old phone", "marks", 103),
    _scene("tenors-dara", Player("Dara Moss"), (GATE, TENORS, "all"), FIELD, GOOD_PLAYER, "garage", "tablet", "click", 104),
    _scene("tenors-emil", Player("Emil Vane", "16"), (GATE, TENORS, "all"), FIELD, INTERMEDIATE, "bedroom", "laptop", "marks", 105, ".webm"),
    _scene("bass1-finn", Player("Finn Okra", "14"), (GATE, BASS, "1"), FIELD, GOOD_PLAYER, "yard", "phone", "written", 106),
    _scene("bass2-gale", Player("Gale Tansy"), (GATE, BASS, "2"), FIELD, GOOD_PLAYER, "garage", "old phone", "marks", 107, uneven=True),
    _scene("bass3-hedy", Player("Hedy Brook", "15"), (GATE, BASS, "3"), FIELD, INTERMEDIATE, "bedroom", "tablet", "click", 108),
    _scene("bass4-ivo", Player("Ivo Sedge", "16"), (GATE, BASS, "4"), FIELD, INTERMEDIATE, "garage", "phone", "first marks", 109),
    _scene("bass5-june", Player("June Harrow"), (GATE, BASS, "5"), FIELD, GOOD_PLAYER, "bedroom", "camera", "marks", 110, ".mov"),
    _scene("bass-kit", Player("Kit Alder", "0", "alder.family@example.org"), (GATE, BASS, "all"), MUTED, BEGINNER, "bedroom", "tablet", "marks", 111),
    _scene("cymbals-lio", Player("Lio Marsh"), (GATE, CYMBALS, "all"), FIELD, GOOD_PLAYER, "yard", "phone", "marks", 112),
    _scene("lantern-snare-mika", Player("Mika Roe"), (LANTERN, SNARE, "all"), PAD, GOOD_PLAYER, "bedroom", "laptop", "marks", 113, ".webm"),
    _scene("lantern-tenors-nell", Player("Nell Crane", "16"), (LANTERN, TENORS, "all"), TABLE, INTERMEDIATE, "bedroom", "phone", "click", 114),
    _scene("lantern-cymbals-oda", Player("Oda Finch"), (LANTERN, CYMBALS, "all"), FIELD, INTERMEDIATE, "hall", "camera", "marks", 115),
    _scene("ladder-snare-pax", Player("Pax Wren"), (LADDER, SNARE, "all"), LOOSE, PROFESSIONAL, "garage", "phone", "written", 116),
    _scene("ladder-bass3-rue", Player("Rue Thorn", "15"), (LADDER, BASS, "3"), FIELD, INTERMEDIATE, "bedroom", "phone", "marks", 117, uneven=True),
)  # fmt: skip

FAULTY: tuple[Scene, ...] = (
    _faulty("no-sound", Player("Sol Amber"), (GATE, SNARE, "all"), "marks", 201, _says("redo", "no-audio"), sound=False),
    _faulty("silent", Player("Tam Birch"), (GATE, TENORS, "all"), "marks", 202, _says("redo", "silent"), faults=Faults(silent=True)),
    _faulty("clipped", Player("Una Cole"), (GATE, SNARE, "all"), "marks", 203, _says("redo", "clipped", zero="marks"), spec={"phone": replace(PHONE, gain_db=16.0)}),
    _faulty(
        "click-audible", Player("Vio Dunn"), (GATE, SNARE, "all"), "click", 204, _says("look", "click-audible", zero="click"),
        spec={"leak": Leak(level_db=-12.0, path="speaker")},
    ),
    _faulty("wrong-tempo", Player("Wes Elm"), (GATE, BASS, "4"), "written", 205, _says("redo", "wrong-tempo", may=("unsure-of-zero",)), faults=Faults(tempo_ratio=1.07)),
    _faulty(
        "another-part", Player("Xan Fell"), (GATE, TENORS, "all"), "marks", 206, _says("redo", "not-this-part", may=("incomplete", "loose-timing")),
        plays=(LANTERN, SNARE, "all"),
    ),
    _faulty("stops-half-way", Player("Yui Gorse"), (GATE, SNARE, "all"), "marks", 207, _says("redo", "incomplete", zero="marks"), faults=Faults(stop_share=0.5)),
    _faulty("two-bars-late", Player("Zed Heath"), (GATE, BASS, "1"), "click", 208, _says("look", "starts-late", zero="click"), faults=Faults(late_bars=2)),
    _faulty("drifting", Player("Abe Ivory"), (GATE, BASS, "5"), "click", 209, _says("redo", "drifts", may=("loose-timing",), zero="click"), faults=Faults(drift=0.013)),
    _faulty("frozen-picture", Player("Bea Juno"), (GATE, CYMBALS, "all"), "marks", 210, _says("redo", "frozen-picture", zero="marks"), frozen_s=(9.0, 900.0)),
    _faulty("black-picture", Player("Cal Knoll"), (GATE, BASS, "3"), "marks", 211, _says("redo", "black-picture", zero="marks"), effects=("black",)),
    _faulty("ten-frames", Player("Dee Loam"), (GATE, TENORS, "all"), "marks", 212, _says("redo", "low-frame-rate", zero="marks"), fps=10.0),
    _faulty("sound-behind", Player("Eli Mead"), (GATE, SNARE, "all"), "marks", 213, _says("look", "sound-picture-apart", zero="marks"), sound_late_s=0.18),
    _copy("exact-copy", Player("Fay North"), GOOD[0], "copy", GOOD[0].film),
    _copy("encoded-copy", Player("Gus Onyx"), GOOD[8], "encoded again", FilmSpec(suffix=".mov", crf=34, audio_bit_rate=96_000)),
    Scene(
        "text-file", Player("Hal Pike"), GATE, BASS, "2", "laptop", 216, TakeSpec(), FilmSpec(), _says("redo", "unreadable"), "text",
    ),
)  # fmt: skip

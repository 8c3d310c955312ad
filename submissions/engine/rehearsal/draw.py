"""Takes drawn from a seed: any instrument, kit, room, phone, player and way of zero; good ones and faulty ones.

Seeds below 10 000 are for tuning, seeds from 900 000 on for evaluation only; nothing is ever tuned on the latter.
Ranges follow what a phone in a home meets: rooms of 0.1 to 0.9 s, noise 20 to 60 dB under the drums, clocks within
50 millionths (common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from ..music.sounds import KITS
from ..music.written import Part
from .kits import AnyKit
from .pages import PageSpec, invent_part
from .spec import BEGINNER, GOOD, INTERMEDIATE, PROFESSIONAL, Faults, Leak, Marks, Noise, Phone, Room, TakeSpec

T = TypeVar("T")
FIRST_EVALUATION_SEED = 900_000
LAST_TUNING_SEED = 9_999
WAYS = ("marks", "click", "foreign click", "count-off", "written")
# Finding codes that a fault in the sound must bring, by the name of the fault.
FAULTS = (
    "wrong-tempo", "not-this-part", "incomplete", "starts-late", "drifts", "loose-timing", "clipped", "silent", "too-quiet",
    "noisy", "click-audible",
)  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """A part and what to make of it; fault is the finding code that its truth deserves, "" for a good take."""

    part: Part
    spec: TakeSpec
    seed: int
    way: str
    fault: str = ""


def draw_page(seed: int) -> PageSpec:
    """An instrument, a meter, a tempo and a length of 20 to 60 s."""
    rng = np.random.default_rng([seed, 1])
    instrument, drum = _choice(
        rng, (("snare", "all"), 0.38), (("tenors", "all"), 0.2), (("bass", str(int(rng.integers(1, 6)))), 0.2),
        (("bass", "all"), 0.1), (("cymbals", "all"), 0.12),
    )  # fmt: skip
    meter = _choice(rng, ((4, 4), 0.7), ((6, 8), 0.12), ((3, 4), 0.08), ((2, 4), 0.1))
    bpm = float(rng.uniform(60, 110) if meter == (6, 8) else rng.uniform(80, 160))
    bar_s = 60 / bpm * (2 if meter == (6, 8) else meter[0])
    bars = int(np.clip(round(rng.uniform(20, 60) / bar_s), 4, 40))
    return PageSpec(instrument, drum, bars, round(bpm), meter, ornaments=float(rng.uniform(0.3, 1.3)))


def draw_take(seed: int, kits: Sequence[AnyKit] = (), way: str | None = None) -> Drawn:
    """A good take: complete, spread under 35 ms, click not audible, usable sound. kits: real ones, taken half of the time."""
    rng = np.random.default_rng([seed, 2])
    way = way or str(
        _choice(rng, ("marks", 0.25), ("click", 0.25), ("foreign click", 0.05), ("count-off", 0.1), ("written", 0.35))
    )
    part = invent_part(draw_page(seed), seed)
    kit: AnyKit = (
        kits[int(rng.integers(len(kits)))] if kits and rng.random() < 0.5 else KITS[int(rng.integers(len(KITS)))]
    )
    skill = _choice(rng, (BEGINNER, 0.2), (INTERMEDIATE, 0.35), (GOOD, 0.25), (PROFESSIONAL, 0.2))
    room = Room(float(rng.uniform(0.1, 0.9)), float(rng.uniform(-2.0, 10.0)))
    noise = Noise(
        float(rng.uniform(-60, -28)),
        float(rng.uniform(-55, -35)) if rng.random() < 0.2 else None,
        float(rng.choice((50.0, 60.0))),
    )
    bleed = None
    if rng.random() < 0.15:
        other = replace(draw_page(seed), instrument=str(rng.choice(("snare", "tenors", "bass"))), drum="all")
        bleed = invent_part(other, seed + 5_000_000)
    spec = TakeSpec(
        kit=kit, skill=skill, room=room, noise=noise, phone=draw_phone(rng), codec=draw_codec(rng),
        talk=int(rng.integers(0, 3)), thumps=int(rng.integers(0, 3)),
        talk_over=int(rng.random() < 0.15), bleed=bleed, bleed_db=float(rng.uniform(-30, -14)),
    )  # fmt: skip
    return Drawn(part, _with_way(spec, way, rng), seed, way)


def draw_phone(rng: np.random.Generator) -> Phone:
    """A recording device."""
    return Phone(
        rate=int(_choice(rng, (48_000, 0.7), (44_100, 0.3))),
        channels=int(rng.integers(1, 3)),
        low_hz=float(rng.uniform(40, 220)),
        high_hz=float(rng.uniform(7_500, 18_000)),
        resonance_hz=float(rng.uniform(2_000, 6_000)),
        resonance_db=float(rng.uniform(0, 7)),
        agc_db=float(rng.uniform(4, 12)) if rng.random() < 0.3 else 0.0,
        limit=bool(rng.random() < 0.25),
        gain_db=float(rng.uniform(-14, -1)),
        dead_channel=bool(rng.random() < 0.05),
        clock_ppm=float(rng.uniform(-50, 50)),
        high_order=int(rng.spawn(1)[0].integers(2, 5)),  # spawned: what is drawn after it stays as it was
    )


def draw_codec(rng: np.random.Generator) -> str:
    """What the phone stores its sound with."""
    return str(_choice(rng, ("none", 0.4), ("aac-64", 0.15), ("aac-96", 0.1), ("aac-128", 0.2), ("opus-64", 0.15)))


def _with_way(spec: TakeSpec, way: str, rng: np.random.Generator) -> TakeSpec:
    """The take with what tells zero, and a recording that starts where such a take would."""
    path = str(_choice(rng, ("headphones", 0.7), ("speaker", 0.3)))
    cut_in = float(rng.uniform(0.3, 3.0)) if rng.random() < 0.2 else None  # recording begins inside the count-off
    if way == "marks":
        start, end = _choice(rng, ((True, True), 0.6), ((True, False), 0.28), ((False, True), 0.12))
        leak = Leak(float(rng.uniform(-45, -28)), path="headphones") if rng.random() < 0.3 else None
        marks = Marks(start, end, float(rng.uniform(-22, 0)))
        return replace(spec, marks=marks, leak=leak, before_s=None if start else cut_in)
    if way == "click":
        leak = Leak(float(rng.uniform(-36, -28)), path=path, marks=bool(rng.random() < 0.35))
        return replace(spec, leak=leak, before_s=cut_in)
    if way == "foreign click":
        return replace(
            spec, leak=Leak(float(rng.uniform(-36, -28)), str(_choice(rng, ("beep", 0.5), ("woodblock", 0.5))), path)
        )
    if way == "count-off":
        return replace(
            spec,
            count_off=str(_choice(rng, ("sticks", 0.6), ("voice", 0.4))),
            false_start_bars=int(2 * (rng.random() < 0.15)),
        )
    begins = _choice(rng, (None, 0.6), (float(rng.uniform(0.3, 6.0)), 0.4))
    return replace(spec, before_s=begins, false_start_bars=int(2 * (rng.random() < 0.08)))


def draw_faulty(seed: int, kits: Sequence[AnyKit] = (), fault: str | None = None) -> Drawn:
    """A take with one fault that can be heard, and with what is needed to hear it (a late start needs a click)."""
    rng = np.random.default_rng([seed, 3])
    fault = fault or FAULTS[int(rng.integers(len(FAULTS)))]
    needs_grid = fault in ("starts-late", "click-audible")
    way = str(_choice(rng, ("marks", 0.5), ("click", 0.5))) if needs_grid else None
    drawn = draw_take(seed, kits, "click" if fault == "click-audible" else way)
    spec, phone = drawn.spec, drawn.spec.phone
    steady = spec.skill if spec.skill.name != "beginner" else INTERMEDIATE
    sign = float(rng.choice((-1.0, 1.0)))
    changes: dict[str, TakeSpec] = {
        "wrong-tempo": _fault(spec, Faults(tempo_ratio=1 + sign * float(rng.uniform(0.03, 0.15)))),
        "not-this-part": _fault(spec, Faults(other_part=invent_part(draw_page(seed + 7_000_000), seed + 7_000_000))),
        "incomplete": _fault(spec, Faults(stop_share=float(rng.uniform(0.3, 0.8)))),
        "starts-late": _fault(spec, Faults(late_bars=int(rng.integers(1, 4)))),
        "drifts": _fault(replace(spec, skill=steady), Faults(drift=sign * _drift(drawn.part, rng))),
        "loose-timing": _fault(spec, Faults(loose_ms=float(rng.uniform(55, 80)))),
        "clipped": replace(spec, phone=replace(phone, gain_db=float(rng.uniform(14, 22)), agc_db=0.0, limit=False)),
        "silent": _fault(spec, Faults(silent=True)),
        "too-quiet": _fault(
            replace(spec, noise=Noise(-60.0), phone=replace(phone, gain_db=-4.0)),
            Faults(quiet_db=float(rng.uniform(-44, -36))),
        ),
        "noisy": replace(spec, noise=Noise(float(rng.uniform(-12, -4)), wind_db=-3.0 if rng.random() < 0.25 else None)),
        "click-audible": replace(
            spec, leak=Leak(float(rng.uniform(-16, 0)), path=str(rng.choice(("speaker", "headphones", "direct"))))
        ),
    }
    return replace(drawn, spec=changes[fault], fault=fault)


def _fault(spec: TakeSpec, faults: Faults) -> TakeSpec:
    return replace(spec, faults=faults)


def _drift(part: Part, rng: np.random.Generator) -> float:
    """A tempo change that moves the last bar by 120 to 300 ms against an even tempo through the take."""
    return float(rng.uniform(0.12, 0.3)) * 8 / part.end_s / 2


def _choice(rng: np.random.Generator, *weighted: tuple[T, float]) -> T:
    values, weights = zip(*weighted, strict=True)
    total = np.array(weights, dtype=float)
    chosen: T = values[int(rng.choice(len(values), p=total / total.sum()))]
    return chosen

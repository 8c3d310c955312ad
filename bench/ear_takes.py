"""One take of the ear's bench, from seed to figures: made, heard by Tapoff, heard by the libraries.

Seeds from 900 000 on are for evaluation only; nothing is ever tuned on them. Rows are plain dictionaries, so that
they can come from several processes.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from submissions.engine.checks import judge
from submissions.engine.ear.listen import EarFacts, listen
from submissions.engine.facts import ContainerFacts, Sound, TakeFacts
from submissions.engine.music.written import Part
from submissions.engine.rehearsal.draw import Drawn, draw_faulty, draw_page, draw_phone, draw_take
from submissions.engine.rehearsal.kits import AnyKit, cc0_kit, kit_from_folder
from submissions.engine.rehearsal.pages import invent_part
from submissions.engine.rehearsal.scoring import onset_score, recall_by_kind, timing_errors_ms
from submissions.engine.rehearsal.spec import Leak, Marks, Noise, Phone
from submissions.engine.rehearsal.take import MadeTake, make_take

from . import libraries

Row = dict[str, Any]
WINDOWS_S = (0.025, 0.010)
APART_S = 88.0  # bars for takes whose two groups of marks stand about 90 s apart


def hear(sound: Sound, part: Part, count_off_bars: int = 2) -> EarFacts:
    """What Tapoff hears: the one place where the bench meets the ear."""
    return listen(sound, part, count_off_bars)


@lru_cache(maxsize=4)
def real_kits(folder: str) -> tuple[AnyKit, ...]:
    """Kits of real single hits: the CC0 one where installed, and every folder of hits in `folder`."""
    kits: list[AnyKit] = [kit for kit in (cc0_kit(),) if kit is not None]
    if folder:
        kits += [kit_from_folder(path) for path in sorted(Path(folder).iterdir()) if path.is_dir()]
    return tuple(kits)


def clean_row(seed: int, folder: str) -> Row:
    """A good take of any sort, with the libraries beside."""
    take, facts, row = _heard(draw_take(seed, real_kits(folder)))
    row["heard"] = {"tapoff": {"cpu_s": row["cpu_s"], **_onsets(take, facts.strokes.heard_s)}}
    row["late_ms"] = timing_errors_ms(take.truth, facts.strokes.strokes)
    for name, detect in libraries.DETECTORS.items():
        started = time.process_time()
        times = detect(take.sound.mono, take.sound.rate)
        row["heard"][name] = {"cpu_s": time.process_time() - started, **_onsets(take, times)}
    return row


def _onsets(take: MadeTake, times_s: Sequence[float]) -> Row:
    by_kind = recall_by_kind(take.truth, take.part, times_s, WINDOWS_S[0])
    return {"f": [onset_score(take.truth, times_s, window) for window in WINDOWS_S], "kinds": by_kind}


def click_row(seed: int, folder: str, level_db: float) -> Row:
    """A good take with nothing but our click to tell zero, so far under the drums."""
    drawn = draw_take(seed, real_kits(folder), "click")
    leak = replace(drawn.spec.leak or Leak(), level_db=level_db, marks=False)
    return _heard(replace(drawn, spec=replace(drawn.spec, leak=leak, marks=None)))[2]


def way_row(seed: int, folder: str, way: str) -> Row:
    """A good take of which one thing can tell zero."""
    return _heard(draw_take(seed, real_kits(folder), way))[2]


def marks_row(seed: int, folder: str, filters: bool) -> Row:
    """A take 90 s long with both groups of marks under noise 10 dB louder, through AAC at 64 kb/s.

    filters: behind a phone's filters too, which delay the marks by 0.03 to 0.1 ms of their own.
    """
    drawn = draw_take(seed, real_kits(folder), "marks")
    page = draw_page(seed)
    bar_s = invent_part(replace(page, bars=4), seed).bars[0].length_s
    part = invent_part(replace(page, bars=round(APART_S / bar_s)), seed)
    phone = draw_phone(np.random.default_rng([seed, 5]))
    plain = Phone(rate=phone.rate, channels=1, gain_db=phone.gain_db, clock_ppm=phone.clock_ppm)
    phone = replace(phone, limit=False, agc_db=0.0, gain_db=min(phone.gain_db, -6.0)) if filters else plain
    marks = Marks(True, True, level_db=-12.0, noise_over_db=10.0)
    # Both groups are in the recording: a phone that was started after the first one does not know its clock, and is
    # milliseconds off after 90 s whatever is heard.
    spec = replace(drawn.spec, marks=marks, leak=None, phone=phone, codec="aac-64", noise=Noise(-50.0), before_s=None)
    return _heard(replace(drawn, part=part, spec=spec))[2]


def verdict_row(seed: int, folder: str, faulty: bool) -> Row:
    """A take and what is said of it."""
    draw: Callable[..., Drawn] = draw_faulty if faulty else draw_take
    take, facts, row = _heard(draw(seed, real_kits(folder)))
    whole = TakeFacts(
        container=ContainerFacts(has_sound=True, duration_s=take.sound.duration_s),
        level=facts.level, zero=facts.zero, strokes=facts.strokes, timing=facts.timing,
    )  # fmt: skip
    findings = [f for f in judge(whole, take.part) if f.code != "no-picture"]
    row["redo"] = sorted(f.code for f in findings if f.level == "redo")
    row["look"] = sorted(f.code for f in findings if f.level == "look")
    return row


def _heard(drawn: Drawn) -> tuple[MadeTake, EarFacts, Row]:
    """Make, listen, and write down what every table needs."""
    take = make_take(drawn.part, drawn.spec, drawn.seed)
    started = time.process_time()
    facts = hear(take.sound, drawn.part, drawn.spec.count_off_bars)
    cpu_s = time.process_time() - started
    truth, zero = take.truth, facts.zero
    by_strokes = zero.source in ("written", "count-off", "none")
    aim_s = truth.zero_with_bias_s if by_strokes else truth.zero_s
    row: Row = {
        "seed": drawn.seed, "way": drawn.way, "fault": drawn.fault, "instrument": drawn.part.instrument,
        "drum": drawn.part.drum, "kit": drawn.spec.kit.name, "skill": drawn.spec.skill.name,
        "real": drawn.spec.kit.__class__.__name__ == "RealKit",
        "minutes": take.sound.duration_s / 60, "cpu_s": cpu_s, "source": zero.source, "sure": zero.sure, "sd_s": zero.sd_s,
        "spread_ms": truth.spread_ms, "error_ms": None if zero.zero_s is None else 1e3 * (zero.zero_s - aim_s),
        "true_error_ms": None if zero.zero_s is None else 1e3 * (zero.zero_s - truth.zero_s),
        "clock_ppm": 1e6 * (zero.clock_ratio - truth.clock_ratio) if zero.clock_known else None,
        "late_bars": zero.late_bars,
    }  # fmt: skip
    return take, facts, row

"""Trials of the eye: films of somebody playing, good and with one fault each, and what the checks say of them.

Strokes are given to the eye as the ear would hear them (a millisecond of noise, some missed), so that only the eye is on
trial. Everything follows from a seed; `confusion` counts, `page` prints the counts as a table for docs/.
"""

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from ..checks import judge
from ..errors import MediaError
from ..facts import ContainerFacts, Sound, StrokeFacts, TakeFacts
from ..media import read_take, write_film
from ..rehearsal.film import CUT_AT_BOX, break_off
from ..rehearsal.picture import PictureSpec, frame_times, frames
from .motion import measure_motion
from .picture import measure_picture

RATE = 48_000
SECONDS = 7.0
INSTRUMENTS = ("snare", "tenors", "bass", "cymbals")
LATE_MS = (-160.0, -110.0, 120.0, 180.0)  # clearly outside EBU R37 (-40 to +60)

# What each fault must be called; a good take may get notes only, or the words in ALSO.
FAULTS: dict[str, str | None] = {
    "good": None,
    "uneven rate": None,
    "changing light": None,
    "passer-by": None,
    "handheld": None,
    "far": None,
    "black": "black-picture",
    "dark": "dark-picture",
    "covered": "dark-picture",
    "blurred": "blurred-picture",
    "shaking": "shaking-picture",
    "letterboxed": "portrait",
    "upright": "portrait",
    "still": "still-picture",
    "frozen": "frozen-picture",
    "small": "small-picture",
    "few pictures": "low-frame-rate",
    "stopping": "variable-frame-rate",
    "no sound": "no-audio",
    "cut off": "unreadable",
    "apart": "sound-picture-apart",
}
UNSEEN = ("black", "covered", "still", "frozen", "no sound", "cut off")  # nothing to tell sound against


@dataclass(frozen=True)
class Trial:
    fault: str
    seed: int
    late_ms: float  # what was made
    told_ms: float | None  # what was measured
    levels: dict[str, str]  # by code, of everything said of the take

    @property
    def codes(self) -> frozenset[str]:
        return frozenset(code for code, level in self.levels.items() if level != "note")


def run_trial(fault: str, seed: int, folder: Path, lines: int = 480) -> Trial:
    """Make one film in folder, look at it, and delete it."""
    rng = np.random.default_rng([seed, *fault.encode()])
    late_ms = float(rng.choice(LATE_MS)) if fault == "apart" else float(rng.uniform(-15, 40))
    strikes = _strikes(rng)
    spec = _spec(fault, seed, rng, lines)
    path = folder / f"trial{rng.choice(['.mp4', '.mov', '.mkv'])}"
    times = _with_stop(frame_times(spec, SECONDS), fault, rng)
    seen = [at - late_ms / 1000 for at in strikes]
    write_film(
        path,
        frames(spec, seen, times),
        fps=spec.fps,
        times_s=times if spec.uneven or fault == "stopping" else None,
        sound=None if fault == "no sound" else _sound(strikes, rng),
        rotation=90 if fault == "upright" else 0,
        crf=28,
        container_options=CUT_AT_BOX if fault == "cut off" and seed % 2 and path.suffix != ".mkv" else None,
    )
    if fault == "cut off":
        break_off(path, float(rng.uniform(0.05, 0.95)))
    heard = tuple(at + float(rng.normal(0, 0.001)) for at in strikes if rng.random() > 0.03)
    facts = _facts(path, fault, () if fault == "no sound" else heard, len(strikes))
    path.unlink()
    levels = {finding.code: str(finding.level) for finding in judge(facts, None) if finding.code in EYE_CODES}
    return Trial(fault, seed, late_ms, facts.motion.sound_late_ms, levels)


def _facts(path: Path, fault: str, heard: tuple[float, ...], written: int) -> TakeFacts:
    try:
        raw = read_take(path)
    except MediaError as error:
        return TakeFacts(unreadable=str(error))
    return TakeFacts(
        container=_as_if_wide(raw.container, fault),
        strokes=StrokeFacts(heard_s=heard, written=written, matched=len(heard), explained_share=1.0),
        picture=measure_picture(raw),
        motion=measure_motion(raw, heard),
    )


def _with_stop(times: list[float], fault: str, rng: np.random.Generator) -> list[float]:
    """For "stopping", the frame times without those of one moment within the playing."""
    if fault != "stopping":
        return times
    start_s, length_s = float(rng.uniform(1.5, 5.0)), float(rng.uniform(0.4, 1.4))
    return [at for at in times if not start_s < at < start_s + length_s]


READING = """How to read it: rows are what was made, columns what was said at level `look` or `redo`; every film has its own seed. The
films are the rehearsal room's (24 to 60 pictures a second, 7 s, grain on most) in MP4, MOV and MKV; strokes are given as the ear
would hear them, so that only the eye is on trial. "apart" has the sound 110 to 180 ms off; where the distance cannot be told,
nothing is said. "stopping" lacks all pictures for 0.4 to 1.4 s; from a second on that is a frozen picture too. "cut off"
ends after 5 to 95 % of its bytes. Whether a picture is small, a file cut off or mute is told from the file alone."""

NOTES = "## Notes written by hand"  # on the page this heading and all below it stay when the table is made anew

EYE_CODES = frozenset(code for code in FAULTS.values() if code) | {"no-picture"}


_EFFECTS = ("black", "dark", "covered", "blurred", "shaking", "letterboxed", "passer-by", "handheld", "far")


def _as_if_wide(facts: ContainerFacts, fault: str) -> ContainerFacts:
    """Trials run at a small size for speed; their size counts as a phone's unless size is the fault."""
    if fault == "small" or not facts.width or not facts.height:
        return facts
    return replace(facts, width=facts.width * 4, height=facts.height * 4)


def _spec(fault: str, seed: int, rng: np.random.Generator, lines: int) -> PictureSpec:
    effects = {
        "changing light": ("light", "grain"),
        **{name: (name, "grain") for name in _EFFECTS},
        "still": ("still",),
    }.get(fault, ("grain",) if rng.random() < 0.7 else ())
    lines = 180 if fault == "small" else lines
    return PictureSpec(
        width=lines * 16 // 9 // 2 * 2,
        height=lines,
        fps=float(rng.choice([10, 15, 18])) if fault == "few pictures" else float(rng.choice([24, 25, 30, 30, 60])),
        instrument=str(rng.choice(INSTRUMENTS)),
        effects=effects,
        frozen_s=(2.5, 5.5) if fault == "frozen" else None,
        uneven=fault == "uneven rate",
        seed=seed,
    )


def _strikes(rng: np.random.Generator) -> list[float]:
    """A rhythm of eighths, sixteenths and rests with a player's own spread of 8 ms."""
    beat, at, out = 60.0 / float(rng.uniform(84, 150)), 0.9, []
    cells: Sequence[tuple[float, ...]] = ((0, 0.5), (0, 0.25, 0.5, 0.75), (0, 0.5, 0.75), (0, 0.25, 0.75), (0,), (0.5,))
    while at < SECONDS - beat - 0.2:
        out += [at + beat * place + float(rng.normal(0, 0.008)) for place in cells[int(rng.integers(len(cells)))]]
        at += beat
    return out


def _sound(strikes: Sequence[float], rng: np.random.Generator) -> Sound:
    samples = rng.normal(0, 0.0005, round(SECONDS * RATE))
    n = np.arange(round(0.08 * RATE))
    for at in strikes:
        start = round(at * RATE)
        wave = 0.6 * np.exp(-n / (0.02 * RATE)) * rng.standard_normal(len(n)) * 0.5
        samples[start : start + len(n)] += wave[: max(0, len(samples) - start)]
    return Sound(np.clip(samples, -1, 1).astype(np.float32)[:, None], RATE)


def confusion(done: Sequence[Trial]) -> dict[str, Counter[str]]:
    """For each fault, how often each code was said ("nothing" when none was)."""
    table: dict[str, Counter[str]] = {fault: Counter() for fault in FAULTS}
    for trial in done:
        table[trial.fault].update(trial.codes or {"nothing"})
    return table


def page(done: Sequence[Trial]) -> str:
    """The confusion table and the figures of sound against picture, as Markdown."""
    table = confusion(done)
    codes = ["nothing", *sorted({code for row in table.values() for code in row} - {"nothing"})]
    lines = ["| made | takes | " + " | ".join(codes) + " |", "|---" * (len(codes) + 2) + "|"]
    for fault, row in table.items():
        takes = sum(trial.fault == fault for trial in done)
        lines.append(f"| {fault} | {takes} | " + " | ".join(str(row[code] or "") for code in codes) + " |")
    return "\n".join([*lines, "", *_sync_words(done), "", READING])


def with_notes(text: str, before: str) -> str:
    """A new page, followed by the notes that the page before had."""
    _, heading, notes = before.partition(NOTES)
    return f"{text}\n{heading}{notes}" if heading else text


def _sync_words(done: Sequence[Trial]) -> list[str]:
    # Only where hands can be seen and the picture goes on is there anything to tell.
    open_eyes = [t for t in done if t.fault not in UNSEEN]
    errors = [t.told_ms - t.late_ms for t in open_eyes if t.told_ms is not None]
    if not errors:
        return ["Sound against picture: never told."]
    sizes = np.abs(np.array(errors))
    return [
        f"Sound against picture: told in {len(errors)} of {len(open_eyes)} takes that show hands; "
        f"mean error {np.mean(errors):.1f} ms, largest {sizes.max():.1f} ms, {int((sizes > 20).sum())} beyond 20 ms, "
        f"{int((sizes > 45).sum())} beyond 45 ms.",
        "",
        f"Good takes called `redo`: {sum(_called_redo(t) for t in done if FAULTS[t.fault] is None)}.",
    ]


def _called_redo(trial: Trial) -> bool:
    return "redo" in trial.levels.values()


def kept(path: Path) -> list[Trial]:
    """Trials of earlier runs, from a file of one JSON object a line."""
    return [Trial(**json.loads(line)) for line in path.read_text().splitlines()] if path.exists() else []


def keep(path: Path, trial: Trial) -> None:
    with path.open("a") as file:
        file.write(json.dumps(asdict(trial)) + "\n")

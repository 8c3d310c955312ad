"""The order of work on a take, one straight function: read, listen, look, judge."""

import platform
import resource
import time
from dataclasses import replace
from importlib import metadata
from pathlib import Path

from .checks import judge
from .ear.listen import EarFacts, listen
from .errors import MediaError
from .eye.motion import measure_motion
from .eye.picture import measure_picture
from .facts import TakeFacts
from .media import RawTake, read_take
from .music.written import Part
from .report import Report

PACKAGES = ("av", "numpy", "scipy")


def probe(path: Path | str, part: Part | None, count_off_bars: int = 2) -> Report:
    """Measure the take at path against part; part None measures file, level and picture only.

    Never raises for what a file may hold: a file that cannot be read becomes the finding `unreadable`.
    """
    started, cpu_before = time.perf_counter(), _cpu_s()
    try:
        raw = read_take(path)
    except MediaError as error:
        facts = TakeFacts(unreadable=str(error))
    else:
        facts = measure(raw, part, count_off_bars)
    findings = judge(facts, part)
    return Report(facts, findings, versions(), _cpu_s() - cpu_before, time.perf_counter() - started)


def measure(raw: RawTake, part: Part | None, count_off_bars: int = 2) -> TakeFacts:
    """All facts of a take that has been read."""
    ear = listen(raw.sound, part, count_off_bars) if raw.sound is not None else EarFacts()
    return TakeFacts(
        container=raw.container,
        level=ear.level,
        zero=ear.zero,
        strokes=ear.strokes,
        timing=ear.timing,
        picture=measure_picture(raw),
        motion=measure_motion(raw, ear.strokes.heard_s),
    )


def judge_again(report: Report, part: Part | None, copy_of: str | None) -> Report:
    """The same facts with what only the call knows: whether another take is the same performance."""
    facts = replace(report.facts, copy_of=copy_of)
    return replace(report, facts=facts, findings=judge(facts, part))


def versions() -> dict[str, str]:
    """What computed a report."""
    return {"tapoff": metadata_version("tapoff"), "python": platform.python_version()} | {
        name: metadata_version(name) for name in PACKAGES
    }


def metadata_version(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return "0.1.0" if package == "tapoff" else "unknown"


def _cpu_s() -> float:
    """CPU seconds of this process and of its finished children."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)

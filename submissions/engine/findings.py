"""What is said about a take: a finding is code, level, sentence, what to do, where."""

from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    REDO = "redo"
    LOOK = "look"
    NOTE = "note"


class Verdict(StrEnum):
    READY = "ready"
    LOOK = "look"
    REDO = "redo"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing one check found. at_s are places in file time, seconds."""

    code: str
    level: Level
    says: str
    do: str
    at_s: tuple[float, ...] = ()


def verdict_of(findings: tuple[Finding, ...]) -> Verdict:
    """The machine's verdict: the worst level among the findings; notes do not spoil `ready`."""
    levels = {finding.level for finding in findings}
    if Level.REDO in levels:
        return Verdict.REDO
    if Level.LOOK in levels:
        return Verdict.LOOK
    return Verdict.READY

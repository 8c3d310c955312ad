"""From a MusicXML tree to engraved systems: one SVG a line for print, one tall SVG for a phone.

The drawing itself is done by a child process with limits (drawing.py): a score is a stranger's file, and an engraver in
C++ may run away or fall over on a damaged one.

Conventions: measures carry the id "bar-N" (N the printed number; "bar-N-2" when a number comes twice), so that a page
can light the bar being played. Nothing of the tree given in is changed.
"""

import json
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, tostring

from ...errors import ScoreError
from ..written import RollReading
from .as_corrected import write_corrections
from .beams import beam_and_stem
from .lines import PRINT_WIDTH_MM
from .one_part import gray_others, only_part, tidy

CPU_S = 20  # a 400-bar part takes 3 s; a damaged place on the staff can ask for millions of ledger lines
WALL_S = 120  # of the child; its own limit is processor time, this one is for a machine that has none left
CHILD = Path(__file__).with_name("drawing.py")
TOO_HARD = "The engraver cannot draw this part: something in it is damaged or far too large. Export the score again."


@dataclass(frozen=True, slots=True)
class System:
    """One engraved line: its bars as printed, and its size when printed."""

    svg: str
    bars: tuple[int, ...]  # printed numbers
    height_mm: float
    ends_in_rest: bool


@dataclass(frozen=True, slots=True)
class Engraving:
    """A part as systems for print and as one SVG for a phone. bar_ids: measure ids in printed order, by bar number."""

    systems: tuple[System, ...]
    phone_svg: str
    bar_ids: tuple[tuple[int, str], ...]


def engrave(
    tree: Element, part_id: str, own: frozenset[int] | None = None, rolls: Sequence[RollReading] = ()
) -> Engraving:
    """Engrave one part of a partwise tree. own: which <note> elements (by order in the part) are the player's own.

    With own given, every other note is gray. rolls: where the organizer corrected one, the page shows it as corrected.
    ScoreError when there is no such part or nothing could be engraved.
    """
    root = only_part(tree, part_id)
    if own is not None:
        gray_others(root, own)
    write_corrections(root, rolls)
    for part in root.iter("part"):
        beam_and_stem(part)
    tidy(root)
    measures = list(root.iter("measure"))
    ids = _name_measures(measures)
    drawn = _draw(tostring(root, encoding="unicode"), _has_pickup(measures))
    numbers = [number for number, _ in ids]
    systems = tuple(
        System(svg, tuple(numbers[start:stop]), _height_mm(svg), _rest_at_end(measures[stop - 1]))
        for svg, (start, stop) in zip(drawn["pages"], drawn["lines"], strict=True)
    )
    return Engraving(systems, drawn["phone"], ids)


def _draw(xml: str, pickup: bool, cpu_s: int = CPU_S) -> dict[str, Any]:
    """What drawing.draw gives, from a child process; ScoreError when it runs away, falls over or refuses."""
    try:
        child = subprocess.run(
            [sys.executable, "-I", "-B", str(CHILD)],
            input=json.dumps({"xml": xml, "pickup": pickup, "cpu_s": cpu_s}).encode(),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=WALL_S,
            cwd="/",
            check=True,
        )
        answer: dict[str, Any] = json.loads(child.stdout)
    except (subprocess.SubprocessError, ValueError) as error:
        raise ScoreError(TOO_HARD) from error
    if "refused" in answer:
        raise ScoreError(answer["refused"] or TOO_HARD)
    return answer


def _name_measures(measures: list[Element]) -> tuple[tuple[int, str], ...]:
    """Give every measure its id; a bar without a number of its own keeps that of the bar before, as the reader counts."""
    seen: dict[int, int] = {}
    out, number = [], 0
    for measure in measures:
        own = re.match(r"\d{1,6}", measure.get("number", ""))
        number = int(own.group()) if own else number
        seen[number] = seen.get(number, 0) + 1
        name = f"bar-{number}" if seen[number] == 1 else f"bar-{number}-{seen[number]}"
        measure.set("id", name)
        out.append((number, name))
    return tuple(out)


def _has_pickup(measures: list[Element]) -> bool:
    return bool(measures) and (measures[0].get("implicit") == "yes" or measures[0].get("number") == "0")


def _rest_at_end(measure: Element) -> bool:
    notes = measure.findall("note")
    return bool(notes) and notes[-1].find("rest") is not None


def _height_mm(svg: str) -> float:
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    if found is None:
        raise ScoreError("The engraver gave a picture without a size.")
    return float(found.group(2)) / float(found.group(1)) * PRINT_WIDTH_MM

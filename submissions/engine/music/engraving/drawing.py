"""Verovio at work: a prepared part as text in, pictures out. Runs in a child process, see engrave.py.

Conventions: the staff space is verovio's half unit; widths are in staff spaces unless they say mm.
Run as a script it reads one JSON order from standard input and writes one JSON answer to standard output.
"""

import copy
import json
import re
import sys
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, fromstring, tostring

import verovio

if __name__ == "__main__":  # isolated mode keeps the project off the import path; its own root is named
    sys.path.insert(0, str(Path(__file__).resolve().parents[4]))

from submissions.engine.errors import ScoreError
from submissions.engine.music.engraving.lines import PHONE_SPACES, PRINT_WIDTH_MM, STAFF_MM, lines_of
from submissions.engine.music.engraving.musicfont import signs_as_paths

UNIT = 9  # verovio's default: half a staff space, in its pixels
SPACE = 2 * UNIT
NO_STAFF_SPACES = 10.0  # a bar that shows no staff line of its own (part of a multi-bar rest)
_STAFF_LINE = re.compile(r'class="staff"[^>]*>\s*<path d="M(-?\d+) (?:-?\d+) L(-?\d+) ')
COMMON_OPTIONS: dict[str, object] = {
    "adjustPageHeight": True,
    "scale": 100,
    "header": "none",
    "footer": "none",
    "svgViewBox": True,
    "svgFormatRaw": True,  # no indentation: half the bytes for a phone
    "smuflTextFont": "none",  # note signs in text become paths, see musicfont.py
    "xmlIdSeed": 1,
    "pageMarginLeft": round(0.8 * SPACE),  # the bar number of a line hangs over its left end
    "pageMarginRight": 2,
    "pageMarginTop": SPACE // 2,
    "pageMarginBottom": SPACE // 2,
    "spacingSystem": 8,
    "minLastJustification": 0.6,  # a last line that is nearly full is filled
    "lyricSize": 4.2,
    "lyricTopMinMargin": 3,
}
verovio.enableLog(verovio.LOG_OFF)  # it writes to the process's stderr; what matters is checked here
MEMORY_BYTES = 2 * 2**30  # of address space; a 400-bar part takes a sixth of it


def draw(xml: str, pickup: bool) -> dict[str, Any]:
    """{"lines": [[start, stop], ...], "pages": [one SVG a line], "phone": SVG}; measures by index, half-open.

    ScoreError when the engraver does not take the part or not every bar of it.
    """
    root = fromstring(xml)
    widths = _natural_widths(root)
    if len(widths) != len(list(root.iter("measure"))):
        raise ScoreError("The engraver did not take every bar of this part.")
    lines = lines_of(widths, PRINT_WIDTH_MM / STAFF_MM * 4, "print", pickup)
    phone = lines_of(widths, PHONE_SPACES, "phone", pickup)
    return {"lines": lines, "pages": _render(root, lines, "page"), "phone": _render(root, phone, "phone")[0]}


def _natural_widths(root: Element) -> list[float]:
    """The width each measure takes when nothing presses or stretches it, in staff spaces."""
    svg = _toolkit(
        root, {"pageWidth": 60_000, "pageHeight": 2_000, "breaks": "none", "adjustPageWidth": True}
    ).renderToSVG(1)
    widths = []
    for measure in svg.split('class="measure"')[1:]:
        staff = _STAFF_LINE.search(measure)
        widths.append((int(staff[2]) - int(staff[1])) / (10 * SPACE) if staff else NO_STAFF_SPACES)
    return widths


def _render(root: Element, lines: tuple[tuple[int, int], ...], kind: str) -> list[str]:
    """One SVG a line (kind "page"), or one SVG of all lines (kind "phone")."""
    root = copy.deepcopy(root)
    measures = list(root.iter("measure"))
    for start, _ in lines[1:]:
        mark = "new-page" if kind == "page" else "new-system"
        measures[start].insert(0, Element("print", {mark: "yes"}))
    width = PRINT_WIDTH_MM / STAFF_MM * 4 if kind == "page" else PHONE_SPACES
    height = 2_000 if kind == "page" else 60_000
    kit = _toolkit(root, {"pageWidth": round(width * SPACE), "pageHeight": height, "breaks": "encoded"})
    pages = [signs_as_paths(kit.renderToSVG(n + 1)) for n in range(kit.getPageCount())]
    if len(pages) != (len(lines) if kind == "page" else 1):
        raise ScoreError("The engraver broke the lines otherwise than asked.")
    return pages


def _toolkit(root: Element, options: dict[str, object]) -> verovio.toolkit:
    """Verovio with this part loaded; the header, tempo and words of the sheet are set elsewhere."""
    kit = verovio.toolkit()
    kit.setOptions(COMMON_OPTIONS | options)
    if not kit.loadData(tostring(root, encoding="unicode")):
        raise ScoreError("The engraver cannot read this part.")
    return kit


def main() -> None:
    """The child: limits first, then one order."""
    import resource

    order = json.load(sys.stdin)
    resource.setrlimit(resource.RLIMIT_CPU, (order["cpu_s"], order["cpu_s"]))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        answer = draw(order["xml"], order["pickup"])
    except ScoreError as error:
        answer = {"refused": str(error)}
    except (MemoryError, RuntimeError):
        answer = {"refused": ""}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main()

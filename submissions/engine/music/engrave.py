"""From a MusicXML tree to engraved systems: one SVG a line for print, one tall SVG for a phone.

Conventions: the staff space is verovio's half unit; widths are in staff spaces unless they say mm. Measures carry the
id "bar-N" (N the printed number; "bar-N-2" when a number comes twice), so that a page can light the bar being played.
Nothing of the tree given in is changed.
"""

import copy
import re
from dataclasses import dataclass
from xml.etree.ElementTree import Element, tostring

import verovio

from ..errors import ScoreError
from .beams import beam_and_stem
from .musicfont import signs_as_paths
from .one_part import gray_others, only_part, tidy

UNIT = 9  # verovio's default: half a staff space, in its pixels
SPACE = 2 * UNIT
STAFF_MM = 6.6  # four spaces; engraving practice for parts is 6.5 to 7.5 mm, common practice, no source
PRINT_WIDTH_MM = 182.0  # fits A4 (210) and Letter (216) with the same margins' worth of paper
PHONE_SPACES = 62.0  # a 390 px screen then shows a staff of 24 px
TIGHTEST = {"print": 0.8, "phone": 0.9}  # of the natural width: verovio warns below 0.8; small screens need more air
CLEF_SPACES = 4.0  # at the start of every line
NO_STAFF_SPACES = 10.0  # a bar that shows no staff line of its own (part of a multi-bar rest)
_STAFF_LINE = re.compile(r'class="staff"[^>]*>\s*<path d="M(-?\d+) (?:-?\d+) L(-?\d+) ')
MOST_BARS_A_LINE = {"print": 6, "phone": 2}
USUAL_BARS_A_LINE = 4  # cadences breathe in fours
LONG_PART, LIGHT_SHARE = 32, 0.7  # parts of more bars than this, all of them light, take six bars a line
LAST_LINE = 0.5  # a short last line is the least of evils
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


def engrave(tree: Element, part_id: str, own: frozenset[int] | None = None) -> Engraving:
    """Engrave one part of a partwise tree. own: which <note> elements (by order in the part) are the player's own.

    With own given, every other note is gray. ScoreError when there is no such part or nothing could be engraved.
    """
    root = only_part(tree, part_id)
    if own is not None:
        gray_others(root, own)
    for part in root.iter("part"):
        beam_and_stem(part)
    tidy(root)
    measures = list(root.iter("measure"))
    ids = _name_measures(measures)
    weights = _natural_widths(root)
    if len(weights) != len(measures):
        raise ScoreError("The engraver did not take every bar of this part.")
    lines = lines_of(weights, PRINT_WIDTH_MM / STAFF_MM * 4, "print", _has_pickup(measures))
    pages = _render(root, lines, "page")
    numbers = [number for number, _ in ids]
    systems = tuple(
        System(svg, tuple(numbers[a:b]), _height_mm(svg), _rest_at_end(measures[b - 1]))
        for svg, (a, b) in zip(pages, lines, strict=True)
    )
    phone_lines = lines_of(weights, PHONE_SPACES, "phone", _has_pickup(measures))
    phone = _render(root, phone_lines, "phone")[0]
    return Engraving(systems, phone, ids)


def lines_of(weights: list[float], width: float, kind: str, pickup: bool) -> tuple[tuple[int, int], ...]:
    """Which measures stand on which line, as half-open ranges: whole fours where they fit, evenly fewer where dense.

    Of all ways that fit, the one whose lines differ least (by squares) from the usual number of bars; a pickup is not counted.
    """
    room = width / TIGHTEST[kind] - CLEF_SPACES
    usual, most = (USUAL_BARS_A_LINE, MOST_BARS_A_LINE[kind]) if kind == "print" else (MOST_BARS_A_LINE[kind],) * 2
    if kind == "print" and len(weights) > LONG_PART and max(weights) * most <= LIGHT_SHARE * room:
        usual = most
    best: list[tuple[float, int]] = [(0.0, 0)]  # at n: (cost of the first n measures, where their last line starts)
    for stop in range(1, len(weights) + 1):
        options = []
        for start in range(stop - 1, -1, -1):
            bars = stop - start - (1 if pickup and start == 0 else 0)
            if stop - start > 1 and (bars > most or sum(weights[start:stop]) > room):
                break
            last = stop == len(weights)
            options.append((best[start][0] + (usual - bars) ** 2 * (LAST_LINE if last else 1.0), start))
        best.append(min(options))
    lines: list[tuple[int, int]] = []
    stop = len(weights)
    while stop:
        start = best[stop][1]
        lines.insert(0, (start, stop))
        stop = start
    return tuple(lines)


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


def _has_pickup(measures: list[Element]) -> bool:
    return bool(measures) and (measures[0].get("implicit") == "yes" or measures[0].get("number") == "0")


def _rest_at_end(measure: Element) -> bool:
    notes = measure.findall("note")
    return bool(notes) and notes[-1].find("rest") is not None


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


def _height_mm(svg: str) -> float:
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    if found is None:
        raise ScoreError("The engraver gave a picture without a size.")
    return float(found.group(2)) / float(found.group(1)) * PRINT_WIDTH_MM

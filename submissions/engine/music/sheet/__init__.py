"""The sheet: engraved lines, heading, tips, what to know and cautions, set on A4 or Letter paper as PDF.

Conventions: sizes in mm. Page turns are chosen here: after a line that ends in a rest where one is near the foot of
the page. Typst sets the type with the fonts of its own wheel, offline.
"""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import ceil
from pathlib import Path

import typst

from ...errors import EngineError
from ..cautions import HANDS, HEARING, HEARING_FIGURES, HEARING_SIGNS, LAW
from ..engraving.engrave import Engraving, System
from ..engraving.lines import PRINT_WIDTH_MM

TEMPLATE = Path(__file__).with_name("sheet.typ")
PAPERS = {"a4": 297.0, "us-letter": 279.4}  # heights in mm: ISO 216, ANSI/ASME Y14.1
MARGINS_MM = 28.0  # top and bottom of the template
HEADING_MM = 26.0  # title, tempo line and the space below, on page 1
TIP_LINE_MM, TIP_GAP_MM, TIP_LETTERS = (
    4.1,
    1.4,
    105,
)  # a tip's line, the space round it, letters a line (narrow estimate)
TITLE_LINE_MM, TITLE_LETTERS = 9.0, 30  # each further line of a long title, letters a line (narrow estimate)
LINE_GAP_MM = 1.8
_FOREIGN = re.compile(
    "[\u0530-\u1dff\u2e80-\U0010ffff]"
)  # from Armenian on, without the blocks of punctuation and signs
TURN_WITHIN = 0.30  # a rest in the last 30 % of a page is worth an early turn


@dataclass(frozen=True, slots=True)
class SheetText:
    """The words around the music. tips: (bar, the organizer's words); rights: the organizer's statement, whole."""

    title: str
    part: str
    tempo: str
    credit: str = ""
    note: str = ""
    tips: tuple[tuple[int, str], ...] = ()
    rudiments: tuple[str, ...] = ()
    demand: str = ""
    rights: str = ""
    unread: tuple[str, ...] = field(default=())
    heads: tuple[str, ...] = ()  # what the special noteheads mean, where there are any
    rolls: tuple[str, ...] = ()  # how rolls were read
    crossings: tuple[str, ...] = ()  # where one hand crosses the other


@dataclass(frozen=True, slots=True)
class Tongue:
    """A language of sheets: its code (ISO 639-1), and a function that says the desk's own sentences in it."""

    code: str
    say: Callable[[str], str]


ENGLISH = Tongue("en", str)


def sheet_pdf(engraving: Engraving, words: SheetText, paper: str = "a4", tongue: Tongue = ENGLISH) -> bytes:
    """The PDF of a sheet; paper is one of PAPERS. What the organizer wrote stays as it is in every tongue.

    EngineError when the typesetter refuses it.
    """
    if paper not in PAPERS:
        raise EngineError(f"There is no paper called {paper}; use one of {', '.join(PAPERS)}.")
    turns, say = turns_of(engraving.systems, words, PAPERS[paper] - MARGINS_MM), tongue.say
    words = _in_tongue(words, say)
    content = {
        "paper": paper,
        "width_mm": PRINT_WIDTH_MM,
        "title": words.title or "Cadence",
        "part": words.part,
        "tempo": words.tempo,
        "credit": words.credit,
        "note": words.note,
        "lines": [_line(system, words, index in turns, say) for index, system in enumerate(engraving.systems)],
        "groups": _groups(words, engraving.systems, say),
        "lang": tongue.code,
        "page_word": say("page"),
        "of_word": say("of"),
        "bar_word": say("bar"),
        "rights": words.rights,
    }
    shown = json.dumps(content, ensure_ascii=False)
    try:
        pdf = typst.compile(
            TEMPLATE.read_bytes(),
            format="pdf",
            ignore_system_fonts=not _needs_other_fonts(shown),
            timestamp=0,
            sys_inputs={"sheet": shown},
        )
    except RuntimeError as error:
        raise EngineError(f"The sheet could not be set: {error}.") from error
    return bytes(pdf)


def _in_tongue(words: SheetText, say: Callable[[str], str]) -> SheetText:
    """The desk's own words said in another language; title, credit, tips and rights are people's."""
    return replace(
        words,
        part=say(words.part),
        tempo=say(words.tempo),
        demand=say(words.demand),
        unread=tuple(map(say, words.unread)),
        heads=tuple(map(say, words.heads)),
        rolls=tuple(map(say, words.rolls)),
        rudiments=tuple(map(say, words.rudiments)),
        crossings=tuple(map(say, words.crossings)),
    )


def _needs_other_fonts(content: str) -> bool:
    """Whether a letter stands in a script that the typesetter's own fonts lack; the machine's fonts are then asked.

    Libertinus, in the wheel, covers Latin, Greek and Cyrillic with punctuation and signs: everything before Armenian.
    """
    return _FOREIGN.search(content) is not None


def turns_of(systems: tuple[System, ...], words: SheetText, page_mm: float) -> frozenset[int]:
    """Indices of lines after which to turn the page: where it is full, or earlier at a rest near its foot."""
    turns: set[int] = set()
    used, resting = HEADING_MM + TITLE_LINE_MM * (len(words.title) // TITLE_LETTERS), None
    for index, system in enumerate(systems):
        height = _height_mm(system, words)
        if used + height > page_mm and index:
            at = resting if resting is not None else index - 1
            turns.add(at)
            used = sum(_height_mm(s, words) for s in systems[at + 1 : index])
            resting = None
        used += height
        if system.ends_in_rest and used >= (1 - TURN_WITHIN) * page_mm:
            resting = index
    return frozenset(turns)


def _height_mm(system: System, words: SheetText) -> float:
    """A line with its tips and the gap below it."""
    tips = (TIP_GAP_MM + TIP_LINE_MM * ceil((len(says) + 8) / TIP_LETTERS) for _, says in _tips_on(system, words))
    return system.height_mm + LINE_GAP_MM + sum(tips)


def _tips_on(system: System, words: SheetText) -> list[tuple[int, str]]:
    return [tip for tip in words.tips if tip[0] in system.bars]


def _line(system: System, words: SheetText, turn: bool, say: Callable[[str], str]) -> dict[str, object]:
    return {
        "svg": system.svg,
        "alt": say(f"Music, bars {system.bars[0]} to {system.bars[-1]}"),
        "tips": [{"bar": bar, "says": says} for bar, says in _tips_on(system, words)],
        "turn": turn,
    }


def _groups(words: SheetText, systems: tuple[System, ...], say: Callable[[str], str]) -> list[dict[str, object]]:
    groups: list[dict[str, object]] = []
    printed = {bar for system in systems for bar in system.bars}
    loose = [f"{say('Bar')} {bar}: {says}" for bar, says in words.tips if bar not in printed]
    if loose:
        groups.append({"head": say("Tips"), "says": loose})
    optional = (
        ("Not read", ". ".join(words.unread)),
        ("Heads", ", ".join(words.heads)),
        ("Rolls", "; ".join(words.rolls)),
        ("Rudiments", "; ".join(words.rudiments)),
        ("Crossings", "; ".join(words.crossings)),
        ("Demand", words.demand),
    )
    groups += [{"head": say(head), "says": [says.rstrip(".") + "."]} for head, says in optional if says]
    groups.append({"head": say("Ears"), "says": [say(text) for text in (HEARING, HEARING_FIGURES, HEARING_SIGNS)]})
    groups.append({"head": say("Hands"), "says": [say(HANDS), say(LAW)]})
    return groups

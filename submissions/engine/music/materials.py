"""Everything a player downloads of one part, written into one folder.

Conventions: names carry the clicked tempo ("click-116.wav"). Two runs on the same part write the same bytes.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from ..facts import Sound
from ..media import write_wav
from ..media.sparse import write_sparse_aac
from .click import MARK_GROUP_S, Click, ClickLayout, click_layout, render_click
from .engraving.bar_boxes import bar_boxes, size_of
from .engraving.engrave import Engraving, engrave
from .guide import render_guide
from .ladder import bpm_name, chosen, ladder, performance_bpm
from .midi import midi_bytes
from .practice import practice
from .sheet import PAPERS, SheetText, Tongue, sheet_pdf
from .sheet_words import credited, part_word, words_of
from .written import Part

CLICK_BIT_RATE = 64_000  # mono; the sweeps and clicks stay findable far below this (design: 24 kb/s)
GUIDE_BIT_RATE = 64_000  # stereo; measured 38 dB above its coding noise on a dense bass part
SHEET_FILES = {"a4": "sheet-a4.pdf", "us-letter": "sheet-letter.pdf"}


@dataclass(frozen=True, slots=True)
class Choices:
    """What the organizer may decide; the defaults are the project's."""

    count_off_bars: int = 2
    tempi: Sequence[Fraction | int] | None = None  # own ladder; None: the usual one
    subdivide: bool = False
    words: SheetText | None = None  # the words of the sheet; None: from the part alone
    own_notes: frozenset[int] | None = None  # see engrave()
    tongues: Sequence[Tongue] = ()  # sheets in more languages than English


def write_materials(part: Part, tree: Element, folder: Path, choices: Choices | None = None) -> dict[str, object]:
    """Write all files of this part into folder (made when missing) and return what materials.json says.

    tree is the partwise score the part was read from. EngineError when something cannot be made of it.
    """
    choices = choices or Choices()
    folder.mkdir(parents=True, exist_ok=True)
    performance = performance_bpm(part)
    rungs = ladder(performance) if choices.tempi is None else chosen(performance, choices.tempi)
    layouts = [click_layout(part, choices.count_off_bars, bpm, choices.subdivide) for bpm in rungs]
    clicks = [_write_click(folder, bpm, layout, bpm == performance) for bpm, layout in zip(rungs, layouts, strict=True)]
    own = rungs.index(performance)
    engraving = engrave(tree, part.part_id, choices.own_notes, part.rolls)
    summary: dict[str, object] = {"clicks": clicks, "bars": bar_boxes(engraving.phone_svg)}
    summary["sheet_size"] = size_of(engraving.phone_svg)
    words = credited(choices.words or words_of(part, choices.count_off_bars), tree)
    summary |= _write_sheets(folder, engraving, words, choices.tongues)
    summary |= _write_guide(folder, part, render_click(layouts[own]), bpm_name(performance))
    (folder / "part.mid").write_bytes(midi_bytes(part, layouts[own]))
    summary["midi"] = "part.mid"
    _write_json(folder / "strokes.json", strokes_of(part))
    summary["strokes"] = "strokes.json"
    _write_json(folder / "practice.json", practice(part, rungs, choices.count_off_bars, engraving.bar_ids))
    summary["practice"] = "practice.json"
    _write_json(folder / "materials.json", summary)
    return summary


def strokes_of(part: Part) -> list[dict[str, object]]:
    """The written strokes as strokes.json lists them, times in seconds from zero at the performance tempo."""
    return [
        {
            "at_s": round(s.at_s, 9),
            "bar": s.bar,
            "count": s.count,
            "kind": s.kind,
            "drum": s.drum,
            "accent": s.accent,
            "length_s": round(s.length_s, 9),
        }
        for s in part.strokes
    ]


def _write_click(folder: Path, bpm: Fraction, layout: ClickLayout, performance: bool) -> dict[str, object]:
    click = render_click(layout)
    name = f"click-{bpm_name(bpm)}"
    sound = Sound(click.samples[:, None], click.rate)
    write_wav(folder / f"{name}.wav", sound)
    write_sparse_aac(folder / f"{name}.m4a", sound, CLICK_BIT_RATE)
    return {
        "bpm": float(bpm),
        "file": f"{name}.wav",
        "compressed": f"{name}.m4a",
        "zero_s": click.zero_s,
        "marks_s": marks_in_file(click),
        "performance": performance,
    }


def marks_in_file(click: Click) -> list[list[float]]:
    """[[start, end], [start, end]] of the two mark groups, in seconds of the click's file, on its samples."""
    zero = round(click.zero_s * click.rate)
    starts = (click.layout.marks_start_s, click.layout.marks_end_s)
    return [
        [
            (zero + round(at_s * click.rate)) / click.rate,
            (zero + round((at_s + MARK_GROUP_S) * click.rate)) / click.rate,
        ]
        for at_s in starts
    ]


def _write_sheets(folder: Path, engraving: Engraving, words: SheetText, tongues: Sequence[Tongue]) -> dict[str, object]:
    for paper in PAPERS:
        (folder / SHEET_FILES[paper]).write_bytes(sheet_pdf(engraving, words, paper))
    more: dict[str, list[str]] = {}
    for tongue in tongues:
        for paper in PAPERS:
            name = f"{SHEET_FILES[paper].removesuffix('.pdf')}-{tongue.code}.pdf"
            (folder / name).write_bytes(sheet_pdf(engraving, words, paper, tongue))
            more.setdefault(tongue.code, []).append(name)
    (folder / "sheet.svg").write_text(engraving.phone_svg, encoding="utf-8")
    return {"sheets": [*SHEET_FILES.values(), "sheet.svg"], "sheets_in": more}


def _write_guide(folder: Path, part: Part, click: Click, tempo: str) -> dict[str, object]:
    guide = render_guide(part, click)
    stems: dict[str, NDArray[np.float32]] = {"guide": guide.mix, "guide-part": guide.part, "guide-click": guide.click}
    for name, samples in stems.items():
        write_wav(folder / f"{name}-{tempo}.wav", Sound(samples, guide.rate))
    write_sparse_aac(folder / f"guide-{tempo}.m4a", Sound(guide.mix, guide.rate), GUIDE_BIT_RATE)
    return {
        "guide": f"guide-{tempo}.wav",
        "guide_compressed": f"guide-{tempo}.m4a",
        "stems": {"part": f"guide-part-{tempo}.wav", "click": f"guide-click-{tempo}.wav"},
        "guide_zero_s": guide.zero_s,
    }


def _write_json(path: Path, value: object) -> None:
    path.write_text(json.dumps(value, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


__all__ = ["Choices", "marks_in_file", "part_word", "strokes_of", "words_of", "write_materials"]

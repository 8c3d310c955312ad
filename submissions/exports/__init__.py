"""A cut sheet and a folder in, files out: one file a kind, all in one visible list."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from . import offsets_csv, offsets_json, timeline
from .cut import CutPick, CutSegment, CutSheet


@dataclass(frozen=True, slots=True)
class Export:
    """One kind of export; write(sheet, folder) returns the path of the file it made."""

    name: str
    title: str
    suffix: str
    write: Callable[[CutSheet, Path], Path]


EXPORTS = (
    Export(offsets_csv.NAME, offsets_csv.TITLE, offsets_csv.SUFFIX, offsets_csv.write),
    Export(offsets_json.NAME, offsets_json.TITLE, offsets_json.SUFFIX, offsets_json.write),
    Export(timeline.NAME, timeline.TITLE, timeline.SUFFIX, timeline.write),
)

__all__ = ["EXPORTS", "CutPick", "CutSegment", "CutSheet", "Export"]

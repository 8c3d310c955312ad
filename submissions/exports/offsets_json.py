"""Offsets of all picks as one JSON file."""

import json
from pathlib import Path

from .cut import CutSheet
from .offsets import rows

NAME = "offsets-json"
TITLE = "Offsets for programs (JSON)"
SUFFIX = ".json"


def write(sheet: CutSheet, folder: Path) -> Path:
    """offsets.json in folder: {"title", "rate": "30000/1001", "picks": [...]}."""
    path = folder / "offsets.json"
    whole = {"title": sheet.title, "rate": f"{sheet.rate.numerator}/{sheet.rate.denominator}", "picks": rows(sheet)}
    path.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return path

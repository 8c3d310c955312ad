"""Offsets of all picks as one CSV file (RFC 4180)."""

import csv
from pathlib import Path

from .cut import CutSheet
from .offsets import COLUMNS, rows

NAME = "offsets-csv"
TITLE = "Offsets as a table (CSV)"
SUFFIX = ".csv"


def write(sheet: CutSheet, folder: Path) -> Path:
    """offsets.csv in folder. Cells that a spreadsheet would run as a formula are disarmed with a leading quote."""
    path = folder / "offsets.csv"
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, COLUMNS)
        writer.writeheader()
        for row in rows(sheet):
            writer.writerow({key: _plain(value) for key, value in row.items()})
    return path


def _plain(value: object) -> object:
    # Players choose their names; "=..." in a name must not become a formula (OWASP, CSV injection).
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value

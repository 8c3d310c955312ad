"""Rows and engine values: the only room that speaks both languages.

A take's data changes shape twice on its way, both times in takes.py: row to engine (probe), report to row (store_report).
"""

from ..engine.errors import EngineError
from .cut import cut_sheet, make_export
from .music import PartReading, ScoreReading, make_materials, material_keys, part_of, read_score
from .people import everything_about
from .takes import forget_report, make_previews, measure_again, probe, store_report

__all__ = [
    "EngineError",
    "PartReading",
    "ScoreReading",
    "cut_sheet",
    "everything_about",
    "forget_report",
    "make_export",
    "make_materials",
    "make_previews",
    "material_keys",
    "measure_again",
    "part_of",
    "probe",
    "read_score",
    "store_report",
]

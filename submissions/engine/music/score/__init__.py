"""The score: from MusicXML to written strokes with exact times. Nothing is misread silently."""

from ..written import DrumPlace
from .read import Corrections, bass_map, for_drum, read_part, read_score

__all__ = ["Corrections", "DrumPlace", "bass_map", "for_drum", "read_part", "read_score"]

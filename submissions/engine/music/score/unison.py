"""Strokes of the same moment on the same drum are one stroke: unisons, voices and chords struck once."""

from dataclasses import replace
from fractions import Fraction

from ..written import WrittenStroke


def joined(strokes: list[WrittenStroke]) -> list[WrittenStroke]:
    """In order of time, each drum struck once at a time: accents joined, the louder and the longer kept."""
    best: dict[tuple[Fraction, str, bool], WrittenStroke] = {}
    for stroke in strokes:
        key = (stroke.at_q, stroke.drum, stroke.kind == "grace")
        other = best.get(key)
        best[key] = stroke if other is None else join_pair(other, stroke)
    return sorted(best.values(), key=lambda s: (s.at_q, s.kind != "grace", s.drum))


def join_pair(one: WrittenStroke, other: WrittenStroke) -> WrittenStroke:
    """Two strokes of the same moment as one; a counted stroke goes before a buzz, a stroke before a diddle."""
    rank = ("stroke", "diddle", "grace", "buzz")
    first, second = sorted((one, other), key=lambda s: rank.index(s.kind))
    return replace(
        first,
        accent=first.accent or second.accent,
        level=max(first.level, second.level),
        length_q=max(first.length_q, second.length_q),
        length_s=max(first.length_s, second.length_s),
        hand=first.hand or second.hand,
        technique=first.technique or second.technique,
    )

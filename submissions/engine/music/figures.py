"""Written strokes gathered into the notes of the page again: graces, strokes of a roll and hands of each note."""

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from .written import Part, WrittenStroke


@dataclass(frozen=True, slots=True)
class Figure:
    """One note as a player reads it: graces before it, strokes in it (2 = a diddle), which hand begins.

    end_q is where its last stroke ends; gap_q the way to the next note, None at the end.
    """

    at_q: Fraction
    end_q: Fraction
    bar: int
    graces: int
    strokes: int
    hand: str | None
    accent: bool
    buzz: bool
    drum: str
    gap_q: Fraction | None = None


def figures_of(part: Part) -> list[Figure]:
    """The notes of a part in order of time; several drums struck at once are one note."""
    out: list[Figure] = []
    graces: set[Fraction] = set()
    for stroke in part.strokes:
        if stroke.kind == "grace":
            graces.add(stroke.at_q)
        elif out and stroke.at_q == out[-1].at_q:
            out[-1] = replace(out[-1], accent=out[-1].accent or stroke.accent, hand=out[-1].hand or stroke.hand)
        elif out and stroke.kind == "diddle" and stroke.at_q < out[-1].end_q + stroke.length_q and not graces:
            longer = out[-1].end_q if stroke.at_q < out[-1].end_q else stroke.at_q + stroke.length_q
            out[-1] = replace(out[-1], strokes=out[-1].strokes + _new(out[-1], stroke), end_q=longer)
        else:
            out.append(_figure(stroke, len(graces)))
            graces.clear()
    return [replace(f, gap_q=after.at_q - f.at_q) for f, after in pairwise(out)] + out[-1:]


def _new(figure: Figure, stroke: WrittenStroke) -> int:
    """0 where two drums of a chord roll at once: their strokes are counted once."""
    return int(stroke.at_q >= figure.end_q)


def _figure(stroke: WrittenStroke, graces: int) -> Figure:
    return Figure(
        at_q=stroke.at_q,
        end_q=stroke.at_q + stroke.length_q,
        bar=stroke.bar,
        graces=graces,
        strokes=1,
        hand=stroke.hand,
        accent=stroke.accent,
        buzz=stroke.kind == "buzz",
        drum=stroke.drum,
    )

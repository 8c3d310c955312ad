"""What the practice page needs of a part: the grid as exact ratios, strokes, tempi, bar ids of the sheet.

Conventions: positions are [numerator, denominator] of a quarter from zero, so that the page computes every time from
the ratio and rounds nothing on the way. bpm is clicked beats a minute.
"""

from collections.abc import Sequence
from fractions import Fraction

from .ladder import performance_bpm
from .written import Part

Ratio = list[int]


def practice(
    part: Part, rungs: Sequence[Fraction], count_off_bars: int, bar_ids: Sequence[tuple[int, str]]
) -> dict[str, object]:
    """The practice page's context as plain JSON values. bar_ids: (printed number, id in the SVG), printed order."""
    ids = _ids_in_played_order(part, bar_ids)
    return {
        "title": part.title,
        "bpm": [float(bpm) for bpm in rungs],
        "performance_bpm": float(performance_bpm(part)),
        "beat": _ratio(part.beats[0].length_q),
        "count_off_bars": count_off_bars,
        "tempi": [{"at": _ratio(t.at_q), "qpm": _ratio(t.quarters_per_minute)} for t in part.tempi],
        "bars": [
            {
                "number": bar.number,
                "id": name,
                "at": _ratio(bar.at_q),
                "length": _ratio(bar.length_q),
                "beats": bar.beats,
                "beat_type": bar.beat_type,
            }
            for bar, name in zip(part.bars, ids, strict=True)
        ],
        "beats": [{"at": _ratio(b.at_q), "bar": b.played_bar, "down": b.downbeat} for b in part.beats],
        "strokes": _strokes(part),
        "end": _ratio(part.end_q),
    }


def _ids_in_played_order(part: Part, bar_ids: Sequence[tuple[int, str]]) -> list[str]:
    """The id in the sheet of every played bar. The halves of a split bar share a number and come one after the other."""
    printed: dict[int, list[str]] = {}
    for number, name in bar_ids:
        printed.setdefault(number, []).append(name)
    out: list[str] = []
    half, before = 0, None
    for bar in part.bars:
        half = half + 1 if bar.number == before else 0
        before = bar.number
        names = printed.get(bar.number, [""])
        out.append(names[half % len(names)])
    return out


def _strokes(part: Part) -> list[dict[str, object]]:
    """Strokes by their exact place; a grace stands at its stroke with the seconds it comes ahead of it."""
    out: list[dict[str, object]] = []
    main_at: dict[int, tuple[Fraction, float]] = {}
    following: tuple[Fraction, float] | None = None
    for index in range(len(part.strokes) - 1, -1, -1):
        stroke = part.strokes[index]
        if stroke.kind == "grace" and following is not None:
            main_at[index] = following
        else:
            following = (stroke.at_q, stroke.at_s)
    for index, stroke in enumerate(part.strokes):
        at_q, at_s = main_at.get(index, (stroke.at_q, stroke.at_s))
        out.append(
            {
                "at": _ratio(at_q),
                "ahead_s": round(at_s - stroke.at_s, 6),
                "length": _ratio(stroke.length_q),
                "kind": stroke.kind,
                "drum": "rim" if stroke.technique in ("rim", "cross") else stroke.drum,
                "level": round(stroke.level, 3),
                "bar": stroke.played_bar,
            }
        )
    return out


def _ratio(value: Fraction) -> Ratio:
    return [value.numerator, value.denominator]

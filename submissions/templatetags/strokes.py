"""Draws a take's timing over the bars it was written in: each stroke early or late against what ears can notice.

Times in seconds from zero, `late_ms` positive when late; the drawing is in CSS pixels, two bars to a line, so that a
phone shows it without scrolling sideways. Early stands above the line, late below it.
"""

from dataclasses import dataclass
from itertools import pairwise

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

register = template.Library()

# Friberg and Sundberg 1995 (JASA 98, abstract): one displaced tone is noticed from 6 ms on when the tones are less
# than 240 ms apart, and from 2.5 % of their distance above.
NOTICE_MS, NOTICE_SHARE, NOTICE_KNEE_S = 6.0, 0.025, 0.240

BARS_A_LINE = 2
WIDTH, HEIGHT = 360.0, 118.0
LEFT, RIGHT = 8.0, 8.0
MIDDLE, REACH = 62.0, 36.0  # the line itself, and how far the largest deviation is drawn from it
FULL_MS = 60.0  # a deviation of this size, or a larger one, is drawn at full reach


@dataclass(frozen=True)
class BarSpan:
    """One bar in played order."""

    number: int
    at_s: float
    length_s: float
    beats: int = 4


@dataclass(frozen=True)
class Stroke:
    """One written stroke; late_ms is None when it was missed."""

    at_s: float
    late_ms: float | None
    notice_ms: float


def notice_ms(gap_s: float) -> float:
    """The smallest shift of one stroke that a listener can notice when strokes are gap_s apart."""
    return NOTICE_MS if gap_s < NOTICE_KNEE_S else 1000 * NOTICE_SHARE * gap_s


def drawn_strokes(strokes: list[dict]) -> list[Stroke]:
    """The report's strokes with the threshold that applies where each stands."""
    places = sorted({round(float(s["written_s"]), 4) for s in strokes})
    gaps = {a: b - a for a, b in pairwise(places)}
    last = min(gaps.values(), default=0.5)
    return [
        Stroke(float(s["written_s"]), s.get("late_ms"), notice_ms(gaps.get(round(float(s["written_s"]), 4), last)))
        for s in strokes
    ]


def _line(bars: list[BarSpan], strokes: list[Stroke], practise: set[int]) -> SafeString:
    """One drawn line of two bars."""
    start, length = bars[0].at_s, sum(bar.length_s for bar in bars)
    scale = (WIDTH - LEFT - RIGHT) / length

    def x(at_s: float) -> float:
        return LEFT + 6 + (at_s - start) * (scale - 6 / length)

    back = format_html_join("", "{}", ((piece,) for bar in bars for piece in _bar(bar, x, bar.number in practise)))
    front = format_html_join("", "{}", ((_stroke(stroke, x(stroke.at_s)),) for stroke in strokes))
    return format_html(
        '<svg viewBox="0 0 {} {}" width="{}" height="{}" role="img" aria-label="{}">{}'
        '<path class="grid" d="M{} {}H{}"/>{}</svg>',
        f"{WIDTH:g}",
        f"{HEIGHT:g}",
        f"{WIDTH:g}",
        f"{HEIGHT:g}",
        _label(bars, strokes),
        back,
        f"{LEFT:g}",
        f"{MIDDLE:g}",
        f"{WIDTH - RIGHT:g}",
        front,
    )


def _bar(bar: BarSpan, x, marked: bool) -> list[SafeString]:
    """A bar's lines, its number and its beats."""
    left, right = x(bar.at_s) - 6, x(bar.at_s + bar.length_s) - 6
    top, bottom = MIDDLE - REACH - 6, MIDDLE + REACH + 6
    drawn = []
    if marked:
        drawn.append(
            format_html(
                '<rect class="practise" x="{}" y="{}" width="{}" height="{}"/>',
                f"{left:.1f}",
                f"{top:g}",
                f"{right - left:.1f}",
                f"{bottom - top:g}",
            )
        )
    drawn.append(
        format_html(
            '<path class="bar" d="M{} {}V{}M{} {}V{}"/>',
            f"{left:.1f}",
            f"{top:g}",
            f"{bottom:g}",
            f"{right:.1f}",
            f"{top:g}",
            f"{bottom:g}",
        )
    )
    title = _("bar %(number)d: practise") if marked else _("bar %(number)d")
    drawn.append(format_html('<text x="{}" y="12">{}</text>', f"{left:.1f}", title % {"number": bar.number}))
    for beat in range(bar.beats):
        at = x(bar.at_s + bar.length_s * beat / bar.beats)
        drawn.append(
            format_html('<text x="{}" y="{}" text-anchor="middle">{}</text>', f"{at:.1f}", f"{HEIGHT - 3:g}", beat + 1)
        )
    return drawn


def _stroke(stroke: Stroke, x: float) -> SafeString:
    """One stroke: a dot when nobody would notice, a diamond on a stem when someone would, a cross when it is missing."""
    if stroke.late_ms is None:
        return format_html('<path class="missed" d="M{} {}l8 8m0 -8l-8 8"/>', f"{x - 4:.1f}", f"{MIDDLE - 4:g}")
    shown = max(-FULL_MS, min(FULL_MS, float(stroke.late_ms)))
    y = MIDDLE + REACH * shown / FULL_MS
    if abs(stroke.late_ms) <= stroke.notice_ms:
        return format_html('<circle class="hit" cx="{}" cy="{}" r="2.4"/>', f"{x:.1f}", f"{y:.1f}")
    return format_html(
        '<path class="stem off" d="M{0} {1}V{2}"/><path class="off" d="M{0} {3}l3.6 3.6l-3.6 3.6l-3.6 -3.6z"/>',
        f"{x:.1f}",
        f"{MIDDLE:g}",
        f"{y:.1f}",
        f"{y - 3.6:.1f}",
    )


def _label(bars: list[BarSpan], strokes: list[Stroke]) -> str:
    """The drawing in words."""
    numbers = " – ".join(str(bar.number) for bar in (bars if len(bars) == 1 else (bars[0], bars[-1])))
    late = sum(1 for s in strokes if s.late_ms is not None and s.late_ms > s.notice_ms)
    early = sum(1 for s in strokes if s.late_ms is not None and s.late_ms < -s.notice_ms)
    missed = sum(1 for s in strokes if s.late_ms is None)
    return _("bars %(bars)s: %(all)d strokes, %(early)d early, %(late)d late, %(missed)d missing") % {
        "bars": numbers,
        "all": len(strokes),
        "early": early,
        "late": late,
        "missed": missed,
    }


def drawn_lines(strokes: list[dict], bars: list[BarSpan], practise: set[int]) -> list[SafeString]:
    """The whole picture, one SVG for each two bars; bars before zero (a pickup) are left out when nothing is in them."""
    drawn = drawn_strokes(strokes)
    lines = []
    for first in range(0, len(bars), BARS_A_LINE):
        here = bars[first : first + BARS_A_LINE]
        end = here[-1].at_s + here[-1].length_s
        inside = [stroke for stroke in drawn if here[0].at_s - 1e-6 <= stroke.at_s < end - 1e-6]
        lines.append(_line(here, inside, practise))
    return lines


@register.inclusion_tag("parts/stroke_picture.html")
def stroke_picture(strokes: list[dict], bars: list, practise: list[int] | None = None) -> dict:
    """The stroke picture of a take; bars need number, at_s, length_s and beats."""
    spans = [BarSpan(bar.number, bar.at_s, bar.length_s, bar.beats) for bar in bars]
    return {"lines": drawn_lines(strokes, spans, set(practise or ()))}


@register.inclusion_tag("parts/count_picture.html")
def count_picture(by_count: list) -> dict:
    """Mean deviation of each count (1 e & a), drawn from the middle of its row outwards."""
    rows = []
    for count, mean, spread, strokes in by_count:
        shown = max(-FULL_MS, min(FULL_MS, mean)) / FULL_MS
        width = abs(shown) * 60
        rows.append(
            {
                "count": count,
                "mean": mean,
                "spread": spread,
                "strokes": strokes,
                "x": 64 + (min(shown, 0) * 60),
                "width": max(width, 1.5),
            }
        )
    return {"rows": rows}

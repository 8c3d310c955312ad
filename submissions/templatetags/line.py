"""Draws drum heads and the line from above. Coordinates are CSS pixels in each head's own box."""

from dataclasses import dataclass

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy as _

register = template.Library()

STATES = ("empty", "waiting", "look", "redo", "ready", "picked")
STATE_WORDS = {
    "empty": _("empty"),
    "waiting": _("being measured"),
    "look": _("a person looks"),
    "redo": _("to redo"),
    "ready": _("ready"),
    "picked": _("picked"),
}
SECTION_WORDS = {
    "snare": _("Snares"),
    "tenors": _("Tenors"),
    "bass": _("Basses"),
    "cymbals": _("Cymbals"),
    "other": _("Others"),
}
SECTION_ORDER = tuple(SECTION_WORDS)

# Radii in pixels, chosen so that real proportions show (a snare is 14 inches across, split basses run from about
# 18 to 28, tenors from 8 to 14) and the smallest head still carries a readable mark.
SNARE_RADIUS = 18.0
BASS_RADII = {"1": 18.0, "2": 20.5, "3": 23.0, "4": 26.0, "5": 29.0, "all": 24.0}
TENOR_HEADS = ((13.0, 27.0, 11.0), (31.0, 17.0, 12.0), (54.0, 17.0, 13.0), (74.0, 28.0, 14.0))
PLATE_RADIUS = 19.0


@dataclass(frozen=True)
class Circle:
    x: float
    y: float
    r: float


def _shape(kind: str, drum: str) -> tuple[float, float, tuple[Circle, ...]]:
    """Width, height and circles of one instrument seen from above; the last circle carries the mark."""
    if kind == "tenors":
        return 91.0, 45.0, tuple(Circle(*head) for head in TENOR_HEADS)
    if kind == "cymbals":
        r = PLATE_RADIUS
        return 3 * r + 4, 2 * r + 4, (Circle(r + 2, r + 2, r), Circle(2 * r + 2, r + 2, r))
    r = BASS_RADII.get(drum, BASS_RADII["all"]) if kind == "bass" else SNARE_RADIUS
    return 2 * r + 4, 2 * r + 4, (Circle(r + 2, r + 2, r),)


def _circle(x: float, y: float, r: float, css: str, fill: str = "") -> SafeString:
    extra = mark_safe(f' fill="{fill}"') if fill else ""
    return format_html('<circle cx="{}" cy="{}" r="{}" class="{}"{}/>', f"{x:g}", f"{y:g}", f"{r:g}", css, extra)


def _mark(circle: Circle, state: str) -> list[SafeString]:
    """What is drawn on one head in one state."""
    x, y, r = circle.x, circle.y, circle.r
    if state == "empty":
        return [_circle(x, y, r, "hoop bare")]
    drawn = [_circle(x, y, r, "skin"), _circle(x, y, r - 2.6, "hoop")]
    if state == "waiting":
        drawn.append(_circle(x, y, max(2.4, r * 0.2), "full"))
    elif state == "look":
        drawn.append(_circle(x, y, r * 0.5, "open"))
    elif state == "redo":
        drawn.append(_circle(x, y, r - 3.2, "hatched", "url(#hatch)"))
    elif state == "ready":
        drawn.append(_circle(x, y, r * 0.62, "full"))
    elif state == "picked":
        drawn.append(_circle(x, y, r - 1, "full"))
        a = r * 0.42
        drawn.append(
            format_html(
                '<path class="over" d="M{} {}l{} {}l{} {}"/>',
                f"{x - a:.1f}",
                f"{y:.1f}",
                f"{a * 0.7:.1f}",
                f"{a * 0.7:.1f}",
                f"{a * 1.25:.1f}",
                f"{-a * 1.5:.1f}",
            )
        )
    return drawn


@register.simple_tag
def head(kind: str, drum: str = "all", state: str = "empty", scale: float = 1.0) -> SafeString:
    """One instrument seen from above with its state drawn on it; decoration only, the word stands beside it."""
    width, height, circles = _shape(kind, str(drum))
    inner = format_html_join("", "{}", ((piece,) for circle in circles for piece in _mark(circle, state)))
    return format_html(
        '<svg class="head" width="{}" height="{}" viewBox="0 0 {} {}" aria-hidden="true" focusable="false">{}</svg>',
        f"{width * scale:g}",
        f"{height * scale:g}",
        f"{width:g}",
        f"{height:g}",
        inner,
    )


@register.filter
def state_word(state: str) -> str:
    """The word of a state, for people."""
    return str(STATE_WORDS.get(state, state))


@register.filter
def section_word(kind: str) -> str:
    """The section's name, for people."""
    return str(SECTION_WORDS.get(kind, kind))


@register.inclusion_tag("parts/state.html")
def state(name: str, kind: str = "snare", drum: str = "all") -> dict:
    """A state as a small head and its word."""
    return {"name": name, "kind": "snare" if kind in ("tenors", "cymbals") else kind, "drum": drum}


@register.inclusion_tag("parts/line_key.html")
def line_key() -> dict:
    """What each drawing on a head means."""
    return {"states": STATES}


def in_sections(chairs: list) -> list[dict]:
    """Chairs (each with .instrument) grouped as the line stands: snares, tenors, basses, cymbals."""
    groups = []
    for kind in SECTION_ORDER:
        standing = [chair for chair in chairs if chair.instrument == kind]
        if standing:
            groups.append({"kind": kind, "word": SECTION_WORDS[kind], "chairs": standing})
    return groups


@register.inclusion_tag("parts/line.html")
def line_from_above(chairs: list, title: str = "") -> dict:
    """The line from above. Each chair has instrument, drum, state, word, and may have who, url, mine."""
    return {"sections": in_sections(list(chairs)), "title": title}

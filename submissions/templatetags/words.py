"""Figures as words: times left, places in a video, milliseconds, sizes; and form fields drawn one way everywhere."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django import template
from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext

register = template.Library()

# Fields that some people must fill in: "if you like" would be wrong for them.
SOMETIMES_NEEDED = ("guardian_email", "country", "fold", "rights_statement")


@register.filter
def clock(seconds: float | None) -> str:
    """A place in a video as minutes and seconds, 0:43."""
    if seconds is None:
        return ""
    whole = max(0, int(seconds))
    return f"{whole // 60}:{whole % 60:02d}"


def rounded(value: float, digits: int) -> str:
    """A number in the reader's own writing, rounded; number_format by itself would cut the digits off."""
    return number_format(round(value, digits), digits)


@register.filter
def ms(value: float | None) -> str:
    """Milliseconds with one decimal place under ten, none above."""
    if value is None or value == "":
        return "–"
    return f"{rounded(abs(value), 1 if abs(value) < 9.95 else 0)} ms"


@register.filter
def late_words(value: float | None) -> str:
    """12 ms late, 4.0 ms early, exact."""
    if value is None:
        return _("cannot be told")
    if abs(value) < 0.05:
        return _("exact")
    return (_("%(ms)s late") if value > 0 else _("%(ms)s early")) % {"ms": ms(value)}


ZERO_WORDS = {
    "marks": gettext_lazy("the chirps"),
    "click": gettext_lazy("the click"),
    "count-off": gettext_lazy("the count-off"),
    "written": gettext_lazy("the written strokes"),
    "none": gettext_lazy("nothing; it is not known"),
}
# The organizer's answers, as they stand on the form that gives them.
DECIDED = {
    "accept": gettext_lazy("take it"),
    "redo": gettext_lazy("ask to play it again"),
    "leave": gettext_lazy("do not use it"),
}


@register.filter
def zero_words(source: str) -> str:
    """By what bar 1 was found."""
    return str(ZERO_WORDS.get(source, source))


@register.filter
def decided_words(word: str) -> str:
    """A person's decision in a few words."""
    return str(DECIDED.get(word, word))


@register.filter
def size_words(value: int | None) -> str:
    """Bytes as megabytes or gigabytes."""
    if not value:
        return "–"
    mega = value / 1024**2
    if mega < 0.1:
        return f"{rounded(value / 1024, 0)} kB"
    return f"{rounded(mega / 1024, 1)} GB" if mega >= 1024 else f"{rounded(mega, 1 if mega < 10 else 0)} MB"


def duration_words(seconds: float) -> str:
    """The two largest units of a duration: 3 days 4 hours, 12 minutes."""
    minutes = max(0, int(seconds)) // 60
    days, hours, minutes = minutes // 1440, minutes // 60 % 24, minutes % 60
    words = [
        ngettext("%(n)d day", "%(n)d days", days) % {"n": days} if days else "",
        ngettext("%(n)d hour", "%(n)d hours", hours) % {"n": hours} if hours else "",
        ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes} if minutes and not days else "",
    ]
    return " ".join(word for word in words if word) or _("less than a minute")


@register.filter
def time_left(moment: datetime | None) -> str:
    """What is left until a moment, in words; empty when it has passed."""
    if moment is None:
        return ""
    left = (moment - timezone.now()).total_seconds()
    return duration_words(left) if left > 0 else ""


@register.filter
def in_zone(moment: datetime | None, zone: str) -> str:
    """A moment in a named zone, with the zone's name: never a time without its zone."""
    if moment is None:
        return ""
    local = moment.astimezone(ZoneInfo(zone or "UTC"))
    words = date_format(local, pgettext("format of a date", "l j F Y, H:i"))
    return f"{words} ({(zone or 'UTC').replace('_', ' ')})"


@register.filter
def short_time(moment: datetime | None, zone: str) -> str:
    """Day and time without the zone, for tables whose caption names it."""
    return (
        date_format(moment.astimezone(ZoneInfo(zone or "UTC")), pgettext("format of a date", "j M, H:i"))
        if moment
        else ""
    )


@register.filter
def minutes_words(seconds: float | None) -> str:
    """An expected wait in whole minutes, rounded up so that it is kept."""
    minutes = max(1, -(-int(seconds or 0) // 60))
    return ngettext("about %(n)d minute", "about %(n)d minutes", minutes) % {"n": minutes}


@register.filter
def place_words(key: str) -> str:
    """A place on the staff as musicians count it, from below: the third space, the fifth line."""
    steps = "CDEFGAB".find(key[:1]) + 7 * int(key[1:]) - 30 if key[1:].isdecimal() and key[:1] in "CDEFGAB" else None
    if steps is None or not -1 <= steps <= 9:  # 0 is the lowest line, E4
        return _("the place %(place)s") % {"place": key}
    if steps in (-1, 9):
        return _("over the staff") if steps == 9 else _("under the staff")
    return (_("space %(n)s from below") if steps % 2 else _("line %(n)s from below")) % {"n": steps // 2 + 1}


@register.inclusion_tag("parts/field.html")
def field(bound, help: str = "", optional: bool = True) -> dict:
    """One form field with label, help and error, tied together for screen readers."""
    described = []
    help_text = help or bound.help_text
    if help_text:
        described.append(f"{bound.auto_id}_help")
    if bound.errors:
        described.append(f"{bound.auto_id}_wrong")
    attributes = {"aria-describedby": " ".join(described)} if described else {}
    if bound.errors:
        attributes["aria-invalid"] = "true"
    kind = getattr(bound.field.widget, "input_type", "")
    many = hasattr(bound.field.widget, "subwidgets") and bound.field.widget.__class__.__name__ in (
        "RadioSelect",
        "CheckboxSelectMultiple",
    )
    return {
        "bound": bound,
        "help": help_text,
        "widget": None if many else bound.as_widget(attrs=attributes),
        "tick": kind == "checkbox" and not many,
        "optional": optional and not bound.field.required and bound.name not in SOMETIMES_NEEDED,
        "many": many,
        "described": " ".join(described),
    }

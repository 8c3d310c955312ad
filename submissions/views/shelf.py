"""Addresses of a part's materials and of a take's files, as pages show them.

A part's `materials` is what the music desk's materials.json says, with `files` naming where each lies in the storage.
"""

from typing import Any

from django.http import QueryDict
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from ..models import PartRow, Take


def url_of(part: PartRow, name: str) -> str:
    """The public address of one material."""
    return reverse("material", args=[part.segment.call.slug, part.pk, name])


def clicks_of(part: PartRow) -> list[dict[str, Any]]:
    """The clicks of the ladder, slowest first: bpm, url, small_url, zero_s, marks_s, performance."""
    clicks = [
        click
        | {
            "url": url_of(part, click["file"]),
            "small_url": url_of(part, click["compressed"]) if click.get("compressed") else "",
        }
        for click in part.materials.get("clicks", [])
    ]
    return sorted(clicks, key=lambda click: click["bpm"])


def full_click_of(part: PartRow) -> dict[str, Any] | None:
    """The click at the performance tempo."""
    clicks = clicks_of(part)
    return next((click for click in clicks if click.get("performance")), clicks[-1] if clicks else None)


def count_off_beats(part: PartRow) -> int:
    """Clicked beats of the whole count-off, for the count on the screen."""
    top, bottom = (part.segment.summary.get("meter") or "4/4").split("/")
    beats = int(top) // 3 if bottom == "8" and int(top) % 3 == 0 and int(top) > 3 else int(top)
    return beats * part.segment.call.count_off_bars


def take_url(take: Take) -> str:
    """Where the take's video plays from: the small preview when it is made, the file as sent before that."""
    return (
        reverse("take-file", args=[take.public_id, "preview"])
        if "preview" in take.files
        else reverse("take-video", args=[take.public_id])
    )


def sound_url(take: Take) -> str:
    """The take's sound alone, beginning where its preview does; empty before it is made."""
    return reverse("take-file", args=[take.public_id, "sound"]) if "sound" in take.files else ""


def poster_url(take: Take) -> str:
    return reverse("take-file", args=[take.public_id, "poster"]) if "poster" in take.files else ""


def materials_of(part: PartRow) -> dict[str, Any]:
    """Sheets, clicks and the rest with words and addresses; empty while nothing is made."""
    made = part.materials
    if not made.get("clicks"):
        return {}
    others = [
        ("guide_compressed", _("Guide: your part over the click")),
        ("guide", _("Guide as WAV")),
        ("midi", _("MIDI file")),
    ]
    sheets = made.get("sheets", [])
    return {
        "picture": next((url_of(part, name) for name in sheets if name.endswith(".svg")), ""),
        "sheets": [{"url": url_of(part, name), "word": _sheet_word(name)} for name in _to_read(made)],
        "clicks": [
            click | {"word": _("%(bpm)s bpm") % {"bpm": f"{click['bpm']:g}"}, "full": click.get("performance", False)}
            for click in clicks_of(part)
        ],
        "others": [{"url": url_of(part, made[name]), "word": word} for name, word in others if made.get(name)],
        "guide": url_of(part, made["guide_compressed"]) if made.get("guide_compressed") else "",
    }


def _to_read(made: dict[str, Any]) -> list[str]:
    """The sheets as PDF in the reader's language, in English where there are none."""
    own = made.get("sheets_in", {}).get((get_language() or "en").split("-")[0])
    return own or [name for name in made.get("sheets", []) if name.endswith(".pdf")]


def _sheet_word(name: str) -> str:
    return _("PDF, Letter paper") if "letter" in name else _("PDF, A4 paper")


def practice_of(part: PartRow, asked: QueryDict) -> dict[str, Any]:
    """What the practice page plays from: addresses of everything made, and what a link asked for."""
    made = part.materials
    names = [
        made.get("practice"),
        made.get("guide"),
        made.get("guide_compressed"),
        *made.get("sheets", []),
        *made.get("stems", {}).values(),
    ]
    return {
        "practice_url": url_of(part, made["practice"]) if made.get("practice") else "",
        "sheet_url": next((url_of(part, name) for name in made.get("sheets", []) if name.endswith(".svg")), ""),
        "clicks": clicks_of(part),
        "guide_url": url_of(part, made["guide"]) if made.get("guide") else "",
        "stems": {name: url_of(part, file) for name, file in made.get("stems", {}).items()},
        "file_urls": {name: url_of(part, name) for name in names if name},
        "asked_bars": [int(bar) for bar in asked.get("bars", "").split(",") if bar.isdigit()],
        "asked_bpm": asked.get("bpm", ""),
    }


def bar_picture(part: PartRow, bar: int) -> dict[str, Any]:
    """One bar of the engraved sheet: the sheet's address and size, and the box to show of it; {} without one."""
    sheet = next((name for name in part.materials.get("sheets", []) if name.endswith(".svg")), "")
    box = part.materials.get("bars", {}).get(f"bar-{bar}")
    if not sheet or not box:
        return {}
    width, height = part.materials["sheet_size"]
    return {"url": url_of(part, sheet), "box": " ".join(str(place) for place in box), "width": width, "height": height}

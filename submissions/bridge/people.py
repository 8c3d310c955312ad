"""Everything stored about a player, as plain values."""

from typing import Any

from django.forms.models import model_to_dict

from ..models import Entry


def everything_about(entry: Entry) -> dict[str, Any]:
    """Everything stored about a player, JSON-able, without what belongs to others."""

    def row(obj, *leave_out: str) -> dict[str, Any]:
        values = model_to_dict(obj)
        for f in obj._meta.concrete_fields:  # model_to_dict leaves out what nobody may edit, dates of creation say
            values.setdefault(f.attname, getattr(obj, f.attname))
        return {name: _plain(value) for name, value in values.items() if name not in leave_out and name != "id"}

    takes = entry.takes.select_related("part__segment").all()
    return {
        "entry": row(entry, "parts", "call", "call_id"),
        "call": entry.call.title,
        "parts": [str(part) for part in entry.parts.select_related("segment")],
        "consents": [
            row(c, "entry", "entry_id") | {"text": c.text.text} for c in entry.consents.select_related("text")
        ],
        "links": [row(link, "entry", "entry_id", "digest") for link in entry.links.all()],
        "mails": [row(mail, "entry", "entry_id") for mail in entry.mails.all()],
        "uploads": [row(upload, "entry", "entry_id") for upload in entry.uploads.all()],
        "takes": [
            row(take, "entry", "entry_id", "storage_key", "leased_by", "lease_until")
            | {
                "part": str(take.part),
                "report": take.report.body if hasattr(take, "report") else None,
                "decisions": [row(d, "take", "take_id", "person", "person_id") for d in take.decisions.all()],
            }
            for take in takes
        ],
    }


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value

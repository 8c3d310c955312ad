"""Shortlists and line-ups in the shape the editor's pages show them."""

from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from .. import overview
from ..engine.line.choose import NOTICEABLE_MS, Candidate, rank
from ..exports import EXPORTS
from ..models import Call, Pick, Take
from ..templatetags.words import late_words, ms
from . import shelf

KINDS = {export.name: export for export in EXPORTS}
LEAD_S = 1.0  # how long before zero a take begins to play, so that the ear has the count


@dataclass(frozen=True)
class Row:
    """One take of a shortlist."""

    take: Take
    state: str
    place: int
    reasons: tuple[str, ...]
    video_url: str
    poster_url: str
    zero_s: float | None
    pick: Pick | None


def ranked(now: overview.PartNow | None) -> list[Row]:
    """Measured takes of a part, best first; a person's no goes to the end."""
    if now is None:
        return []
    by_key = {take.pk: take for take in now.takes if hasattr(take, "report")}
    picks = {pick.take_id: pick for pick in now.picks.values()}
    rows = []
    candidates = {take.pk: _candidate(take) for take in by_key.values()}
    for one in rank(list(candidates.values())):
        take = by_key[one.key]
        rows.append(
            Row(
                take,
                "picked" if take.pk in picks else overview.take_state(take),
                one.place,
                reason_words(candidates[one.key]),
                shelf.take_url(take),
                shelf.poster_url(take),
                _zero_of(take),
                picks.get(take.pk),
            )
        )
    return sorted(rows, key=lambda row: (row.state == "redo", row.place))


def reason_words(one: Candidate) -> tuple[str, ...]:
    """What speaks for and against a take, in the order of weight and in the reader's language."""
    words = []
    if one.written:
        missing = ngettext("%(n)d stroke of %(all)d is missing", "%(n)d strokes of %(all)d are missing", one.missed)
        words.append(missing % {"n": one.missed, "all": one.written} if one.missed else _("every stroke is there"))
    if one.extra:
        words.append(ngettext("%(n)d stroke too many", "%(n)d strokes too many", one.extra) % {"n": one.extra})
    if one.spread_ms is not None:
        words.append(_("strokes within %(ms)s of even") % {"ms": ms(one.spread_ms)})
    if one.bias_ms is not None and abs(one.bias_ms) >= NOTICEABLE_MS:
        words.append(_("as a whole %(ms)s; a nudge mends it") % {"ms": late_words(one.bias_ms)})
    if not one.zero_sure:
        words.append(_("where bar 1 begins is not certain"))
    return tuple(words)


def _zero_of(take: Take) -> float | None:
    """Where bar 1 lies in what the page plays; a preview begins at its own, known place."""
    zero = take.report.zero_s
    offset = take.report.body.get("preview_zero_s") if "preview" in take.files else None
    return offset if offset is not None else zero


def _candidate(take: Take) -> Candidate:
    report, container = take.report, take.report.body.get("container", {})
    decided = getattr(take, "newest_word", "")
    verdict = {"accept": "ready", "redo": "redo", "leave": "redo"}.get(decided, report.verdict)
    sure = report.body.get("zero_sure", report.zero_from in ("marks", "click"))
    return Candidate(
        take.pk,
        verdict,
        report.written,
        report.missed,
        report.extra,
        report.spread_ms,
        report.bias_ms,
        bool(sure),
        container.get("height"),
    )


def chairs(now: overview.PartNow | None) -> list[dict[str, Any]]:
    """The part's chairs with who sits on them."""
    if now is None:
        return []
    free = next((chair.pk for chair in now.chairs if chair.pk not in now.picks), None)
    return [{"chair": chair, "pick": now.picks.get(chair.pk), "next": chair.pk == free} for chair in now.chairs]


def line_up(parts: list[overview.PartNow]) -> list[dict[str, Any]]:
    """The picks of a segment, ready to play together: each with its address and where zero lies in it."""
    line = []
    for now in parts:
        for pick in now.picks.values():
            take = next((t for t in now.takes if t.pk == pick.take_id), None)
            if take is not None and hasattr(take, "report") and take.report.zero_s is not None:
                line.append(
                    {
                        "pick": pick,
                        "part": now.part,
                        "take": take,
                        "video_url": shelf.take_url(take),
                        "sound_url": shelf.sound_url(take),
                        "ratio": take.report.clock_ratio,
                        "zero_s": (_zero_of(take) or 0.0) - pick.nudge_ms / 1000 * take.report.clock_ratio,
                    }
                )
    return line


def made(call: Call) -> dict[str, Any]:
    """Exports that were ordered, newest first, and whether some are still being made."""
    rows = []
    for export in call.exports.all()[:40]:
        files = [
            file | {"url": reverse("export-file", args=[call.slug, export.public_id, file["name"]])}
            for file in export.files
        ]
        rows.append(
            {
                "export": export,
                "title": KINDS[export.kind].title if export.kind in KINDS else export.kind,
                "files": files,
            }
        )
    return {"made": rows, "working": any(row["export"].work in ("waiting", "running") for row in rows)}

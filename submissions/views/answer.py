"""Puts a report into words for the player: one sentence, what to do, what was best, which bars to work on."""

from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from .. import bridge, overview, queue
from ..forms import DECISION_WORDS
from ..models import Take
from ..sentences import finding_in_words
from ..templatetags.words import ms
from . import shelf

LEVEL_ORDER = {"redo": 0, "look": 1, "note": 2}
# Spread under which the next practice tempo may lie close to the full one, and from which it starts at the slowest:
# the project's choice around the 18 ms of trained drummers playing to a metronome in an open data set.
TIGHT_MS, LOOSE_MS = 15.0, 30.0


@dataclass(frozen=True)
class BarPlace:
    number: int
    at_s: float
    length_s: float
    beats: int


def sentence(state: str) -> str:
    """The whole answer in one sentence."""
    return {
        "ready": _("Your take is usable. Thank you!"),
        "picked": _("Your take is in the picture. Thank you!"),
        "look": _("Your take is here. A person will look at it before it counts."),
        "redo": _("This take cannot be used yet. Please play it again."),
    }.get(state, "")


def bars_of(take: Take) -> list[BarPlace]:
    """The written bars in played order; none when the score cannot be read any more."""
    try:
        bars = bridge.part_of(take.part).bars_from_zero()
    except (bridge.EngineError, OSError):
        return []
    return [BarPlace(b.number, b.at_s, b.length_s, b.beats) for b in bars]


def _bars_words(bars: list[int]) -> str:
    return (
        _("bars %(a)s and %(b)s") % {"a": bars[0], "b": bars[1]} if len(bars) > 1 else _("bar %(a)s") % {"a": bars[0]}
    )


def practise_bpm(clicks: list[dict[str, Any]], spread_ms: float | None) -> float | None:
    """The step of the ladder to start from: the slowest after a loose take, one below the full tempo after a tight one."""
    tempi = sorted(click["bpm"] for click in clicks)
    if not tempi:
        return None
    spread = LOOSE_MS if spread_ms is None else spread_ms
    share = min(1.0, max(0.0, (LOOSE_MS - spread) / (LOOSE_MS - TIGHT_MS)))
    return tempi[round(share * max(0, len(tempi) - 2))]


def practise_words(bars: list[int], bpm: float | None) -> str:
    if not bars:
        return ""
    if bpm is None:
        return _("%(bars)s.") % {"bars": _bars_words(bars)}
    return _("%(bars)s. Start at %(bpm)s bpm and climb step by step.") % {"bars": _bars_words(bars), "bpm": f"{bpm:g}"}


def praise_words(body: dict[str, Any]) -> str:
    """What was best, from what was measured and nothing else."""
    timing, good = body.get("timing", {}), []
    spreads = {bar: spread for bar, _mean, spread, _n in timing.get("by_bar", [])}
    best = [bar for bar in timing.get("best_bars", []) if bar in spreads]
    if best:
        good.append(
            _("%(bars)s: your strokes there were the most even, within %(ms)s.")
            % {"bars": _bars_words(best[:2]), "ms": ms(max(spreads[b] for b in best[:2]))}
        )
    if body.get("written") and not body.get("missed"):
        good.append(
            ngettext("The %(n)d stroke is there.", "All %(n)d strokes are there.", body["written"])
            % {"n": body["written"]}
        )
    return " ".join(good)


def findings_of(body: dict[str, Any]) -> list[dict[str, Any]]:
    """All findings, worst first, in the reader's language."""
    found = sorted(body.get("findings", []), key=lambda f: LEVEL_ORDER.get(f["level"], 3))
    return [finding_in_words(finding) for finding in found]


def timing_context(take: Take) -> dict[str, Any]:
    """What the stroke picture and the sentences beside it are made from."""
    body = take.report.body
    timing = body.get("timing", {})
    worst = list(timing.get("worst_bars", []))[:2]
    clicks = shelf.clicks_of(take.part)
    bpm = practise_bpm(clicks, take.report.spread_ms)
    strokes = [s for s in body.get("strokes", []) if s.get("kind", "stroke") in ("stroke", "diddle")]
    return {
        "strokes": strokes,
        "bars": bars_of(take),
        "practise_bars": worst,
        "practise_bpm": f"{bpm:g}" if bpm else "",
        "practise": practise_words(worst, bpm),
        "praise": praise_words(body),
        "files_ready": bool(clicks),
        "by_bar": timing.get("by_bar", []),
        "by_count": timing.get("by_count", []),
    }


def answer_context(take: Take, entry) -> dict[str, Any]:
    """Everything the answer page shows."""
    state = overview.take_state(take)
    waiting = take.work in ("waiting", "running")
    context = {
        "take": take,
        "entry": entry,
        "call": entry.call,
        "zone": entry.zone or entry.call.deadline_zone,
        "state": state,
        "waiting": waiting,
        "failed": take.work == "failed",
        "sentence": sentence(state),
        "decision": take.decision,
        "video_url": shelf.take_url(take),
        "poster_url": shelf.poster_url(take),
    }
    if waiting:
        minutes = queue.minutes_to_answer(take)
        return context | {"ahead": queue.place_of(take), "expected_s": 60 * (minutes or 1)}
    if context["decision"]:
        context["decision_sentence"] = DECISION_WORDS[context["decision"].word]
    if context["failed"] or not hasattr(take, "report"):
        return context
    earlier = overview.rows_of(entry, take.part, take.is_tryout)
    context |= {
        "report": take.report,
        "findings": findings_of(take.report.body),
        "earlier": earlier if len(earlier) > 1 else [],
    }
    return context | timing_context(take)


def sent_url(take: Take) -> str:
    return reverse("my-take", args=[take.public_id])

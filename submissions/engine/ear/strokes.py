"""Which written strokes were played, and when; which strokes were heard that nobody wrote.

Conventions: seconds of file time unless a name says otherwise; `late_ms` is played minus written, late is positive,
and told from the grid that the player was on: who comes in two bars late has started late, not played late.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..facts import PlayedStroke, StrokeFacts, ZeroFacts
from ..music.click import MARK_GROUP_S, ClickLayout
from ..music.written import Part
from . import leaks, onsets
from .evidence import CLEAR_DB, habit_of, weigh
from .flams import find_graces
from .matching import MOST_REACH_S, Paired, pair
from .tails import rise_over_tails

Array = NDArray[np.float64]

FAINT_DB = 0.9  # candidates for the local test: far under what stands on its own
FIRST_SPREAD_S = 0.030  # before anything is known of the player: a beginner's
LEAST_SPREAD_S = 0.006
CURVE_S = 2.5  # about a bar: how fast the player's tempo is followed
TOGETHER_S = 1e-4  # written strokes nearer than this are one event (a unison)


@dataclass(frozen=True)
class Event:
    """Strokes written for one moment: one stroke, or a unison of several drums."""

    at_s: float  # from zero
    strokes: tuple[int, ...]  # indices into Part.strokes
    kind: str


def events_of(part: Part) -> tuple[Event, ...]:
    """Everything to be matched: strokes, diddles and the first stroke of each buzz, in order; graces come later."""
    out: list[Event] = []
    order = sorted((s.at_s, n) for n, s in enumerate(part.strokes) if s.kind != "grace")
    for at_s, n in order:
        if out and at_s - out[-1].at_s < TOGETHER_S:
            out[-1] = Event(out[-1].at_s, (*out[-1].strokes, n), out[-1].kind)
        else:
            out.append(Event(at_s, (n,), part.strokes[n].kind))
    return tuple(out)


def find_strokes(
    mono: NDArray[np.floating],
    rate: int,
    part: Part,
    zero: ZeroFacts,
    layout: ClickLayout,
    first_look: onsets.Novelty | None = None,
) -> StrokeFacts:
    """The local test of every written stroke of part in mono, shape (n,), once zero is known.

    first_look is the novelty of mono where it has been measured already.
    """
    written = len(part.scored())
    if zero.zero_s is None or not len(mono):
        found = onsets.detect(mono, rate)
        return StrokeFacts(heard_s=tuple(found.times_s.tolist()), written=written, missed=written)
    quiet = leaks.take_out_clicks(mono, rate, layout, zero.zero_s, zero.clock_ratio)
    novelty = first_look or onsets.measure_novelty(mono, rate)
    if quiet.heard:
        novelty = onsets.renew(novelty, quiet.mono, mono - quiet.mono, rate)
    frames = onsets.pick(novelty, FAINT_DB)
    candidates = onsets.place(quiet.mono, rate, novelty, frames)
    rise = rise_over_tails(novelty, candidates.frames)
    events = events_of(part)
    due = np.array([due_s(event.at_s, part, zero) for event in events])
    silenced = np.where(_in_marks(candidates.times_s, zero), -30.0, 0.0)
    first, _ = follow(due, candidates.times_s, weigh(candidates, rise, None) + silenced)
    sure = np.zeros(len(candidates), bool)
    sure[first.of_event[first.of_event >= 0]] = True
    evidence = weigh(candidates, rise, habit_of(candidates, sure & (rise > CLEAR_DB))) + silenced
    paired, _ = follow(due, candidates.times_s, evidence)
    graces = find_graces(quiet.mono, rate, part, events, paired, candidates.times_s)
    return _gather(part, zero, events, due, paired, candidates, evidence, graces)


def due_s(at_s: float, part: Part, zero: ZeroFacts) -> float:
    """File time at which a stroke written at at_s is to be expected of this player: whole bars late, their tempo."""
    return (zero.zero_s or 0.0) + zero.clock_ratio * (late_start_s(part, zero) + at_s / zero.tempo_ratio)


def late_start_s(part: Part, zero: ZeroFacts) -> float:
    """Click time by which the playing begins whole bars late (or, negative, early)."""
    bars = part.bars_from_zero()
    late_s = sum(bar.length_s for bar in bars[: max(zero.late_bars, 0)])
    return late_s + min(zero.late_bars, 0) * bars[0].length_s


def follow(due: Array, heard_s: Array, evidence: Array) -> tuple[Paired, Array]:
    """Pair, follow the player's own time, and pair again; the last pairing and where each event was due in it."""
    curve = np.full(len(due), first_offset(due, heard_s, evidence))
    spread = FIRST_SPREAD_S
    paired = pair(due + curve, heard_s, evidence, spread)
    for _ in range(2):
        hit = paired.of_event >= 0
        if np.count_nonzero(hit) < 4:
            break
        late = heard_s[paired.of_event[hit]] - due[hit]
        curve = smooth_late(due[hit], late, due)
        rest = late - curve[hit]
        spread = float(np.clip(1.4826 * np.median(np.abs(rest)) * 1.1, LEAST_SPREAD_S, 0.045))
        paired = pair(due + curve, heard_s, evidence, spread)
    return paired, due + curve


def first_offset(due: Array, heard_s: Array, evidence: Array) -> float:
    """The common offset, within what players push or drag, that the clearest candidates agree on, seconds."""
    strong = heard_s[evidence > 1.0]
    if not len(strong) or not len(due):
        return 0.0
    near = np.searchsorted(strong, due)
    gaps = np.concatenate([strong[np.clip(near + k, 0, len(strong) - 1)] - due for k in (-2, -1, 0, 1)])
    gaps = gaps[np.abs(gaps) < 0.08]
    if len(gaps) < 4:
        return 0.0
    grid = np.arange(-0.06, 0.0605, 0.002)
    votes = np.exp(-0.5 * ((gaps[:, None] - grid[None, :]) / 0.012) ** 2).sum(axis=0)
    votes *= np.exp(-0.5 * (grid / 0.04) ** 2)
    return float(grid[int(np.argmax(votes))])


def smooth_late(at_s: Array, late: Array, wanted_s: Array) -> Array:
    """A robust running mean of late over CURVE_S, drawn towards the whole take's median; shape of wanted_s."""
    middle = float(np.median(late))
    scale = 1.4826 * float(np.median(np.abs(late - middle))) + 1e-3
    kept = np.clip(late, middle - 3 * scale, middle + 3 * scale)
    near = np.exp(-0.5 * ((wanted_s[:, None] - at_s[None, :]) / (CURVE_S / 2)) ** 2)
    curve: Array = (near @ kept + 3.0 * middle) / (near.sum(axis=1) + 3.0)
    return curve


def _in_marks(times_s: Array, zero: ZeroFacts) -> NDArray[np.bool_]:
    inside = np.zeros(len(times_s), bool)
    for start in (zero.marks_start_s, zero.marks_end_s):
        if start is not None:
            inside |= (times_s > start - 0.02) & (times_s < start + MARK_GROUP_S + 0.05)
    return inside


def _gather(
    part: Part,
    zero: ZeroFacts,
    events: tuple[Event, ...],
    due: Array,
    paired: Paired,
    candidates: onsets.Onsets,
    evidence: Array,
    graces: dict[int, float],
) -> StrokeFacts:
    """Everything found as facts."""
    played = dict(graces)
    level: dict[int, float] = {}
    for event, j in zip(events, paired.of_event.tolist(), strict=True):
        if j >= 0:
            for n in event.strokes:
                played[n], level[n] = float(candidates.times_s[j]), float(candidates.level_db[j])
    zero_s, late_s = zero.zero_s or 0.0, late_start_s(part, zero)
    strokes = []
    for n, s in enumerate(part.strokes):
        at = played.get(n)
        late = None if at is None else 1e3 * ((at - zero_s) / zero.clock_ratio - late_s - s.at_s)
        strokes.append(PlayedStroke(n, s.bar, s.count, s.kind, s.at_s, at, late, level.get(n)))
    used = np.zeros(len(candidates), bool)
    used[paired.of_event[paired.of_event >= 0]] = True
    grace_s = np.array(sorted(graces.values()))
    for at in grace_s:
        used |= np.abs(candidates.times_s - at) < 0.008
    buzzing = _in_buzz(part, events, paired, candidates.times_s)
    extra = ~used & (evidence > 2.5) & ~buzzing
    rattle = ~used & buzzing & (evidence > 0.0)
    heard = np.sort(
        np.concatenate([candidates.times_s[used & (evidence > -5)], candidates.times_s[extra | rattle], grace_s])
    )
    if len(heard) > 1:
        heard = heard[np.concatenate([[True], np.diff(heard) > 0.004])]
    scored = [p for p in strokes if p.kind in ("stroke", "diddle")]
    matched = sum(p.played_s is not None for p in scored)
    first, last = (due[0] - MOST_REACH_S, due[-1] + MOST_REACH_S) if len(due) else (0.0, 0.0)
    inside = (candidates.times_s >= first) & (candidates.times_s <= last)
    explained = np.count_nonzero(used | rattle)
    total = explained + np.count_nonzero(extra & inside)
    return StrokeFacts(
        tuple(strokes),
        tuple(candidates.times_s[extra].tolist()),
        tuple(heard.tolist()),
        len(scored),
        matched,
        len(scored) - matched,
        explained / total if total else 0.0,
    )


def _in_buzz(part: Part, events: tuple[Event, ...], paired: Paired, times_s: Array) -> NDArray[np.bool_]:
    inside = np.zeros(len(times_s), bool)
    for event, j in zip(events, paired.of_event.tolist(), strict=True):
        if event.kind == "buzz" and j >= 0:
            length = max(part.strokes[n].length_s for n in event.strokes)
            inside |= (times_s > times_s[j]) & (times_s < times_s[j] + length + 0.02)
    return inside


__all__ = ["Event", "events_of", "find_strokes"]

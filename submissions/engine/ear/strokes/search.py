"""Which written strokes were played, and when; which strokes were heard that nobody wrote.

Conventions: seconds of file time unless a name says otherwise; `late_ms` is played minus written, late is positive,
and told from the grid that the player was on: who comes in two bars late has started late, not played late.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...facts import PlayedStroke, StrokeFacts, ZeroFacts
from ...music.click import MARK_GROUP_S, ClickLayout
from ...music.written import Part
from ..clicks import leaks
from ..struck import novelty as novelties
from ..struck import onsets
from ..struck.attacks import settle_feet
from ..struck.tails import learn_tails, same_lag
from . import clear
from .events import Event, Followed, due_s, events_of, follow, follow_on, late_start_s
from .evidence import CLEAR_DB, habit_of, weigh
from .flams import LEAST_GAP_S, MOST_GAP_S, Sounding, graces_of
from .masked import FAINT_DB as FAINT_RISE_DB
from .masked import Heard, ask
from .matching import MOST_REACH_S, pair

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

FAINT_DB = 0.85  # candidates for the local test: far under what stands on its own
EXTRA_NATS = 2.5  # what a stroke that nobody wrote must bring
RATTLE_NATS = 0.0  # inside a written buzz many strokes are expected
LOUDER_DB = 2.0  # a stroke over its own grace
DOUBLE_S = 0.020  # a drum may speak twice in one stroke: a slap, and the thump 15 ms later
SAME_S = 0.004  # two feet nearer than this are one stroke
NEIGHBOUR_UNDER_DB = 12.0  # what is so much softer than the strokes found is somebody next door; taps lie 6 to 9 under


@dataclass(frozen=True)
class Look:
    """Everything seen in a take before the part is laid against it."""

    sounding: Sounding
    candidates: onsets.Onsets
    rise_db: Array  # (candidates,) over all that earlier strokes leave behind
    silenced: Mask  # (candidates,) inside the sync marks
    asked_for: Mask | None = None  # (candidates,) heard only because the page asked for them; None: no one was


@dataclass(frozen=True)
class Found:
    """What became of the events and of the candidates."""

    of_event: NDArray[np.int64]  # candidate of each event, -1: missed
    graces: dict[int, float]  # index into Part.strokes -> time
    used: Mask  # (candidates,) struck and written
    extra: Mask  # (candidates,) struck, and not written
    rattle: Mask  # (candidates,) inside a buzz


def find_strokes(
    mono: NDArray[np.floating],
    rate: int,
    part: Part,
    zero: ZeroFacts,
    layout: ClickLayout,
    first_look: novelties.Novelty | None = None,
    struck: onsets.Onsets | None = None,
) -> StrokeFacts:
    """The local test of every written stroke of part in mono, shape (n,), once zero is known.

    first_look and struck are the novelty of mono and what stood out in it, where they have been found already.
    """
    written = len(part.scored())
    if zero.zero_s is None or not len(mono):
        found = onsets.detect(mono, rate)
        return StrokeFacts(heard_s=tuple(found.times_s.tolist()), written=written, missed=written)
    seen = look(mono, rate, part, zero, layout, first_look, struck)
    events = events_of(part)
    return gather(part, zero, events, *decide(part, zero, events, seen))


def look(
    mono: NDArray[np.floating],
    rate: int,
    part: Part,
    zero: ZeroFacts,
    layout: ClickLayout,
    first_look: novelties.Novelty | None = None,
    struck: onsets.Onsets | None = None,
) -> Look:
    """Candidates in the sound without its click."""
    quiet = leaks.take_out_clicks(mono, rate, layout, zero.zero_s or 0.0, zero.clock_ratio)
    novelty = first_look or novelties.measure_novelty(mono, rate)
    if quiet.heard:
        novelty, struck = novelties.renew(novelty, quiet.mono, mono - quiet.mono, rate), None
    frames = novelties.pick(novelty, FAINT_DB)
    candidates = onsets.place(quiet.mono, rate, novelty, frames, struck)
    tails = learn_tails(novelty, frames, np.sort([due_s(s.at_s, part, zero) for s in part.strokes]))
    rise = tails.rise_over(candidates.frames)
    return Look(Sounding(quiet.mono, rate, novelty, tails), candidates, rise, _in_marks(candidates.times_s, zero))


def decide(part: Part, zero: ZeroFacts, events: tuple[Event, ...], seen: Look) -> tuple[Look, Found]:
    """Which candidate each event was, which graces were played, and what else was struck; with all candidates."""
    heard = seen.candidates.times_s
    due = np.array([due_s(event.at_s, part, zero) for event in events])
    silenced = np.where(seen.silenced, -30.0, 0.0)
    first = follow(due, heard, weigh(seen.candidates, seen.rise_db, None) + silenced)
    sure = np.zeros(len(heard), bool)
    sure[first.of_event[first.of_event >= 0]] = True
    habit = habit_of(seen.candidates, sure & (seen.rise_db > CLEAR_DB))
    evidence = weigh(seen.candidates, seen.rise_db, habit) + silenced
    seen, evidence, of_event = _ask_again(seen, evidence, due, follow_on(due, heard, evidence, first))
    heard = seen.candidates.times_s
    of_event = _mains_not_graces(part, events, of_event, seen, evidence)
    of_event = _from_their_feet(part, events, of_event, heard, evidence)
    seen = _settled(part, events, of_event, seen)
    heard = seen.candidates.times_s
    graces = _graces(part, events, of_event, seen)
    used = np.zeros(len(heard), bool)
    used[of_event[of_event >= 0]] = True
    for at in graces.values():
        used |= np.abs(heard - at) < 2 * SAME_S
    buzzing = _in_buzz(part, events, of_event, heard)
    other = ~used if seen.asked_for is None else ~used & ~seen.asked_for
    extra = other & ~buzzing & (evidence > EXTRA_NATS)
    extra &= ~_beside(heard, heard[used])
    extra[extra] = ~same_lag(heard[extra], np.sort(heard[used]))
    if np.any(of_event >= 0):
        usual_db = float(np.median(seen.candidates.level_db[of_event[of_event >= 0]]))
        extra &= seen.candidates.level_db > usual_db - NEIGHBOUR_UNDER_DB
    return seen, Found(of_event, graces, used, extra, other & buzzing & (evidence > RATTLE_NATS))


def _ask_again(seen: Look, evidence: Array, due: Array, followed: Followed) -> tuple[Look, Array, NDArray[np.int64]]:
    """Paired once more after the faint and the missing were asked again: candidates, their evidence, the pairing."""
    old, due = seen.candidates, due + followed.curve_s
    heard = Heard(old.times_s, old.frames, seen.rise_db, followed.of_event)
    asked = ask(seen.sounding.novelty, due, followed.spread_s, heard)
    if asked is None or not len(asked.frames):
        return seen, evidence, pair(due, old.times_s, evidence, followed.spread_s).of_event
    more = asked.unheard(old.frames)
    frames = np.concatenate([old.frames, more])
    every = onsets.place(seen.sounding.mono, seen.sounding.rate, seen.sounding.novelty, frames, old)
    was = np.argsort(frames)[np.searchsorted(np.sort(frames), every.frames)]
    rise = np.concatenate([seen.rise_db, seen.sounding.novelty.rise_db[more]])[was]
    silenced = np.concatenate([seen.silenced, np.zeros(len(more), bool)])[was]
    nats, again = np.concatenate([evidence, np.zeros(len(more))])[was], asked.evidence(every.frames)
    nats = np.where(np.isnan(again) | (rise >= FAINT_RISE_DB) | silenced, nats, again)
    look = Look(seen.sounding, every, rise, silenced, was >= len(old))
    return look, nats, pair(due, every.times_s, nats, followed.spread_s).of_event


def _mains_not_graces(
    part: Part, events: tuple[Event, ...], of_event: NDArray[np.int64], seen: Look, evidence: Array
) -> NDArray[np.int64]:
    """The pairing with every stroke moved on that was paired with its own grace: a louder one follows, unclaimed."""
    heard, level = seen.candidates.times_s, seen.candidates.level_db
    out = of_event.copy()
    claimed = set(of_event[of_event >= 0].tolist())
    with_grace = {s.at_q for s in part.strokes if s.kind == "grace"}
    for n, event in enumerate(events):
        j = int(out[n])
        if j < 0 or part.strokes[event.strokes[0]].at_q not in with_grace:
            continue
        last = int(np.searchsorted(heard, heard[j] + MOST_GAP_S))
        rivals = [k for k in range(j + 1, last) if k not in claimed and heard[k] - heard[j] > LEAST_GAP_S]
        rivals = [k for k in rivals if level[k] > level[j] + LOUDER_DB and evidence[k] > EXTRA_NATS]
        if rivals:
            out[n] = max(rivals, key=lambda k: float(level[k]))
            claimed.add(int(out[n]))
    return out


def _from_their_feet(
    part: Part, events: tuple[Event, ...], of_event: NDArray[np.int64], heard_s: Array, evidence: Array
) -> NDArray[np.int64]:
    """The pairing with every stroke moved to where its drum first spoke; what a grace is written for is left alone."""
    out = of_event.copy()
    claimed = set(of_event[of_event >= 0].tolist())
    with_grace = {s.at_q for s in part.strokes if s.kind == "grace"}
    for n, event in enumerate(events):
        j = int(out[n])
        if j < 1 or part.strokes[event.strokes[0]].at_q in with_grace:
            continue
        first = int(np.searchsorted(heard_s, heard_s[j] - DOUBLE_S))
        before = [k for k in range(first, j) if k not in claimed and evidence[k] > EXTRA_NATS]
        if before and heard_s[j] - heard_s[before[0]] > SAME_S:
            out[n] = before[0]
            claimed.add(before[0])
    return out


def _settled(part: Part, events: tuple[Event, ...], of_event: NDArray[np.int64], seen: Look) -> Look:
    """The candidates with the feet of faint strokes settled; what has a grace or a buzz about it is left alone."""
    candidates, hit = seen.candidates, np.flatnonzero(of_event >= 0)
    own, with_grace = of_event[hit], {s.at_q for s in part.strokes if s.kind == "grace"}
    plain = [e.kind != "buzz" and part.strokes[e.strokes[0]].at_q not in with_grace for e in events]
    sounding, times = seen.sounding, candidates.times_s.copy()
    times[own] = settle_feet(sounding.mono, sounding.rate, times[own], seen.rise_db[own], np.array(plain, bool)[hit])
    return replace(seen, candidates=replace(candidates, times_s=times))


def _beside(times_s: Array, struck_s: Array) -> Mask:
    """Which times lie within DOUBLE_S of one of struck_s."""
    if not len(struck_s):
        return np.zeros(len(times_s), bool)
    ordered = np.sort(struck_s)
    after = np.searchsorted(ordered, times_s)
    near = np.minimum(
        np.abs(times_s - ordered[np.maximum(after - 1, 0)]),
        np.abs(times_s - ordered[np.minimum(after, len(ordered) - 1)]),
    )
    beside: Mask = near < DOUBLE_S
    return beside


def _graces(part: Part, events: tuple[Event, ...], of_event: NDArray[np.int64], seen: Look) -> dict[int, float]:
    """Index into Part.strokes -> time of each written grace that was heard."""
    heard = seen.candidates.times_s
    pairs = [(event, float(heard[j])) for event, j in zip(events, of_event.tolist(), strict=True) if j >= 0]
    mains_s = {n: at for event, at in pairs for n in event.strokes}
    return graces_of(part, mains_s, seen.sounding, np.sort(heard[of_event[of_event >= 0]]))


def gather(part: Part, zero: ZeroFacts, events: tuple[Event, ...], seen: Look, found: Found) -> StrokeFacts:
    """Everything found as facts."""
    candidates = seen.candidates
    played = dict(found.graces)
    level: dict[int, float] = {}
    for event, j in zip(events, found.of_event.tolist(), strict=True):
        if j >= 0:
            played |= dict.fromkeys(event.strokes, float(candidates.times_s[j]))
            level |= dict.fromkeys(event.strokes, float(candidates.level_db[j]))
    explained = len(set(played.values())) + int(found.rattle.sum())
    zero_s, late_s = zero.zero_s or 0.0, late_start_s(part, zero)
    strokes = []
    for n, s in enumerate(part.strokes):
        at = played.get(n)
        late = None if at is None else 1e3 * ((at - zero_s) / zero.clock_ratio - late_s - s.at_s)
        strokes.append(PlayedStroke(n, s.bar, s.count, s.kind, s.at_s, at, late, level.get(n)))
    scored = [p for p in strokes if part.strokes[p.index].scored]
    matched = sum(p.played_s is not None for p in scored)
    others = candidates.times_s[found.extra | found.rattle]
    return StrokeFacts(
        tuple(strokes),
        tuple(candidates.times_s[found.extra].tolist()),
        _apart(np.array([*played.values(), *others.tolist()])),
        len(scored),
        matched,
        len(scored) - matched,
        _explained(part, zero, explained, candidates.times_s[found.extra]),
        clear.found_share(part, events, found.of_event),
        clear.explained_share(found.used, _within(found, candidates.times_s), seen.rise_db, candidates.level_db),
    )


def _within(found: Found, times_s: Array) -> Mask:
    """The extra strokes between the first and the last written one that was found: sticks that count off are none."""
    own = times_s[found.of_event[found.of_event >= 0]]
    return found.extra & (times_s > own[0]) & (times_s < own[-1]) if len(own) else found.extra


def _apart(times_s: Array) -> tuple[float, ...]:
    """Sorted times, those of one stroke counted once."""
    ordered = np.sort(times_s)
    if len(ordered) > 1:
        ordered = ordered[np.concatenate([[True], np.diff(ordered) > SAME_S])]
    return tuple(ordered.tolist())


def _explained(part: Part, zero: ZeroFacts, explained: int, extra_s: Array) -> float:
    """Share of the strokes heard between the first and the last written one that the part explains."""
    if not part.strokes:
        return 0.0
    first = due_s(part.strokes[0].at_s, part, zero) - MOST_REACH_S
    last = due_s(part.end_s, part, zero) + MOST_REACH_S
    total = explained + int(np.count_nonzero((extra_s >= first) & (extra_s <= last)))
    return explained / total if total else 0.0


def _in_buzz(part: Part, events: tuple[Event, ...], of_event: NDArray[np.int64], times_s: Array) -> Mask:
    inside = np.zeros(len(times_s), bool)
    for event, j in zip(events, of_event.tolist(), strict=True):
        if event.kind == "buzz" and j >= 0:
            length = max(part.strokes[n].length_s for n in event.strokes)
            inside |= (times_s > times_s[j]) & (times_s < times_s[j] + length + 0.02)
    return inside


def _in_marks(times_s: Array, zero: ZeroFacts) -> Mask:
    inside = np.zeros(len(times_s), bool)
    for start in (zero.marks_start_s, zero.marks_end_s):
        if start is not None:
            inside |= (times_s > start - 0.02) & (times_s < start + MARK_GROUP_S + 0.05)
    return inside

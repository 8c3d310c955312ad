"""Is it all there, from the first bar to the last?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part
from . import not_this_part
from .wrong_tempo import LIMIT as TEMPO_LIMIT

CODE = "incomplete"
LIMIT_SHARE = 0.08  # chosen: a run of missing strokes as long as one bar in twelve
MIN_STROKES = 4
BEFORE_S = 0.15  # further before the first written stroke than any player's push


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    strokes = [stroke for stroke in facts.strokes.strokes if stroke.kind in ("stroke", "diddle")]
    if not strokes or not facts.strokes.matched:
        return
    unheard = _unheard_drums(facts, part)
    if unheard:
        strokes = [stroke for stroke in strokes if part is None or part.strokes[stroke.index].drum not in unheard]
        yield Finding(
            CODE,
            Level.LOOK,
            f"None of the strokes on {', '.join(drum.replace('-', ' ') for drum in unheard)} can be heard, though the others can.",
            "Listen to the recording: if that drum cannot be heard, put the phone where it can; if it was not played, record again.",
        )
    first, length = _longest_gap([stroke.played_s is None for stroke in strokes])
    if length < max(MIN_STROKES, LIMIT_SHARE * len(strokes)):
        return
    start, stop = strokes[first].bar, strokes[first + length - 1].bar
    where = f"bar {start}" if start == stop else f"bars {start} to {stop}"
    zero, ratio = facts.zero.zero_s or 0.0, facts.zero.clock_ratio
    yield Finding(
        CODE,
        Level.LOOK if _is_a_guess(facts) or any(not_this_part.check(facts, part)) else Level.REDO,
        f"The take is not complete: {where} cannot be heard.",
        "Play from the first bar to the last in one go, and let the camera run until the last note has rung out.",
        (zero + ratio * strokes[first].written_s,),
    )


def _is_a_guess(facts: TakeFacts) -> bool:
    """Whether bar 1 is only guessed at, and what seems to be missing may have been played before it or at a tempo of its own."""
    zero = facts.zero
    if zero.sure or zero.zero_s is None:
        return False
    before = sum(at < zero.zero_s - BEFORE_S for at in facts.strokes.extra_s)
    return before >= MIN_STROKES or abs(zero.tempo_ratio - 1) > TEMPO_LIMIT


def _unheard_drums(facts: TakeFacts, part: Part | None) -> list[str]:
    """Drums of which nothing was heard where others were: a phone's microphone may not reach so low."""
    heard: dict[str, list[bool]] = {}
    if part is None:
        return []
    for stroke in facts.strokes.strokes:
        heard.setdefault(part.strokes[stroke.index].drum, []).append(stroke.played_s is not None)
    unheard = [drum for drum, played in heard.items() if len(played) >= MIN_STROKES and not any(played)]
    return unheard if len(unheard) < len(heard) else []


def _longest_gap(missing: list[bool]) -> tuple[int, int]:
    """Index and length of the longest run of True."""
    best, run = (0, 0), 0
    for n, gone in enumerate(missing):
        run = run + 1 if gone else 0
        if run > best[1]:
            best = (n - run + 1, run)
    return best

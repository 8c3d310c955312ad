"""Is it all there, from the first bar to the last?"""

from collections.abc import Iterator

from ..facts import PlayedStroke, TakeFacts, ZeroFacts
from ..findings import Finding, Level
from ..music.written import Part
from . import not_this_part
from .noisy import LIMIT_HIDING_DB
from .wrong_tempo import LIMIT as TEMPO_LIMIT

CODE = "incomplete"
LIMIT_SHARE = 0.08  # chosen: a run of missing strokes as long as one bar in twelve
MIN_STROKES = 4
LAST_STROKES = 3  # at the end of a sparse part they are bars; single strokes are lost one in thirty, three in a row hardly ever
# Who leaves out strokes here and there. Right parts are found to 0.95 and more in all rooms but the loudest, whoever plays;
# of their loud strokes with time before them 0.94 and more are, so that what a room hides is not taken for left out.
LIMIT_LEFT_OUT, LIMIT_CLEAR = 0.10, 0.93  # the first chosen: one stroke in ten
MUCH_LEFT_OUT = 0.25  # a person listens, whatever the reason
FEWEST_OTHERS, FILLED_SHARE = 3, 0.25  # strokes instead of missing ones: chosen so that a cough and a dropped stick are none
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
    least = LAST_STROKES if first + length == len(strokes) else MIN_STROKES
    if length < max(least, LIMIT_SHARE * len(strokes)):
        yield from _here_and_there(facts, part, sum(stroke.played_s is None for stroke in strokes), len(strokes))
        return
    start, stop = strokes[first].bar, strokes[first + length - 1].bar
    where = f"bar {start}" if start == stop else f"bars {start} to {stop}"
    zero, ratio = facts.zero.zero_s or 0.0, facts.zero.clock_ratio
    if _filled(facts, strokes, first, length):
        yield Finding(
            CODE,
            Level.LOOK,
            f"What is written in {where} cannot be heard; something else was played there.",
            "Play it slowly with the guide until it is right, then record the whole part again if there is time.",
            (zero + ratio * strokes[first].written_s,),
        )
        return
    yield Finding(
        CODE,
        Level.LOOK if length < MIN_STROKES or _is_a_guess(facts, part) or any(not_this_part.check(facts, part)) else Level.REDO,
        f"The take is not complete: {where} cannot be heard.",
        "Play from the first bar to the last in one go, and let the camera run until the last note has rung out.",
        (zero + ratio * strokes[first].written_s,),
    )


def _filled(facts: TakeFacts, strokes: list[PlayedStroke], first: int, length: int) -> bool:
    """Whether strokes that nobody wrote lie where written ones are missing, with played ones before and after."""
    after = first + length
    if first == 0 or after == len(strokes):
        return False
    begin, end = strokes[first - 1].played_s, strokes[after].played_s
    if begin is None or end is None:
        return False
    inside = sum(begin < at < end for at in facts.strokes.extra_s)
    return inside >= max(FEWEST_OTHERS, FILLED_SHARE * length)


def _here_and_there(facts: TakeFacts, part: Part | None, missed: int, written: int) -> Iterator[Finding]:
    """What is said where no stretch is missing, but strokes all over the page are."""
    share = missed / max(1, written)
    left_out = share >= LIMIT_LEFT_OUT and facts.strokes.clear_found_share < LIMIT_CLEAR
    hidden = facts.level.strokes_over_noise_db < LIMIT_HIDING_DB  # `noisy` tells why
    if missed < MIN_STROKES or hidden or not facts.zero.sure or not (left_out or share >= MUCH_LEFT_OUT):
        return
    if any(not_this_part.check(facts, part)):
        return
    yield Finding(
        CODE,
        Level.LOOK,
        f"{missed} of the {written} strokes on the page cannot be heard.",
        "Listen to the recording with the sheet in front of you: what you left out, practise and record again; what you played, the phone must hear, so put it nearer.",
    )


def _is_a_guess(facts: TakeFacts, part: Part | None) -> bool:
    """Whether bar 1 is only guessed at, and what seems to be missing may have been played before it or at a tempo of its own."""
    zero = facts.zero
    if zero.sure or zero.zero_s is None:
        return False
    before = sum(at < zero.zero_s - BEFORE_S for at in facts.strokes.extra_s) - _counted(zero, part)
    return before >= MIN_STROKES or abs(zero.tempo_ratio - 1) > TEMPO_LIMIT


def _counted(zero: ZeroFacts, part: Part | None) -> int:
    """Beats of the count-off that was heard: they belong before bar 1, and are none of its strokes."""
    if part is None:
        return 0
    return zero.count_off_bars * sum(beat.played_bar == part.beats[0].played_bar for beat in part.beats)


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

"""What is true of a made take, gathered while it is made.

Conventions: times are file time in seconds; what the file does not hold is left out.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..facts import Span
from .desk import Desk
from .playing import Strike, bent


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything known of a made take.

    zero_s is always known to the maker; zero_by says what in the sound can tell it. bias_ms and spread_ms are the
    mean and standard deviation of played minus written over the scored strokes as really played, measured from
    where a fault (late start, wrong tempo, drift) puts the page.
    """

    zero_s: float
    zero_by: tuple[str, ...]  # "marks", "click", "count-off", "written"
    clock_ratio: float
    bias_ms: float | None
    spread_ms: float | None
    played: tuple[tuple[int, float], ...]  # (index into part.strokes, played_s), graces and diddles included
    missed: tuple[int, ...]  # written indices that were not played
    extra_s: tuple[float, ...]
    buzzes: tuple[tuple[int, Span, tuple[float, ...]], ...]  # (index, span, times of all its contacts)
    strikes_s: tuple[float, ...]  # every contact of stick and drum of the go that counts, in order
    earlier_s: tuple[float, ...]  # contacts of a false start
    click_times_s: tuple[float, ...]
    marks_start_s: float | None  # first chirp of the group, where the phone heard it
    marks_end_s: float | None
    count_off_s: tuple[float, ...]
    stroke_peak: float  # a middling stroke's peak in the stored sound, before limiter and ceiling
    end_s: float  # file time of the end of the last bar

    @property
    def zero_with_bias_s(self) -> float:
        """What a listener without click or marks can find at best: zero moved by the player's own push."""
        return self.zero_s + self.clock_ratio * 1e-3 * (self.bias_ms or 0.0)


def gather(
    desk: Desk, strikes: tuple[Strike, ...], times: list[float], earlier: tuple[float, ...], peak: float
) -> Truth:
    """The truth of what is on the desk."""
    part, faults = desk.part, desk.spec.faults
    held = [(strike, at) for strike, at in zip(strikes, times, strict=True) if 0 <= at < desk.duration_s]
    played = tuple((strike.index, at) for strike, at in held if strike.index is not None)
    late = [at - desk.file_s(bent(part.strokes[i].at_s, part, faults)) for i, at in played if part.strokes[i].scored]
    gone = set(range(len(part.strokes))) - {i for i, _ in played}
    inside = [at for at in desk.clicks if 0 <= at < desk.duration_s]
    counts = [at for at in desk.counts if at >= 0]
    heard = {
        "marks": desk.marks_start is not None or desk.marks_end is not None,
        "click": inside,
        "count-off": counts,
        "written": played,
    }
    return Truth(
        zero_s=desk.zero_s,
        zero_by=tuple(way for way, there in heard.items() if there),
        clock_ratio=desk.ratio,
        bias_ms=1e3 * float(np.mean(late)) if late else None,
        spread_ms=1e3 * float(np.std(late)) if len(late) > 1 else None,
        played=played,
        missed=tuple(sorted(gone)),
        extra_s=tuple(at for strike, at in held if strike.index is None and strike.kind != "bounce"),
        buzzes=_buzzes(desk, held),
        strikes_s=tuple(at for _, at in held),
        earlier_s=tuple(at for at in earlier if at >= 0),
        click_times_s=tuple(inside),
        marks_start_s=desk.marks_start,
        marks_end_s=desk.marks_end,
        count_off_s=tuple(counts),
        stroke_peak=peak,
        end_s=desk.file_s(desk.layout.end_s),
    )


def _buzzes(desk: Desk, held: list[tuple[Strike, float]]) -> tuple[tuple[int, Span, tuple[float, ...]], ...]:
    """Every buzz that was played, with all its contacts."""
    out = []
    for n, (strike, at) in enumerate(held):
        if strike.index is None or desk.part.strokes[strike.index].kind != "buzz":
            continue
        end = at + desk.part.strokes[strike.index].length_s
        later = [when for other, when in held[n + 1 :] if other.kind == "bounce" and when < end + 1e-4]
        out.append((strike.index, Span(at, max([at, *later])), (at, *later)))
    return tuple(out)


def without(truth: Truth, cut: Span) -> Truth:
    """The truth after this stretch of file time has been cut out of the recording."""
    length = cut.end_s - cut.start_s

    def keep(at: float) -> bool:
        return not cut.start_s <= at < cut.end_s

    def moved(at: float) -> float:
        return at if at < cut.start_s else at - length

    def times(values: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(moved(at) for at in values if keep(at))

    def mark(at: float | None) -> float | None:
        return moved(at) if at is not None and keep(at) else None

    played = tuple((i, moved(at)) for i, at in truth.played if keep(at))
    gone = {i for i, at in truth.played if not keep(at)}
    return replace(
        truth,
        zero_s=moved(truth.zero_s),
        played=played,
        missed=tuple(sorted({*truth.missed, *gone})),
        extra_s=times(truth.extra_s),
        buzzes=tuple(
            (i, Span(moved(s.start_s), moved(s.end_s)), times(at)) for i, s, at in truth.buzzes if keep(s.start_s)
        ),
        strikes_s=times(truth.strikes_s),
        earlier_s=times(truth.earlier_s),
        click_times_s=times(truth.click_times_s),
        marks_start_s=mark(truth.marks_start_s),
        marks_end_s=mark(truth.marks_end_s),
        count_off_s=times(truth.count_off_s),
        end_s=moved(truth.end_s),
    )

"""A take with known truth: `make_take(part, spec, seed)` gives the sound a phone stored and all that is true of it.

Conventions: times are file time in seconds (sample 0 of the sound is 0 s); every strike is put on a whole sample
and its truth is that sample over the rate. Zero lies between samples. The direct sound reaches the microphone
without delay, so `played_s` is the arrival at the phone. The same part, spec and seed give the same samples.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..facts import Sound, Span
from ..music.click import MARK_GROUP_S, ClickLayout, click_layout
from ..music.sounds import hit
from ..music.written import Part
from . import signals
from .phone import record
from .playing import Strike, play
from .space import in_room, noise, room_response
from .spec import Leak, Marks, TakeSpec

Mono = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a made take. Times are file time; what the file does not hold is left out."""

    zero_s: float  # always known to the maker, whether or not anything in the sound tells it
    zero_by: tuple[str, ...]  # what in the sound tells it: "marks", "click", "count-off", "written"
    clock_ratio: float
    bias_ms: float | None  # mean of played minus written over scored strokes, as really played
    spread_ms: float | None
    played: tuple[tuple[int, float], ...]  # (index into part.strokes, played_s), graces and diddles included
    missed: tuple[int, ...]  # written indices that were not played
    extra_s: tuple[float, ...]
    buzzes: tuple[tuple[int, Span, tuple[float, ...]], ...]  # (index, span, times of all its contacts)
    strikes_s: tuple[float, ...]  # every contact of stick and drum of the go that counts, in order
    earlier_s: tuple[float, ...]  # contacts of a false start
    click_times_s: tuple[float, ...]  # clicks that can be heard
    marks_start_s: float | None  # first chirp of the group, where the phone heard it
    marks_end_s: float | None
    count_off_s: tuple[float, ...]
    stroke_peak: float  # the peak of a middling stroke in the stored sound, before limiter and ceiling
    strokes_written: int = 0


@dataclass(frozen=True)
class MadeTake:
    sound: Sound
    truth: Truth
    part: Part
    spec: TakeSpec
    seed: int


@dataclass
class _Desk:
    """The layers of one recording while it is being made, all of one length."""

    rate: int
    zero_s: float
    ratio: float
    drums: Mono
    bleed: Mono
    speaker: Mono
    phones: Mono
    near: Mono  # voices, sticks, marks: close to the phone
    over_marks: Mono
    clicks: list[float] = field(default_factory=list)
    counts: list[float] = field(default_factory=list)
    marks_start: float | None = None
    marks_end: float | None = None

    def file_s(self, click_s: float) -> float:
        return self.zero_s + self.ratio * click_s

    @property
    def duration_s(self) -> float:
        return len(self.drums) / self.rate


def make_take(part: Part, spec: TakeSpec, seed: int) -> MadeTake:
    """The take and its truth. Seeds under 10 000 are for tuning, from 900 000 on for evaluation only."""
    rng = np.random.default_rng([seed, 20_260])
    layout = click_layout(part, spec.count_off_bars, spec.bpm)
    played = part if spec.bpm is None else at_tempo(part, layout.tempo_scale)
    strikes = play(played, spec.skill, spec.faults, rng)
    middling = _middling(played, spec, rng)
    desk = _open_desk(layout, strikes, spec, rng)
    earlier = _false_start(desk, played, layout, spec, middling, rng)
    strikes_at = _draw_strikes(desk, desk.drums, strikes, spec, rng)
    _draw_click(desk, layout, spec, middling, 0.0, layout.end_s)
    _draw_marks(desk, layout, spec.marks, middling, rng)
    _draw_count_off(desk, layout, spec, middling, 0.0, rng)
    _draw_talk(desk, layout, strikes, spec, middling, rng)
    _draw_bleed(desk, spec, middling, rng)
    sound, peak = _mix(desk, spec, middling, rng)
    truth = _truth(played, strikes, strikes_at, earlier, desk, spec, peak)
    return MadeTake(sound, truth, part, spec, seed)


def at_tempo(part: Part, scale: float) -> Part:
    """The same part played to a click at `scale` times the performance tempo; positions in quarters stay."""
    strokes = tuple(replace(s, at_s=s.at_s / scale, length_s=s.length_s / scale) for s in part.strokes)
    bars = tuple(replace(b, at_s=b.at_s / scale, length_s=b.length_s / scale) for b in part.bars)
    beats = tuple(replace(b, at_s=b.at_s / scale) for b in part.beats)
    return replace(part, strokes=strokes, bars=bars, beats=beats, end_s=part.end_s / scale)


def _middling(part: Part, spec: TakeSpec, rng: np.random.Generator) -> float:
    """The peak of a middling stroke, to which all other levels refer."""
    levels = [stroke.level for stroke in part.strokes if stroke.kind != "grace"] or [0.7]
    drums = [stroke.drum for stroke in part.strokes] or ["snare"]
    level = float(np.median(levels))
    return float(np.median([np.abs(hit(drums[0], level, spec.kit, spec.phone.rate, rng)).max() for _ in range(5)]))


def _open_desk(layout: ClickLayout, strikes: tuple[Strike, ...], spec: TakeSpec, rng: np.random.Generator) -> _Desk:
    """Empty layers, and where zero falls in them."""
    first = min(0.0, strikes[0].at_s) if strikes else 0.0
    if spec.marks and spec.marks.start:
        first = min(first, layout.marks_start_s)
    if spec.leak or spec.count_off != "none":
        first = min(first, layout.beats[0].at_s)
    lead = spec.before_s if spec.before_s is not None else -first + rng.uniform(1.0, 3.0)
    zero_s = lead + rng.uniform(0.0, 1e-3)  # never on a whole sample
    if spec.false_start_bars:
        zero_s += _first_go_s(layout, spec)
    last = max(layout.end_s, strikes[-1].at_s if strikes else 0.0)
    if spec.marks and spec.marks.end:
        last = max(last, layout.marks_end_s + MARK_GROUP_S)
    ratio = 1.0 + 1e-6 * spec.phone.clock_ppm
    n = round((zero_s + ratio * last + spec.after_s) * spec.phone.rate)
    drums, bleed, speaker, phones, near, over = (np.zeros(max(n, 1)) for _ in range(6))
    return _Desk(spec.phone.rate, zero_s, ratio, drums, bleed, speaker, phones, near, over)


def _first_go_s(layout: ClickLayout, spec: TakeSpec) -> float:
    """Time between the zeros of a false start and of the go that counts."""
    bar_s = -layout.beats[0].at_s / max(layout.count_off_bars, 1) if layout.beats[0].at_s < 0 else 2.0
    return spec.false_start_bars * bar_s + 3.37 + layout.count_off_bars * bar_s


def _false_start(
    desk: _Desk, part: Part, layout: ClickLayout, spec: TakeSpec, middling: float, rng: np.random.Generator
) -> tuple[float, ...]:
    """Draw a first go that breaks off; its contacts."""
    if not spec.false_start_bars:
        return ()
    back = _first_go_s(layout, spec)
    bars = part.bars_from_zero()
    until = bars[min(spec.false_start_bars, len(bars) - 1)].at_s
    first = tuple(strike for strike in play(part, spec.skill, spec.faults, rng) if strike.at_s < until)
    moved = tuple(replace(strike, at_s=strike.at_s - back) for strike in first)
    times = _draw_strikes(desk, desk.drums, moved, spec, rng)
    _draw_click(desk, layout, spec, middling, -back, until)
    _draw_count_off(desk, layout, spec, middling, -back, rng)
    return tuple(times)


def _draw_strikes(
    desk: _Desk, layer: Mono, strikes: tuple[Strike, ...], spec: TakeSpec, rng: np.random.Generator
) -> list[float]:
    """Put every strike on its sample; the file times in the order of `strikes`."""
    times = []
    for strike in strikes:
        at = round(desk.file_s(strike.at_s) * desk.rate)
        signals.add(layer, hit(strike.drum, strike.level, spec.kit, desk.rate, rng), at)
        times.append(at / desk.rate)
    return times


def _draw_click(
    desk: _Desk, layout: ClickLayout, spec: TakeSpec, middling: float, shift_s: float, until_s: float
) -> None:
    """The click as the phone hears it, from the count-off on."""
    leak: Leak | None = spec.leak
    if leak is None:
        return
    peak = middling * 10 ** (leak.level_db / 20)
    layer = desk.speaker if leak.path == "speaker" else desk.phones
    for beat in layout.beats:
        if beat.at_s >= until_s or (leak.count_off_only and not beat.counted):
            continue
        at_s = desk.file_s(beat.at_s + shift_s) + leak.latency_s
        sign = beat.sign if leak.sound == "ours" else 1
        wave = (
            sign * peak * signals.click_sound(leak.sound, beat.kind, desk.rate) * (1.0 if beat.kind == "down" else 0.7)
        )
        signals.add_between(layer, wave, at_s, desk.rate)
        desk.clicks.append(at_s)


def _draw_marks(
    desk: _Desk, layout: ClickLayout, marks: Marks | None, middling: float, rng: np.random.Generator
) -> None:
    """The sync marks, held to the phone, with the noise that was asked for over them."""
    if marks is None:
        return
    peak = middling * 10 ** (marks.level_db / 20)
    for wanted, click_s, rising in ((marks.start, layout.marks_start_s, True), (marks.end, layout.marks_end_s, False)):
        at_s = desk.file_s(click_s)
        if not wanted or at_s < 0:
            continue
        wave = peak * signals.marks_sound(desk.rate, rising)
        signals.add_between(desk.near, wave, at_s, desk.rate)
        if rising:
            desk.marks_start = at_s
        else:
            desk.marks_end = at_s
        if marks.noise_over_db is not None:
            loud = peak / np.sqrt(2) * 10 ** (marks.noise_over_db / 20)
            burst = loud * rng.standard_normal(len(wave) + desk.rate)
            signals.add(desk.over_marks, burst, round((at_s - 0.5) * desk.rate))


def _draw_count_off(
    desk: _Desk, layout: ClickLayout, spec: TakeSpec, middling: float, shift_s: float, rng: np.random.Generator
) -> None:
    """The player counts off with sticks or voice, as unevenly as they play and with the same push."""
    if spec.count_off == "none":
        return
    for beat in layout.beats:
        if not beat.counted:
            continue
        late_s = 1e-3 * (spec.skill.bias_ms + 0.6 * spec.skill.spread_ms * rng.standard_normal())
        at = round(desk.file_s(beat.at_s + shift_s + late_s) * desk.rate)
        if spec.count_off == "sticks":
            wave = 0.7 * middling * signals.stick_click(desk.rate, rng)
        else:
            wave = 0.4 * middling * signals.spoken(0.22, desk.rate, rng, sharp=True)
        signals.add(desk.near, wave, at)
        desk.counts.append(at / desk.rate)


def _draw_talk(
    desk: _Desk,
    layout: ClickLayout,
    strikes: tuple[Strike, ...],
    spec: TakeSpec,
    middling: float,
    rng: np.random.Generator,
) -> None:
    """Voices and handling of the phone, before the playing and after it."""
    first = desk.file_s(strikes[0].at_s if strikes else 0.0)
    last = desk.file_s(max(layout.end_s, strikes[-1].at_s if strikes else 0.0))
    for n in range(spec.talk + spec.thumps):
        before = rng.random() < 0.5
        low, high = (0.0, max(0.1, first - 1.0)) if before else (last + 0.3, max(last + 0.4, desk.duration_s - 0.3))
        at = round(rng.uniform(low, high) * desk.rate)
        if n < spec.talk:
            wave = middling * rng.uniform(0.1, 0.5) * signals.spoken(rng.uniform(0.5, 1.5), desk.rate, rng)
        else:
            wave = middling * rng.uniform(0.3, 1.2) * signals.thump(desk.rate, rng)
        signals.add(desk.near, wave, at)


def _draw_bleed(desk: _Desk, spec: TakeSpec, middling: float, rng: np.random.Generator) -> None:
    """A neighbour plays another part to the same click."""
    if spec.bleed is None:
        return
    strikes = play(spec.bleed, spec.skill, replace(spec.faults, other_part=None), rng)
    _draw_strikes(desk, desk.bleed, strikes, spec, rng)
    top = float(np.abs(desk.bleed).max()) or 1.0
    desk.bleed *= middling * 10 ** (spec.bleed_db / 20) / top


def _mix(desk: _Desk, spec: TakeSpec, middling: float, rng: np.random.Generator) -> tuple[Sound, float]:
    """All layers through rooms and phone."""
    rate = desk.rate
    room = room_response(spec.room, rate, rng)
    mixed = in_room(desk.drums, room)
    top = float(np.abs(mixed).max()) or 1.0
    if spec.bleed is not None:
        far = replace(spec.room, rt60_s=max(spec.room.rt60_s, 0.4), direct_db=-6.0)
        mixed = mixed + in_room(desk.bleed, room_response(far, rate, rng))
    if desk.clicks:
        mixed = mixed + in_room(signals.through_speaker(desk.speaker, rate), room_response(spec.room, rate, rng))
        direct = spec.leak is not None and spec.leak.path == "direct"
        mixed = mixed + (desk.phones if direct else signals.through_headphones(desk.phones, rate))
    close = replace(spec.room, direct_db=spec.room.direct_db + 6.0)
    mixed = mixed + in_room(desk.near, room_response(close, rate, rng)) + desk.over_marks
    mixed = mixed + middling * noise(spec.noise, len(mixed), rate, rng)
    stored = record(mixed, top, spec.phone, rng)
    gain = 10 ** (spec.phone.gain_db / 20) / top
    if spec.faults.silent:
        stored = np.zeros_like(stored)
    stored = (stored * np.float32(10 ** (spec.faults.quiet_db / 20))).astype(np.float32)
    return Sound(stored, rate), middling * gain


def _truth(
    part: Part,
    strikes: tuple[Strike, ...],
    times: list[float],
    earlier: tuple[float, ...],
    desk: _Desk,
    spec: TakeSpec,
    peak: float,
) -> Truth:
    """Gather what is true, leaving out what the file does not hold."""
    held = [(strike, at) for strike, at in zip(strikes, times, strict=True) if 0 <= at < desk.duration_s]
    played = tuple((strike.index, at) for strike, at in held if strike.index is not None)
    late = [at - desk.file_s(part.strokes[i].at_s) for i, at in played if part.strokes[i].scored]
    gone = set(range(len(part.strokes))) - {i for i, _ in played}
    by: list[str] = []
    if desk.marks_start is not None or desk.marks_end is not None:
        by.append("marks")
    if any(at >= 0 for at in desk.clicks):
        by.append("click")
    if any(at >= 0 for at in desk.counts):
        by.append("count-off")
    if played:
        by.append("written")
    return Truth(
        zero_s=desk.zero_s,
        zero_by=tuple(by),
        clock_ratio=desk.ratio,
        bias_ms=1e3 * float(np.mean(late)) if late else None,
        spread_ms=1e3 * float(np.std(late)) if len(late) > 1 else None,
        played=played,
        missed=tuple(sorted(gone)),
        extra_s=tuple(
            at for strike, at in held if strike.kind == "extra" or (strike.index is None and strike.kind != "bounce")
        ),
        buzzes=_buzzes(part, held),
        strikes_s=tuple(at for _, at in held),
        earlier_s=tuple(at for at in earlier if at >= 0),
        click_times_s=tuple(at for at in desk.clicks if 0 <= at < desk.duration_s),
        marks_start_s=desk.marks_start,
        marks_end_s=desk.marks_end,
        count_off_s=tuple(at for at in desk.counts if at >= 0),
        stroke_peak=peak,
        strokes_written=len(part.scored()),
    )


def _buzzes(part: Part, held: list[tuple[Strike, float]]) -> tuple[tuple[int, Span, tuple[float, ...]], ...]:
    """Every buzz that was played, with all its contacts."""
    out = []
    for n, (strike, at) in enumerate(held):
        if strike.index is None or part.strokes[strike.index].kind != "buzz":
            continue
        end = at + part.strokes[strike.index].length_s
        contacts = [at] + [other for later, other in held[n + 1 :] if later.kind == "bounce" and other < end + 1e-6]
        out.append((strike.index, Span(at, max(contacts)), tuple(contacts)))
    return tuple(out)

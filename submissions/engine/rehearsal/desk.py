"""The mixing desk of a made take: every layer drawn where it belongs, then put through rooms and phone.

Conventions: see take.py. A strike falls on a whole sample; clicks and marks lie between samples exactly.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..facts import Sound
from ..music.click import CLICK_PEAK, MARK_GROUP_S, MARK_PEAK, ClickLayout
from ..music.written import Part
from . import signals
from .kits import strike as strike_sound
from .phone import record
from .playing import Strike, play
from .space import in_room, noise, room_response
from .spec import TakeSpec

Mono = NDArray[np.float64]
PAUSE_S = 3.37  # between a false start and the next count-off: no whole number of beats at usual tempi


@dataclass
class Desk:
    """The layers of one recording while it is being made, all of one length."""

    part: Part  # at the tempo it is played to
    spec: TakeSpec
    layout: ClickLayout
    rng: np.random.Generator
    bias_s: float  # the player's own push (negative) or drag
    middling: float  # the peak of a middling stroke, to which all other levels refer
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

    @property
    def rate(self) -> int:
        return self.spec.phone.rate

    @property
    def duration_s(self) -> float:
        return len(self.drums) / self.rate

    def file_s(self, click_s: float) -> float:
        """File time of a moment of click time."""
        return self.zero_s + self.ratio * click_s


def open_desk(
    part: Part,
    layout: ClickLayout,
    strikes: tuple[Strike, ...],
    spec: TakeSpec,
    rng: np.random.Generator,
    bias_s: float,
) -> Desk:
    """Empty layers, and where zero falls in them."""
    middling = middling_peak(part, spec, rng)
    first = min(0.0, strikes[0].at_s) if strikes else 0.0
    if (spec.marks and spec.marks.start) or (spec.leak and spec.leak.marks):
        first = min(first, layout.marks_start_s)
    if spec.leak or spec.count_off != "none":
        first = min(first, layout.beats[0].at_s)
    lead = spec.before_s if spec.before_s is not None else -first + rng.uniform(1.0, 3.0)
    zero_s = lead + rng.uniform(0.0, 1e-3)  # never on a whole sample
    if spec.false_start_bars:
        zero_s += first_go_s(part, layout, spec)
    last = max(layout.end_s, strikes[-1].at_s if strikes else 0.0)
    if (spec.marks and spec.marks.end) or (spec.leak and spec.leak.marks):
        last = max(last, layout.marks_end_s + MARK_GROUP_S)
    ratio = 1.0 + 1e-6 * spec.phone.clock_ppm
    n = max(1, round((zero_s + ratio * last + spec.after_s) * spec.phone.rate))
    drums, bleed, speaker, phones, near, over = (np.zeros(n) for _ in range(6))
    return Desk(part, spec, layout, rng, bias_s, middling, zero_s, ratio, drums, bleed, speaker, phones, near, over)


def middling_peak(part: Part, spec: TakeSpec, rng: np.random.Generator) -> float:
    """The median peak of a stroke of the part's middling loudness."""
    levels = [stroke.level for stroke in part.strokes if stroke.kind != "grace"] or [0.7]
    drums = [stroke.drum for stroke in part.strokes] or ["snare"]
    level = float(np.median(levels))
    hits = [strike_sound(drums[0], level, spec.kit, spec.phone.rate, rng) for _ in range(5)]
    return float(np.median([np.abs(wave).max() for wave in hits]))


def first_go_s(part: Part, layout: ClickLayout, spec: TakeSpec) -> float:
    """Time between the zeros of a false start and of the go that counts."""
    bar_s = part.bars_from_zero()[0].length_s
    return spec.false_start_bars * bar_s + PAUSE_S + layout.count_off_bars * bar_s


def draw_false_start(desk: Desk) -> tuple[float, ...]:
    """Draw a first go that breaks off; the file times of its contacts."""
    spec = desk.spec
    if not spec.false_start_bars:
        return ()
    back = first_go_s(desk.part, desk.layout, spec)
    bars = desk.part.bars_from_zero()
    until = bars[min(spec.false_start_bars, len(bars) - 1)].at_s
    first = tuple(
        strike for strike in play(desk.part, spec.skill, spec.faults, desk.rng, desk.bias_s) if strike.at_s < until
    )
    times = draw_strikes(desk, desk.drums, tuple(replace(strike, at_s=strike.at_s - back) for strike in first))
    draw_click(desk, -back, until)
    draw_count_off(desk, -back)
    return tuple(times)


def draw_strikes(desk: Desk, layer: Mono, strikes: tuple[Strike, ...]) -> list[float]:
    """Put every strike on its sample; the file times in the order of `strikes`."""
    times = []
    for strike in strikes:
        at = round(desk.file_s(strike.at_s) * desk.rate)
        signals.add(layer, strike_sound(strike.drum, strike.level, desk.spec.kit, desk.rate, desk.rng), at)
        times.append(at / desk.rate)
    return times


def draw_click(desk: Desk, shift_s: float, until_s: float) -> None:
    """The click as the phone hears it, from the count-off on."""
    leak = desk.spec.leak
    if leak is None:
        return
    peak = desk.middling * 10 ** (leak.level_db / 20)
    layer = desk.speaker if leak.path == "speaker" else desk.phones
    for beat in desk.layout.beats:
        if beat.at_s >= until_s or (leak.count_off_only and not beat.counted):
            continue
        at_s = desk.file_s(beat.at_s + shift_s) + leak.latency_s
        loud = peak * (1.0 if beat.kind == "down" else 0.7) * (beat.sign if leak.sound == "ours" else 1)
        signals.add_between(layer, loud * signals.click_sound(leak.sound, beat.kind, desk.rate), at_s, desk.rate)
        desk.clicks.append(at_s)
    if leak.marks and shift_s == 0.0:
        _leak_marks(desk, layer, peak * MARK_PEAK / CLICK_PEAK["down"], leak.latency_s)


def _leak_marks(desk: Desk, layer: Mono, peak: float, latency_s: float) -> None:
    """Both groups of marks out of the headphones or the speaker."""
    for click_s, rising in ((desk.layout.marks_start_s, True), (desk.layout.marks_end_s, False)):
        at_s = desk.file_s(click_s) + latency_s
        if at_s < 0 or at_s + MARK_GROUP_S > desk.duration_s:
            continue
        signals.add_between(layer, peak * signals.marks_sound(desk.rate, rising), at_s, desk.rate)
        if rising:
            desk.marks_start = at_s
        else:
            desk.marks_end = at_s


def draw_marks(desk: Desk) -> None:
    """The sync marks, held to the phone, with the noise that was asked for over them."""
    marks = desk.spec.marks
    if marks is None:
        return
    peak = desk.middling * 10 ** (marks.level_db / 20)
    for wanted, click_s, rising in (
        (marks.start, desk.layout.marks_start_s, True),
        (marks.end, desk.layout.marks_end_s, False),
    ):
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
            sounding = float(np.sqrt(np.mean(wave[wave != 0.0] ** 2)))
            burst = sounding * 10 ** (marks.noise_over_db / 20) * desk.rng.standard_normal(len(wave) + desk.rate)
            signals.add(desk.over_marks, burst, round((at_s - 0.5) * desk.rate))


def draw_count_off(desk: Desk, shift_s: float) -> None:
    """The player counts off with sticks or voice, as unevenly as they play and with the same push."""
    spec, rng = desk.spec, desk.rng
    if spec.count_off == "none":
        return
    for beat in desk.layout.beats:
        if not beat.counted:
            continue
        late_s = desk.bias_s + 0.6e-3 * spec.skill.spread_ms * rng.standard_normal()
        at = round(desk.file_s(beat.at_s + shift_s + late_s) * desk.rate)
        if spec.count_off == "sticks":
            wave = 0.7 * desk.middling * signals.stick_click(desk.rate, rng)
        else:
            wave = 0.4 * desk.middling * signals.spoken(0.22, desk.rate, rng, sharp=True)
        signals.add(desk.near, wave, at)
        desk.counts.append(at / desk.rate)


def draw_talk(desk: Desk, strikes: tuple[Strike, ...]) -> None:
    """Voices and handling of the phone, before the playing and after it, and talk over it where asked for."""
    spec, rng = desk.spec, desk.rng
    first = desk.file_s(strikes[0].at_s if strikes else 0.0)
    last = desk.file_s(max(desk.layout.end_s, strikes[-1].at_s if strikes else 0.0))
    for n in range(spec.talk + spec.thumps):
        before = rng.random() < 0.5
        low, high = (0.0, max(0.1, first - 1.0)) if before else (last + 0.3, max(last + 0.4, desk.duration_s - 0.3))
        if n < spec.talk:
            wave = desk.middling * rng.uniform(0.1, 0.5) * signals.spoken(rng.uniform(0.5, 1.5), desk.rate, rng)
        else:
            wave = desk.middling * rng.uniform(0.3, 1.2) * signals.thump(desk.rate, rng)
        signals.add(desk.near, wave, round(rng.uniform(low, high) * desk.rate))
    for _ in range(spec.talk_over):
        wave = desk.middling * rng.uniform(0.1, 0.4) * signals.spoken(rng.uniform(0.6, 1.6), desk.rate, rng)
        signals.add(desk.near, wave, round(rng.uniform(first, max(first + 0.1, last - 2.0)) * desk.rate))


def draw_bleed(desk: Desk) -> None:
    """A neighbour plays another part to the same click."""
    spec = desk.spec
    if spec.bleed is None:
        return
    draw_strikes(desk, desk.bleed, play(spec.bleed, spec.skill, replace(spec.faults, other_part=None), desk.rng))
    top = float(np.abs(desk.bleed).max()) or 1.0
    desk.bleed *= desk.middling * 10 ** (spec.bleed_db / 20) / top


def mix(desk: Desk) -> tuple[Sound, float]:
    """All layers through rooms and phone; the sound, and the peak of a middling stroke in it before the limiter."""
    spec, rate, rng = desk.spec, desk.rate, desk.rng
    mixed = in_room(desk.drums, room_response(spec.room, rate, rng))
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
    mixed = mixed + desk.middling * noise(spec.noise, len(mixed), rate, rng)
    stored = record(mixed, top, spec.phone, rng)
    if spec.faults.silent:
        stored = np.zeros_like(stored)
    stored = (stored * np.float32(10 ** (spec.faults.quiet_db / 20))).astype(np.float32)
    return Sound(stored, rate), desk.middling * 10 ** (spec.phone.gain_db / 20) / top

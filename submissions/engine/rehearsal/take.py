"""A take with known truth: `make_take(part, spec, seed)` gives the sound a phone stored and all that is true of it.

Conventions: times are file time in seconds (sample 0 of the sound is 0 s); every strike is put on a whole sample
and its truth is that sample over the rate. Zero lies between samples. The direct sound reaches the microphone
without delay, so `played_s` is the arrival at the phone. The same part, spec and seed give the same samples.
"""

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soxr

from ..facts import Sound, Span
from ..media import read_sound, write_film
from ..music.click import click_layout
from ..music.written import Part
from . import desk as mixing
from .playing import Strike, own_bias_s, play
from .spec import TakeSpec
from .truth import Truth, gather, without

OPUS_RATE = 48_000
__all__ = ["MadeTake", "Truth", "at_opus_rate", "at_tempo", "make_take", "through_codec"]


@dataclass(frozen=True)
class MadeTake:
    sound: Sound
    truth: Truth
    part: Part
    spec: TakeSpec
    seed: int


def make_take(part: Part, spec: TakeSpec, seed: int) -> MadeTake:
    """The take and its truth. Seeds under 10 000 are for tuning, from 900 000 on for evaluation only."""
    rng = np.random.default_rng([seed, 20_260])
    layout = click_layout(part, spec.count_off_bars, spec.bpm)
    to_play = part if spec.bpm is None else at_tempo(part, layout.tempo_scale)
    bias_s = own_bias_s(spec.skill, rng)
    strikes = play(to_play, spec.skill, spec.faults, rng, bias_s)
    desk = mixing.open_desk(to_play, layout, strikes, spec, rng, bias_s)
    earlier = mixing.draw_false_start(desk)
    times = mixing.draw_strikes(desk, desk.drums, strikes)
    if spec.faults.looped_bar is not None:
        strikes, times = _looped(desk, strikes, times, spec.faults.looped_bar)
    mixing.draw_click(desk, 0.0, layout.end_s)
    mixing.draw_marks(desk)
    mixing.draw_count_off(desk, 0.0)
    mixing.draw_talk(desk, strikes)
    mixing.draw_bleed(desk)
    sound, peak = mixing.mix(desk)
    truth = gather(desk, strikes, times, earlier, peak)
    for start_s, end_s in sorted(spec.faults.dropped_s, reverse=True):
        sound, truth = _cut_out(sound, truth, start_s, end_s)
    return MadeTake(through_codec(sound, spec.codec), truth, part, spec, seed)


def at_tempo(part: Part, scale: float) -> Part:
    """The same part played to a click at `scale` times the performance tempo; positions in quarters stay."""
    strokes = tuple(replace(s, at_s=s.at_s / scale, length_s=s.length_s / scale) for s in part.strokes)
    bars = tuple(replace(b, at_s=b.at_s / scale, length_s=b.length_s / scale) for b in part.bars)
    beats = tuple(replace(b, at_s=b.at_s / scale) for b in part.beats)
    return replace(part, strokes=strokes, bars=bars, beats=beats, end_s=part.end_s / scale)


def through_codec(sound: Sound, codec: str) -> Sound:
    """The sound after "aac-64", "opus-48" ... (kb/s); "none" leaves it alone. Opus comes back at 48 kHz."""
    if codec == "none":
        return sound
    kind, _, rate = codec.partition("-")
    if kind == "opus":
        sound = at_opus_rate(sound)
    blank = [np.zeros((64, 64), np.uint8)] * max(2, int(sound.duration_s))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("sound.mp4" if kind == "aac" else "sound.webm")
        write_film(path, blank, fps=1, sound=sound, audio_bit_rate=int(rate) * 1000)
        decoded = read_sound(path)
    n = round(sound.duration_s * decoded.rate)
    return Sound(decoded.samples[:n], decoded.rate)


def at_opus_rate(sound: Sound) -> Sound:
    """The sound at 48 kHz, the one rate of phones that Opus takes; times in seconds stay."""
    if sound.rate == OPUS_RATE:
        return sound
    return Sound(soxr.resample(sound.samples, sound.rate, OPUS_RATE).astype(np.float32), OPUS_RATE)


def _looped(
    desk: mixing.Desk, strikes: tuple[Strike, ...], times: list[float], bar: int
) -> tuple[tuple[Strike, ...], list[float]]:
    """One bar's samples pasted over every other bar of its length, and the strikes that are then heard.

    Played once and pasted: what somebody hands in who looped two bars in an editor.
    """
    bars = desk.part.bars_from_zero()
    source = bars[bar]
    start = round(desk.file_s(source.at_s) * desk.rate)
    length = round(desk.ratio * source.length_s * desk.rate)
    kept = [
        (s, round(at * desk.rate))
        for s, at in zip(strikes, times, strict=True)
        if start <= round(at * desk.rate) < start + length
    ]
    piece = desk.drums[start : start + length].copy()
    by_place = {(s.at_q, s.kind): n for n, s in enumerate(desk.part.strokes)}
    out: list[tuple[Strike, float]] = []
    for other in bars:
        place = round(desk.file_s(other.at_s) * desk.rate)
        piece_here = piece[: max(0, len(desk.drums) - place)]
        desk.drums[place : place + len(piece_here)] = piece_here
        for strike, at in kept:
            index = None
            if strike.index is not None:
                written = desk.part.strokes[strike.index]
                index = by_place.get((other.at_q + written.at_q - source.at_q, written.kind))
            out.append((replace(strike, index=index), (at - start + place) / desk.rate))
    return tuple(strike for strike, _ in out), [at for _, at in out]


def _cut_out(sound: Sound, truth: Truth, start_s: float, end_s: float) -> tuple[Sound, Truth]:
    """A stretch of file time taken out, as when a phone loses part of a recording; later cuts go first."""
    first, last = round(start_s * sound.rate), round(end_s * sound.rate)
    samples = np.concatenate([sound.samples[:first], sound.samples[last:]])
    return Sound(samples, sound.rate), without(truth, Span(first / sound.rate, last / sound.rate))

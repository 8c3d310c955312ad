"""A Standard MIDI File of a part: drums and click on channel 10, tempo bytes and ticks right.

Conventions: ticks are integers derived from exact rationals of a quarter, rounded once. Tick 0 is the first beat of
the count-off. Format and meta events: Standard MIDI Files 1.0 (FF 51 tempo in microseconds a quarter, FF 58 meter).
Key numbers: General MIDI level 1 percussion map, where a marching line has no entry the nearest in pitch order.
"""

import io
from collections.abc import Callable
from fractions import Fraction
from math import lcm

import mido

from .click import ClickLayout, tempo_at_zero
from .written import Part, WrittenStroke

DRUM_CHANNEL = 9  # channel 10 as players count
BASE_TICKS = 480  # common resolution; divides by 2, 3 and 5
MOST_TICKS = 16_383  # MusicXML's advice for divisions, safe for every reader
KEYS = {
    "snare": 38,  # acoustic snare
    "rim": 37,  # side stick
    "tenor-1": 50,  # toms, high to low
    "tenor-2": 48,
    "tenor-3": 47,
    "tenor-4": 45,
    "tenor-5": 60,  # the small drums: bongos
    "tenor-6": 61,
    "bass-1": 45,  # low tom down to the acoustic bass drum
    "bass-2": 43,
    "bass-3": 41,
    "bass-4": 36,
    "bass-5": 35,
    "bass": 36,
    "cymbal": 49,
    "cymbals": 49,
}
OTHER_KEY = 38
CLICK_KEYS = {"down": 76, "beat": 77, "sub": 77}  # high and low wood block
CLICK_VELOCITY = {"down": 110, "beat": 90, "sub": 50}
SHORTEST_NOTE_Q = Fraction(1, 16)
BUZZ_NOTE_Q = Fraction(1, 8)  # a buzz sounds as repeated quiet notes; MIDI has no word for it

_Tick = Callable[[Fraction], int]  # from quarters after zero to ticks
_Event = tuple[int, int, mido.Message | mido.MetaMessage]  # tick, order within a tick, message


def ticks_a_quarter(part: Part) -> int:
    """The smallest multiple of 480 that puts every stroke and tempo on a whole tick, if one is allowed."""
    ticks = BASE_TICKS
    for at_q in [s.at_q for s in part.strokes] + [t.at_q for t in part.tempi] + [b.at_q for b in part.bars]:
        joined = lcm(ticks, at_q.denominator)
        if joined <= MOST_TICKS:
            ticks = joined
    return ticks


def midi_bytes(part: Part, layout: ClickLayout) -> bytes:
    """The file's bytes: one track of tempo and meter, one of the part, one of the click with its count-off.

    The layout's tempo scale applies to every tempo; its count-off stands before bar 1.
    """
    ticks = ticks_a_quarter(part)
    first = part.bars_from_zero()[0]
    pickup_q = max(Fraction(0), -min(bar.at_q for bar in part.bars))
    lead_q = max(layout.count_off_bars * first.length_q, pickup_q)
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)

    def tick(at_q: Fraction) -> int:
        return round((at_q + lead_q) * ticks)

    end = tick(part.end_q)
    file.tracks.append(_track(part.title or "Tempo", _tempo_events(part, layout, tick), end))
    file.tracks.append(_track(part.name or "Part", _stroke_events(part, layout, tick, ticks), end))
    file.tracks.append(_track("Click", _click_events(part, layout, tick), end))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _tempo_events(part: Part, layout: ClickLayout, tick: _Tick) -> list[_Event]:
    events: list[_Event] = []
    scale = Fraction(layout.tempo_scale).limit_denominator(1_000_000)
    changes = {0: tempo_at_zero(part)} | {tick(t.at_q): t.quarters_per_minute for t in part.tempi if t.at_q > 0}
    for at, quarters in sorted(changes.items()):
        microseconds = min(0xFFFFFF, round(60_000_000 / (quarters * scale)))
        events.append((at, 0, mido.MetaMessage("set_tempo", tempo=microseconds)))
    before: tuple[int, int] | None = None
    full = part.bars_from_zero()
    for index, bar in enumerate(full):
        meter = (bar.beats, bar.beat_type)
        if meter != before:
            compound = bar.beats % 3 == 0 and bar.beats > 3 and bar.beat_type >= 8
            clocks = min(255, 24 * 4 // bar.beat_type * (3 if compound else 1))
            message = mido.MetaMessage(
                "time_signature", numerator=bar.beats, denominator=bar.beat_type, clocks_per_click=clocks
            )
            events.append((0 if index == 0 else tick(bar.at_q), 1, message))
        before = meter
    return events


def _stroke_events(part: Part, layout: ClickLayout, tick: _Tick, ticks: int) -> list[_Event]:
    quarters_a_second = tempo_at_zero(part) * Fraction(layout.tempo_scale).limit_denominator(1_000_000) / 60
    events: list[_Event] = []
    graces: list[WrittenStroke] = []
    for stroke in part.strokes:
        if stroke.kind == "grace":
            graces.append(stroke)
            continue
        for grace in graces:
            ahead = Fraction(stroke.at_s - grace.at_s).limit_denominator(10_000) * quarters_a_second
            events += _note(grace, max(0, tick(stroke.at_q) - round(ahead * ticks)), max(1, ticks // 16))
        graces = []
        if stroke.kind == "buzz":
            count = max(1, int(stroke.length_q / BUZZ_NOTE_Q))
            for k in range(count):
                events += _note(stroke, tick(stroke.at_q + k * BUZZ_NOTE_Q), max(1, ticks // 16), 0.6)
        else:
            events += _note(stroke, tick(stroke.at_q), max(1, round(SHORTEST_NOTE_Q * ticks)))
    return events


def _note(stroke: WrittenStroke, at: int, length: int, share: float = 1.0) -> list[_Event]:
    key = KEYS["rim"] if stroke.technique in ("rim", "cross") else KEYS.get(stroke.drum, OTHER_KEY)
    velocity = max(1, min(127, round(127 * stroke.level * share)))
    on = mido.Message("note_on", channel=DRUM_CHANNEL, note=key, velocity=velocity)
    off = mido.Message("note_off", channel=DRUM_CHANNEL, note=key, velocity=0)
    return [(at, 3, on), (at + length, 2, off)]


def _click_events(part: Part, layout: ClickLayout, tick: _Tick) -> list[_Event]:
    first = part.bars_from_zero()[0]
    in_first = [beat for beat in part.beats if beat.played_bar == part.beats[0].played_bar]
    counted = [
        (beat.at_q - back * first.length_q, "down" if beat.downbeat else "beat")
        for back in range(layout.count_off_bars, 0, -1)
        for beat in in_first
    ]
    played = [(beat.at_q, "down" if beat.downbeat else "beat") for beat in part.beats]
    events: list[_Event] = []
    for at_q, kind in counted + played:
        key, velocity = CLICK_KEYS[kind], CLICK_VELOCITY[kind]
        on = mido.Message("note_on", channel=DRUM_CHANNEL, note=key, velocity=velocity)
        off = mido.Message("note_off", channel=DRUM_CHANNEL, note=key, velocity=0)
        events += [(tick(at_q), 3, on), (tick(at_q + SHORTEST_NOTE_Q), 2, off)]
    return events


def _track(name: str, events: list[_Event], end: int) -> mido.MidiTrack:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=name.encode("latin-1", "replace").decode("latin-1"), time=0))
    now = 0
    for at, _, message in sorted(events, key=lambda event: (event[0], event[1])):
        track.append(message.copy(time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track

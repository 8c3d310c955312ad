"""The MIDI file against the published note arithmetic (Standard MIDI Files 1.0) and mido as a reader."""

import io
from dataclasses import replace
from fractions import Fraction

import mido
import pytest

from submissions.engine.music.click import click_layout
from submissions.engine.music.midi import DRUM_CHANNEL, midi_bytes, ticks_a_quarter

from .plain import F, plain_part


def read(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data))


def notes_at(track) -> list[tuple[int, int]]:
    now, out = 0, []
    for message in track:
        now += message.time
        if message.type == "note_on":
            out.append((now, message.note))
    return out


class TestTheTempo:
    @pytest.mark.parametrize(
        ("bpm", "tempo_bytes"),
        # FF 51 03 tt tt tt, microseconds a quarter: 60 000 000 / bpm, rounded. 07 A1 20 = 120 is the standard's default.
        [
            (80, "0b71b0"), (84, "0ae62e"), (88, "0a675a"), (92, "09f38e"), (96, "098968"), (100, "0927c0"),
            (104, "08cd9b"), (108, "087a24"), (112, "082ca2"), (116, "07e479"), (120, "07a120"),
        ],
    )  # fmt: skip
    def test_bytes_are_the_published_ones(self, bpm, tempo_bytes):
        part = plain_part(tempo=116)
        data = midi_bytes(part, click_layout(part, 2, bpm))
        assert bytes.fromhex("ff5103" + tempo_bytes) in data
        assert read(data).tracks[0][1].tempo == mido.bpm2tempo(bpm)

    def test_changes_stand_at_their_tick(self):
        part = plain_part(((4, 4),) * 3, 120, later=((4, 90), (F(19, 2), 60)))
        file = read(midi_bytes(part, click_layout(part, 1)))
        now, changes = 0, []
        for message in file.tracks[0]:
            now += message.time
            if message.type == "set_tempo":
                changes.append((Fraction(now, file.ticks_per_beat), message.tempo))
        assert changes == [(0, 500000), (8, 666667), (F(27, 2), 1000000)]

    def test_length_is_that_of_count_off_and_part(self):
        part = plain_part(((4, 4),) * 8, 100, strokes_at=(0,))
        assert read(midi_bytes(part, click_layout(part, 2))).length == pytest.approx((8 + 32) * 0.6, abs=1e-6)


class TestTheNotes:
    def test_are_on_channel_ten(self):
        part = plain_part(strokes_at=(0, 1))
        messages = [m for track in read(midi_bytes(part, click_layout(part, 1))).tracks for m in track]
        assert {m.channel for m in messages if m.type == "note_on"} == {DRUM_CHANNEL} == {9}

    @pytest.mark.parametrize("places", [(F(0), F(1, 4), F(1, 3), F(2, 3)), (F(1, 6), F(1, 5), F(1, 7)), (F(3, 32),)])
    def test_stand_on_their_exact_tick(self, places):
        part = plain_part(strokes_at=places)
        file = read(midi_bytes(part, click_layout(part, 1)))
        ticks = [Fraction(at, file.ticks_per_beat) - 4 for at, _ in notes_at(file.tracks[1])]
        assert ticks == sorted(places)

    def test_resolution_stays_within_what_readers_take(self):
        part = plain_part(strokes_at=[F(1, d) for d in (7, 9, 11, 13, 17, 19)])
        assert 480 <= ticks_a_quarter(part) <= 16383

    def test_each_bass_drum_has_a_key_of_its_own_falling_in_pitch(self):
        part = plain_part(strokes_at=range(5), instrument="bass")
        line = tuple(replace(s, drum=f"bass-{n + 1}") for n, s in enumerate(part.strokes))
        keys = [
            key for _, key in notes_at(read(midi_bytes(replace(part, strokes=line), click_layout(part, 1))).tracks[1])
        ]
        assert keys == sorted(set(keys), reverse=True)

    def test_a_grace_comes_before_its_stroke(self):
        part = plain_part(tempo=120, strokes_at=(F(1),))
        grace = replace(part.strokes[0], kind="grace", at_s=part.strokes[0].at_s - 0.028)
        flam = replace(part, strokes=(grace, part.strokes[0]))
        file = read(midi_bytes(flam, click_layout(flam, 1)))
        first, second = (at for at, _ in notes_at(file.tracks[1]))
        assert (second - first) / file.ticks_per_beat * 0.5 == pytest.approx(0.028, abs=0.0006)

    def test_the_click_counts_off_before_the_part(self):
        part = plain_part(((4, 4),) * 2)
        file = read(midi_bytes(part, click_layout(part, 2)))
        assert [at // file.ticks_per_beat for at, _ in notes_at(file.tracks[2])] == list(range(16))

    def test_a_pickup_longer_than_the_count_off_stays_in_the_file(self):
        part = plain_part(pickup_q=F(3), strokes_at=(F(-3), F(0)))
        file = read(midi_bytes(part, click_layout(part, 0)))
        assert [at // file.ticks_per_beat for at, _ in notes_at(file.tracks[1])] == [0, 3]


def test_two_runs_write_the_same_bytes():
    part = plain_part(strokes_at=(0, F(1, 3)))
    assert midi_bytes(part, click_layout(part, 2)) == midi_bytes(part, click_layout(part, 2))

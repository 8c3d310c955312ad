"""Written strokes found where they were played, leaked clicks left out, wrong parts unmasked.

The takes are made with known truth on seeds that nothing was tuned on (from 900 000 on).
"""

from dataclasses import replace

import mir_eval
import numpy as np
import pytest

from submissions.engine.rehearsal.kits import kit_from_folder
from submissions.engine.rehearsal.pages import PageSpec, invent_part
from submissions.engine.rehearsal.spec import BEGINNER, GOOD, INTERMEDIATE, Faults, Leak, Phone, Room, TakeSpec
from submissions.engine.rehearsal.take import make_take

from .played import HITS, ROOM, ear_of, listen_to, recall, take_of

SEED = 900_310
REAL = replace(ROOM, kit=kit_from_folder(HITS), room=Room(0.25, 8.0))
LOOSE = replace(ROOM, skill=BEGINNER)
PHONE = replace(ROOM, phone=Phone(low_hz=200.0, high_hz=9_000.0))


class TestFindStrokes:
    @pytest.mark.parametrize(
        ("spec", "diddles", "graces"),
        [(ROOM, 0.95, 0.6), (REAL, 0.7, 0.6), (LOOSE, 0.93, 0.5), (PHONE, 0.95, 0.6)],
        ids=["room", "real hits", "beginner", "phone"],
    )
    def test_finds_what_was_played_and_when(self, spec, diddles, graces):
        """The page is thick with flams and diddles: limits for one hard take; the bench holds the averages."""
        take, ear = ear_of(spec, SEED, bars=12, ornaments=2.0)
        true = dict(take.truth.played)
        off = [1e3 * (p.played_s - true[p.index]) for p in ear.strokes.strokes if p.played_s and p.index in true]
        assert np.median(np.abs(off)) < 1.0
        assert recall(take, ear.strokes, "stroke") > 0.95
        assert recall(take, ear.strokes, "diddle") > diddles
        assert recall(take, ear.strokes, "grace") > graces

    @pytest.mark.parametrize("instrument", ["snare", "tenors", "bass", "cymbals"])
    def test_hears_every_stroke_and_little_else(self, instrument):
        take, ear = ear_of(ROOM, SEED + 1, instrument=instrument, ornaments=0.4)
        true = np.unique(np.array(take.truth.strikes_s))
        true = true[np.concatenate([[True], np.diff(true) > 0.006])]  # a unison is heard as one stroke
        heard = np.array(ear.strokes.heard_s)
        assert mir_eval.onset.f_measure(true, heard, window=0.025)[0] > 0.9

    def test_names_the_strokes_that_were_left_out_and_no_others(self):
        forgetful = replace(ROOM, skill=replace(INTERMEDIATE, missed_share=0.08, extra_share=0.0))
        left_out, overlooked, accused = 0, 0, 0
        for seed in (SEED + 2, 930_320, 930_321):
            take, ear = ear_of(forgetful, seed, ornaments=0.0)
            named, true = {p.index for p in ear.strokes.strokes if p.played_s is None}, set(take.truth.missed)
            left_out, overlooked, accused = left_out + len(true), overlooked + len(true - named), accused + len(named - true)
        assert left_out > 15
        assert overlooked <= 0.2 * left_out
        assert accused <= 1

    def test_leaves_a_loud_click_out_and_the_strokes_on_it_in(self):
        take, ear = ear_of(replace(ROOM, leak=Leak(-8.0)), SEED + 3, instrument="bass", drum="1", bars=12)
        heard, true = np.array(ear.strokes.heard_s), np.array(take.truth.strikes_s)
        clicks = np.array(take.truth.click_times_s)
        lonely = clicks[np.abs(clicks[:, None] - true[None, :]).min(axis=1) > 0.06]
        on_click = true[np.abs(true[:, None] - clicks[None, :]).min(axis=1) < 0.02]
        listed = sum(np.abs(heard - at).min() < 0.015 for at in lonely)
        assert listed <= 0.1 * len(lonely)
        assert sum(np.abs(heard - at).min() < 0.015 for at in on_click) >= 0.9 * len(on_click)

    def test_hears_sticks_that_count_off(self):
        take, ear = ear_of(replace(ROOM, count_off="sticks"), SEED + 4)
        heard = np.array(ear.strokes.heard_s)
        assert sum(np.abs(heard - at).min() < 0.01 for at in take.truth.count_off_s) >= 7

    def test_counts_a_unison_as_played_on_every_drum(self):
        line = invent_part(PageSpec("bass", bars=8, ornaments=0.0), SEED + 5)
        five = tuple(
            replace(s, drum=f"bass-{d}", at_q=s.at_q)
            for s in line.strokes
            for d in (range(1, 6) if s.count == "3" else (3,))
        )
        part = replace(line, strokes=five)
        take = make_take(part, replace(ROOM, skill=replace(GOOD, missed_share=0.0)), SEED + 5)
        ear = listen_to(take.sound.mono, take.sound.rate, part)
        together = [p for p in ear.strokes.strokes if p.count == "3"]
        assert len(together) >= 25
        assert sum(p.played_s is not None for p in together) > 0.9 * len(together)

    def test_of_nothing_finds_nothing(self):
        part = take_of(ROOM, SEED).part
        ear = listen_to(np.zeros(480_000), 48_000, part)
        assert ear.strokes.matched == 0
        assert ear.strokes.heard_s == ()
        assert ear.strokes.missed == len(part.scored())


class TestExplainedShare:
    """A dense wrong part covers most written strokes of a sparse one; only the other direction shows it."""

    sparse = invent_part(PageSpec("cymbals", bars=8), SEED + 6)
    dense = invent_part(PageSpec("snare", bars=8), SEED + 7)

    def test_is_near_one_for_the_right_part(self):
        _, ear = ear_of(ROOM, SEED + 6)
        assert ear.strokes.explained_share > 0.9

    def test_is_low_where_a_dense_part_was_played_for_a_sparse_one(self):
        take = take_of(ROOM, SEED + 7)
        ear = listen_to(take.sound.mono, take.sound.rate, self.sparse)
        assert ear.strokes.explained_share < 0.35

    def test_leaves_most_of_a_dense_part_unfound_where_a_sparse_one_was_played(self):
        take = take_of(ROOM, SEED + 6, instrument="cymbals")
        ear = listen_to(take.sound.mono, take.sound.rate, self.dense)
        assert ear.strokes.matched < 0.35 * ear.strokes.written


class TestNothingButTheMusicCounts:
    """Gain, polarity and silence around a take change nothing."""

    @pytest.mark.parametrize("change", ["gain", "polarity", "silence behind"])
    def test_changes_nothing(self, change):
        take, plain = ear_of(ROOM, SEED)
        mono = take.sound.mono
        changed = {"gain": 0.1 * mono, "polarity": -mono, "silence behind": np.pad(mono, (0, 48_000))}[change]
        again = listen_to(changed, take.sound.rate, take.part)
        assert again.strokes.matched == plain.strokes.matched
        assert np.allclose(
            [p.late_ms for p in again.strokes.strokes if p.late_ms is not None],
            [p.late_ms for p in plain.strokes.strokes if p.late_ms is not None],
            atol=0.5,
        )

    def test_silence_in_front_moves_every_time_by_its_length(self):
        take, plain = ear_of(ROOM, SEED)
        again = listen_to(np.pad(take.sound.mono, (48_000, 0)), take.sound.rate, take.part)
        off = [
            b.played_s - a.played_s - 48_000 / take.sound.rate
            for a, b in zip(plain.strokes.strokes, again.strokes.strokes, strict=True)
            if a.played_s is not None and b.played_s is not None
        ]
        assert len(off) >= plain.strokes.matched - 1
        assert np.percentile(np.abs(off), 99) < 5e-4


class TestSpoiledTakes:
    def test_a_take_that_stops_is_matched_up_to_there(self):
        take, ear = ear_of(replace(ROOM, faults=Faults(stop_share=0.5)), SEED + 8)
        half = [p for p in ear.strokes.strokes if take.part.strokes[p.index].scored]
        before = [p for p in half if p.written_s < 0.48 * take.part.end_s]
        after = [p for p in half if p.written_s > 0.55 * take.part.end_s]
        assert sum(p.played_s is not None for p in before) > 0.95 * len(before)
        assert not any(p.played_s is not None for p in after)

    def test_a_take_without_click_keeps_its_own_time(self):
        take, ear = ear_of(TakeSpec(room=Room(0.3)), SEED + 9)
        assert ear.timing.bias_ms is None
        assert recall(take, ear.strokes, "stroke") > 0.95

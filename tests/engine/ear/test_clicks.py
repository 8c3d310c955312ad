"""The leaked click: ours far under the drums, a stranger's, and what must not be taken for one."""

from dataclasses import replace

import numpy as np
import pytest

from submissions.engine.ear.baseband import transform
from submissions.engine.ear.clicks import search as click_search
from submissions.engine.ear.clicks.combs import Comb, refine_comb
from submissions.engine.ear.clicks.exact import ClickArrival
from submissions.engine.ear.clicks.ours import ClickSum, prepare, search_click
from submissions.engine.ear.clicks.search import find_ours
from submissions.engine.ear.struck.onsets import detect
from submissions.engine.ear.votes.ballot import Hypothesis
from submissions.engine.music.click import CLICK_PEAK, click_layout, click_wave
from submissions.engine.rehearsal.spec import BEGINNER, Leak, Room

from .heard import LEAKED, QUIET_ROOM, hear, heard, off_ms, part_of, take_of

CLOSE_MS = 0.5  # the bar for nine takes in ten at -20 dB


class TestOurClick:
    @pytest.mark.parametrize("path", ["headphones", "speaker", "direct"])
    @pytest.mark.parametrize("level_db", [-6.0, -20.0])
    def test_gives_zero_and_clock(self, path, level_db):
        take = take_of(replace(QUIET_ROOM, leak=Leak(level_db, "ours", path)))
        zero = heard(take).zero
        assert zero.source == "click"
        assert zero.sure and zero.clock_known
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS
        assert abs(zero.clock_ratio - take.truth.clock_ratio) < 10e-6  # 16 s of click

    @pytest.mark.parametrize("seed", [11, 12, 13, 14])
    def test_is_found_36_db_under_the_drums(self, seed):
        take = take_of(replace(QUIET_ROOM, leak=Leak(-36.0, "ours", "direct")), bars=16, seed=seed)
        zero = heard(take).zero
        assert zero.source == "click"
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS

    def test_is_known_beat_by_beat(self):
        take = take_of(replace(QUIET_ROOM, leak=Leak(-20.0, "ours", "direct")))
        click = heard(take).click
        assert click.ours
        off = np.array(click.times_s)[:, None] - np.array(take.truth.click_times_s)[None, :]
        assert np.abs(off).min(axis=0).max() < 1e-3

    @pytest.mark.parametrize(
        ("instrument", "drum"), [("snare", "all"), ("bass", "1"), ("bass", "5"), ("cymbals", "all")]
    )
    def test_is_told_with_its_level_under_the_parts_own_strokes(self, instrument, drum):
        take = take_of(replace(QUIET_ROOM, leak=Leak(-20.0, "ours", "direct")), instrument, drum=drum)
        peaks = [
            np.abs(take.sound.mono[k : k + 1440]).max() for k in (round(at * 48_000) for at in take.truth.strikes_s)
        ]
        click = take.truth.stroke_peak * 10 ** (-20.0 / 20)
        assert heard(take).click.under_drums_db == pytest.approx(20 * np.log10(np.median(peaks) / click), abs=2.0)

    def test_lets_the_strokes_be_late_by_bars(self):
        late = replace(QUIET_ROOM.faults, late_bars=2)
        zero = heard(take_of(replace(QUIET_ROOM, leak=LEAKED, faults=late))).zero
        assert zero.source == "click"
        assert zero.late_bars == 2

    def test_is_found_where_it_sounds_in_the_count_off_alone(self):
        take = take_of(replace(QUIET_ROOM, leak=Leak(-12.0, "ours", "direct", count_off_only=True)))
        zero = heard(take).zero
        assert zero.source == "click"
        assert not zero.clock_known
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS

    def test_is_not_sure_where_a_stretch_of_the_recording_is_missing_early_on(self):
        """Most beats then stand on a grid that bar 1 is not on."""
        take = take_of(replace(QUIET_ROOM, leak=Leak(-12.0, "ours", "direct")))
        rate = take.sound.rate
        cut = round((take.truth.zero_s + 0.2 * take.part.end_s) * rate)
        mono = np.concatenate([take.sound.mono[:cut], take.sound.mono[cut + round(0.7 * rate) :]])
        assert not hear(mono, rate, take.part).zero.sure

    def test_is_found_where_the_strokes_propose_no_place(self):
        take = take_of(replace(QUIET_ROOM, leak=Leak(-20.0, "ours", "direct")))
        spectrum = transform(take.sound.mono, take.sound.rate)
        found = find_ours(spectrum, click_layout(take.part, 2), take.part, [], np.zeros(0))
        assert abs(off_ms(take, found.zero_s)) < CLOSE_MS

    @pytest.mark.parametrize(("more", "believed"), [(0.8, False), (1.2, True)])
    def test_must_show_more_where_nothing_but_beats_alike_proposes_a_place(self, monkeypatch, more, believed):
        """A drum that sounds the same every time makes beats alike by chance, somewhere in half a minute."""
        height = click_search.FAR_HEIGHT + more * click_search.ANYWHERE
        alike = ClickSum(0.0, 1.0, height, 32, height)
        monkeypatch.setattr(click_search, "search_click", lambda band, layout, near_s, *more: replace(alike, zero_s=near_s))
        take = take_of(QUIET_ROOM)
        layout = click_layout(take.part)
        band = prepare(transform(take.sound.mono, take.sound.rate), layout)
        assert (click_search._search(band, layout, take.part, [], np.zeros(0)) is not None) == believed

    def test_is_timed_by_its_first_arrival_in_a_long_room(self):
        """Where strokes cover the first arrival, the room's late sound may add up better, a fifth of a second behind."""
        take = take_of(replace(QUIET_ROOM, room=Room(0.9), leak=Leak(-20.0, "ours", "speaker")))
        layout, spectrum = click_layout(take.part, 2), transform(take.sound.mono, take.sound.rate)
        late = ClickSum(take.truth.zero_s + 0.17, take.truth.clock_ratio, 50.0, 32, 50.0)
        told = click_search.time_ours(spectrum, prepare(spectrum, layout), layout, late)
        assert abs(off_ms(take, told.zero_s)) < CLOSE_MS

    @pytest.mark.parametrize(("height", "believed"), [(8.4, False), (30.0, True)])
    def test_what_stands_before_it_is_its_first_arrival_only_where_much_of_it_does(self, monkeypatch, height, believed):
        """Direct sound that is half as strong as late sound shows a good part of its height; chance reaches eight."""
        take = take_of(replace(QUIET_ROOM, leak=LEAKED))
        layout, spectrum = click_layout(take.part, 2), transform(take.sound.mono, take.sound.rate)
        asked = []

        def arrival(spectrum, layout, found, look_back_s=0.1):
            asked.append(look_back_s)
            early_s = 0.030 if look_back_s > 0.02 and len(asked) == 1 else 0.0
            return ClickArrival(found.zero_s - early_s, 1.0, 1e-4, 0.01)

        monkeypatch.setattr(click_search, "refine_click", arrival)
        monkeypatch.setattr(click_search, "search_click", lambda *a, **k: ClickSum(4.97, 1.0, height, 64, 7.0))
        told = click_search.time_ours(spectrum, prepare(spectrum, layout), layout, ClickSum(5.0, 1.0, 126.0, 64, 52.0))
        assert told.zero_s == pytest.approx(4.97 if believed else 5.0)

    @pytest.mark.parametrize(("height", "alike", "believed"), [(59.0, 0.7, False), (59.0, 8.0, True), (14.5, 22.5, False)])
    def test_is_neither_one_loud_beat_nor_a_ring(self, monkeypatch, height, alike, believed):
        """Where a phone suppresses noise, one stroke with its top at the right place makes any height; a crash that rings
        on for beats agrees with itself, but stands out of nothing."""
        take = take_of(QUIET_ROOM)
        layout, true_s = click_layout(take.part, 2), take.truth.zero_s

        def search(band, layout, near_s, reach_s=0.09, clock=0.0, asked=8):
            return ClickSum(near_s, 1.0, height, 40, alike) if abs(near_s - true_s) < 0.02 else None

        monkeypatch.setattr(click_search, "search_click", search)
        monkeypatch.setattr(click_search, "_on_its_beat", lambda band, layout, found, part: found)
        ballot = [Hypothesis(true_s, 1.0, 170.0, 70, 0.96, 0.95, 0, 0, 0.02, 0.002)]
        band = prepare(transform(take.sound.mono, take.sound.rate), layout)
        assert (click_search._search(band, layout, take.part, ballot, np.zeros(0)) is not None) == believed

    def test_is_timed_by_what_sounds_where_its_beginning_is_muted(self):
        """A beat in digital silence is cleaner than any, and tells nothing."""
        take = take_of(replace(QUIET_ROOM, leak=LEAKED))
        rate, mono = take.sound.rate, take.sound.mono.copy()
        mono[: round((take.truth.zero_s - 0.6) * rate)] = 0.0
        zero = hear(mono, rate, take.part).zero
        assert zero.source == "click"
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS

    def test_may_be_upside_down(self):
        take = take_of(replace(QUIET_ROOM, leak=LEAKED))
        turned = hear(-take.sound.mono, take.sound.rate, take.part).zero
        assert turned.zero_s == pytest.approx(heard(take).zero.zero_s, abs=1e-6)


class TestFewCleanBeats:
    """Noise hides every beat from zero on; the recording may begin inside the count-off."""

    RATE = 48_000

    def band(self, layout, zero_s, signed=True):
        rng = np.random.default_rng(5)
        mono = 1e-3 * rng.standard_normal(round((zero_s + layout.end_s + 1.0) * self.RATE))
        hidden = round((zero_s - 0.1) * self.RATE)
        mono[hidden:] += 0.5 * rng.standard_normal(len(mono) - hidden)
        for beat in layout.beats:
            at = round((zero_s + beat.at_s) * self.RATE)
            wave = 0.05 * CLICK_PEAK[beat.kind] * (beat.sign if signed else 1) * click_wave(beat.kind, self.RATE)
            mono[max(at, 0) : at + len(wave)] += wave if at >= 0 else 0.0
        return prepare(transform(mono, self.RATE), layout)

    @pytest.mark.parametrize("zero_s", [2.7, 4.5])  # five counted beats, all eight
    def test_show_a_click_by_standing_out_of_their_own_quiet(self, zero_s):
        layout = click_layout(part_of())
        found = search_click(self.band(layout, zero_s), layout, zero_s + 0.02)
        assert abs(found.zero_s - zero_s) < 1e-3
        assert found.height > click_search.FAR_HEIGHT > found.alike

    @pytest.mark.parametrize("beats", [-8, -4, -3, 0, 4])
    def test_are_put_where_their_signs_belong(self, beats):
        layout = click_layout(part_of())
        band = self.band(layout, 4.5)
        there = search_click(band, layout, 4.5 + 0.5 * beats, 0.012)
        moved = click_search._on_its_beat(band, layout, there, part_of())
        assert abs(moved.zero_s - 4.5) < 1e-3

    def test_are_not_believed_where_their_signs_belong_to_two_bars(self):
        layout = click_layout(part_of())
        band = self.band(layout, 2.7)
        there = search_click(band, layout, 2.7)
        assert search_click(band, layout, 2.7 - 4.0, 0.012).height > click_search.OTHER_SHARE * there.height
        assert click_search._on_its_beat(band, layout, there, part_of()) is None

    @pytest.mark.parametrize(("support", "believed"), [(0.9, True), (0.4, False)])
    def test_are_believed_only_where_strokes_know_zero(self, support, believed):
        """Another part lies somewhere on this one, beats away from zero, and signs agree there by chance."""
        layout = click_layout(part_of())
        strokes = Hypothesis(4.51, 1.0, 50.0, 40, support, 0.9, 0, 0, 0.01, 0.002)
        found = click_search._search(self.band(layout, 4.5), layout, part_of(), [strokes], np.zeros(0))
        assert (found is not None) == believed

    def test_are_not_ours_without_signs(self):
        layout = click_layout(part_of())
        band = self.band(layout, 4.5, signed=False)
        there = search_click(band, layout, 4.5, 0.012)
        assert click_search._on_its_beat(band, layout, there, part_of()) is None


class TestAStrangersClick:
    @pytest.mark.parametrize("sound", ["beep", "woodblock"])
    @pytest.mark.parametrize("level_db", [-12.0, -24.0])
    def test_gives_zero_without_being_known(self, sound, level_db):
        take = take_of(replace(QUIET_ROOM, leak=Leak(level_db, sound, "speaker")))
        found = heard(take)
        assert found.zero.source == "click"
        assert not found.click.ours
        assert abs(off_ms(take, found.zero.zero_s)) < 1.0


class TestWhatIsNoClick:
    @pytest.mark.parametrize("instrument", ["snare", "tenors", "bass", "cymbals"])
    @pytest.mark.parametrize("count_off", ["none", "sticks", "voice"])
    def test_playing_and_counting_off(self, instrument, count_off):
        found = heard(take_of(replace(QUIET_ROOM, count_off=count_off), instrument))
        assert found.click is None
        assert found.zero.source in ("written", "count-off")

    def test_the_strokes_on_a_single_bass_drum(self):
        found = heard(take_of(replace(QUIET_ROOM, skill=BEGINNER), "bass", 8, 21, "3"))
        assert found.click is None

    def test_silence(self):
        take = take_of(QUIET_ROOM)
        silent = np.zeros_like(take.sound.mono)
        assert len(detect(silent, take.sound.rate)) == 0
        zero = hear(silent, take.sound.rate, take.part).zero
        assert zero.zero_s is None
        assert zero.source == "none"
        assert not zero.sure


def test_a_strangers_click_begins_near_its_place_though_strokes_sound_before_it():
    """Strokes of a player who comes early on every beat are heard in the mean, and begin outside it."""
    rng, rate, beat_s = np.random.default_rng(4), 48_000, 0.5
    layout = click_layout(part_of(bars=4))
    beats = tuple(replace(beat, at_s=n * beat_s) for n, beat in enumerate(layout.beats))
    mono = rng.normal(0, 1e-4, round((len(beats) + 2) * beat_s * rate))
    before, beep = rng.normal(0, 0.02, 2_400), 0.03 * np.sin(2 * np.pi * 1_500 * np.arange(1_200) / rate)
    for beat in beats:
        at = round((1 + beat.at_s) * rate)
        mono[at - 3_000 : at - 600] += before  # from 62 to 12 ms before the click
        mono[at : at + 1_200] += beep
    found = refine_comb(mono, rate, beats, Comb(1.006, 1.0, 40.0, 40.0))
    assert abs(found.zero_s - 1.0) < 2 * found.sd_s

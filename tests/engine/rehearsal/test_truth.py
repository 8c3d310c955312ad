"""Truth is exact: what the maker says lies where the samples say it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import correlate, find_peaks

from submissions.engine.music.click import click_layout, mark_group
from submissions.engine.music.sounds import KITS, Kit, Voice, hit
from submissions.engine.rehearsal.devices import LAPTOP, OLD_PHONE, PHONE, TABLET
from submissions.engine.rehearsal.phone import record
from submissions.engine.rehearsal.spec import PROFESSIONAL, Faults, Leak, Marks, Noise, Phone, Room, TakeSpec
from submissions.engine.rehearsal.take import make_take, through_codec

from .plain import NO_NOISE, small_part

DELTA = Kit("delta", (), Voice(100.0, 0.03, 1.0, (50.0, 20_000.0), 0.00005, 0.0))


def first_sound(samples) -> int:
    return int(np.flatnonzero(np.abs(samples) > 1e-9)[0])


class TestAHit:
    @pytest.mark.parametrize("kit", KITS, ids=lambda kit: kit.name)
    @pytest.mark.parametrize("drum", ["snare", "rim", "tenor-2", "bass-1", "bass-5", "bass", "cymbal"])
    def test_begins_at_its_first_sample(self, kit, drum):
        wave = hit(drum, 0.8, kit, 48_000, np.random.default_rng(3))
        assert abs(wave[0]) > 0
        early = np.abs(wave[: round(0.003 * 48_000)]).max()
        assert early > 0.1 * np.abs(wave).max(), "within 3 ms it reaches -20 dB of its peak"

    def test_is_as_loud_as_asked(self):
        rng = np.random.default_rng(4)
        loud, soft = (np.abs(hit("snare", level, KITS[0], 48_000, rng)).max() for level in (0.9, 0.45))
        assert loud / soft == pytest.approx(4.0)

    def test_differs_from_stroke_to_stroke(self):
        rng = np.random.default_rng(5)
        assert not np.allclose(hit("snare", 0.7, KITS[0], 48_000, rng), hit("snare", 0.7, KITS[0], 48_000, rng))


class TestTheTruthOfStrikes:
    def test_holds_to_the_sample(self):
        take = make_take(small_part(share=0.3), replace(NO_NOISE, kit=DELTA, skill=PROFESSIONAL), 7)
        sound = np.abs(take.sound.mono)
        for at in take.truth.strikes_s:
            place = round(at * take.sound.rate)
            assert at * take.sound.rate == pytest.approx(place, abs=1e-6)
            assert sound[place] > 0 or sound[place - 3 : place].any()
        assert first_sound(sound) == round(take.truth.strikes_s[0] * take.sound.rate)

    @pytest.mark.parametrize("phone", [PHONE, OLD_PHONE, TABLET, LAPTOP], ids=["phone", "old", "tablet", "laptop"])
    def test_is_not_moved_by_room_or_phone(self, phone):
        spec = TakeSpec(room=Room(0.6, 2.0), noise=Noise(None), phone=phone)
        take = make_take(small_part(), spec, 8)
        assert first_sound(take.sound.samples[:, 0]) == round(take.truth.strikes_s[0] * phone.rate)

    @pytest.mark.parametrize("phone", [PHONE, OLD_PHONE, TABLET, LAPTOP], ids=["phone", "old", "tablet", "laptop"])
    def test_keeps_a_band_like_the_marks_within_a_tenth_of_a_millisecond(self, phone):
        """The filters' own delay in the band of the marks, told in phone.py: 0.03 to 0.1 ms."""
        wave = np.zeros(phone.rate // 2)
        group = mark_group(phone.rate)[: phone.rate // 8]
        wave[1000 : 1000 + len(group)] = group
        stored = record(wave, 1.0, replace(phone, agc_db=0.0), np.random.default_rng(1))[:, 0]
        lag = np.argmax(correlate(stored, wave)) - (len(wave) - 1)
        assert abs(lag) <= 0.0001 * phone.rate + 1

    @pytest.mark.parametrize("codec", ["aac-64", "aac-128", "opus-64"])
    def test_is_not_moved_by_a_codec(self, codec):
        sound = make_take(small_part(), NO_NOISE, 9).sound
        coded = through_codec(sound, codec)
        assert coded.rate == sound.rate
        n = min(len(sound.samples), len(coded.samples))
        lag = np.argmax(correlate(coded.mono[:n], sound.mono[:n], method="fft")) - (n - 1)
        assert abs(lag) <= 0.0001 * sound.rate

    def test_survives_opus_at_a_rate_that_opus_does_not_take(self):
        spec = replace(NO_NOISE, phone=Phone(rate=44_100))
        plain, coded = make_take(small_part(), spec, 9), make_take(small_part(), replace(spec, codec="opus-64"), 9)
        assert coded.sound.rate == 48_000 and coded.truth == plain.truth
        assert coded.sound.duration_s == pytest.approx(plain.sound.duration_s, abs=0.03)
        foot = round(coded.truth.strikes_s[0] * 48_000)
        loud = np.abs(coded.sound.mono)
        assert loud[foot : foot + 96].max() > 5 * loud[: foot - 480].max()

    def test_follows_the_clock_of_the_file(self):
        part = small_part(bars=8)
        slow, even = (
            make_take(part, replace(NO_NOISE, before_s=2.0, phone=Phone(clock_ppm=ppm)), 10).truth
            for ppm in (200.0, 0.0)
        )
        apart = np.array(slow.strikes_s) - np.array(even.strikes_s)
        since_zero = np.array(even.strikes_s) - even.zero_s
        assert np.allclose(apart, 200e-6 * since_zero, atol=2.1 / 48_000)
        assert slow.clock_ratio == pytest.approx(1.0002)

    def test_forgets_what_was_cut_out_and_moves_the_rest(self):
        part = small_part(bars=8)
        whole = make_take(part, NO_NOISE, 11)
        start = whole.truth.zero_s + 3.0
        cut = make_take(part, replace(NO_NOISE, faults=Faults(dropped_s=((start, start + 1.0),))), 11)
        assert len(whole.sound.samples) - len(cut.sound.samples) == pytest.approx(48_000, abs=1)
        kept = [at for at in whole.truth.strikes_s if not start <= at < start + 1.0]
        expected = [at if at < start else at - 1.0 for at in kept]
        assert cut.truth.strikes_s == pytest.approx(expected, abs=1.1 / 48_000)
        assert set(cut.truth.missed) > set(whole.truth.missed)

    def test_knows_the_strokes_of_a_pasted_bar(self):
        part = small_part(bars=4, seed=3, ornaments=0.0)
        take = make_take(part, replace(NO_NOISE, faults=Faults(looped_bar=1), skill=PROFESSIONAL), 12)
        rate = take.sound.rate
        bars = part.bars_from_zero()
        starts = [round((take.truth.zero_s + bar.at_s) * rate) for bar in bars]
        second = take.sound.mono[starts[1] : starts[1] + 20_000]
        third = take.sound.mono[starts[2] : starts[2] + 20_000]
        assert np.array_equal(second, third)
        for n, at in take.truth.played:
            assert abs(at - take.truth.zero_s - part.strokes[n].at_s) < 0.08


class TestTheTruthOfZero:
    def marked(self, **changes):
        spec = TakeSpec(noise=Noise(None), marks=Marks(level_db=0.0), skill=PROFESSIONAL, **changes)
        return small_part(bars=4), spec

    def test_is_where_the_marks_put_it(self):
        part, spec = self.marked()
        take = make_take(part, spec, 13)
        layout = click_layout(part, 2)
        template = mark_group(48_000)
        head = take.sound.mono[: round((take.truth.zero_s - 0.3) * 48_000)].astype(float)
        match = correlate(head, template, mode="valid", method="fft")
        peak = int(np.argmax(match))
        bent = np.polyfit([-1, 0, 1], match[peak - 1 : peak + 2], 2)
        found_s = (peak - bent[1] / (2 * bent[0])) / 48_000
        assert found_s - layout.marks_start_s == pytest.approx(take.truth.zero_s, abs=2e-6)

    def test_is_where_leaked_marks_put_it(self):
        part = small_part(bars=4)
        spec = TakeSpec(noise=Noise(None), leak=Leak(-20.0, path="direct", marks=True))
        take = make_take(part, spec, 13)
        assert take.truth.zero_by == ("marks", "click", "written")
        layout = click_layout(part, 2)
        head = take.sound.mono[: round((take.truth.zero_s + layout.beats[0].at_s - 0.1) * 48_000)].astype(float)
        start = int(np.argmax(correlate(head, mark_group(48_000), mode="valid", method="fft")))
        assert start / 48_000 - layout.marks_start_s == pytest.approx(take.truth.zero_s, abs=2e-5)

    def test_is_where_a_leaked_click_puts_it(self):
        part = small_part(bars=4)
        spec = TakeSpec(noise=Noise(None), leak=Leak(0.0, path="direct"), faults=Faults(stop_share=-1.0))
        take = make_take(part, spec, 14)
        clicks = np.array(take.truth.click_times_s)
        assert take.truth.strikes_s == ()
        due = take.truth.zero_s + np.array([beat.at_s for beat in click_layout(part, 2).beats])
        assert np.allclose(clicks, due, atol=1e-9)
        tops, _ = find_peaks(np.abs(take.sound.mono), height=0.3 * np.abs(take.sound.mono).max(), distance=9_000)
        assert np.allclose(np.sort(tops) / 48_000, clicks, atol=0.003)

    def test_never_lies_on_a_whole_sample_by_habit(self):
        zeros = [make_take(small_part(bars=2), NO_NOISE, seed).truth.zero_s * 48_000 for seed in range(5)]
        assert max(abs(zero - round(zero)) for zero in zeros) > 0.05

    def test_says_what_in_the_sound_tells_it(self):
        part, spec = self.marked(leak=Leak(), count_off="sticks")
        assert make_take(part, spec, 15).truth.zero_by == ("marks", "click", "count-off", "written")
        assert make_take(part, NO_NOISE, 15).truth.zero_by == ("written",)

    def test_may_lie_before_the_recording(self):
        take = make_take(small_part(bars=4), replace(NO_NOISE, before_s=-3.0), 16)
        assert take.truth.zero_s < -2.9
        assert take.truth.missed and min(take.truth.strikes_s) >= 0


class TestMaking:
    def test_is_the_same_for_the_same_seed(self):
        part, spec = small_part(), TakeSpec(room=Room(0.4), leak=Leak(), marks=Marks(), talk=1, thumps=1)
        one, two, other = (make_take(part, spec, seed) for seed in (17, 17, 18))
        assert np.array_equal(one.sound.samples, two.sound.samples)
        assert one.truth == two.truth
        assert one.truth != other.truth

    def test_puts_noise_where_it_was_asked_for(self):
        part = small_part(bars=4)
        take = make_take(
            part, TakeSpec(noise=Noise(-40.0), faults=Faults(stop_share=-1.0), phone=Phone(gain_db=0.0)), 19
        )
        loud = 20 * np.log10(take.sound.mono.std() / take.truth.stroke_peak)
        assert loud == pytest.approx(-40.0, abs=0.5)

    def test_blows_below_150_hertz_and_in_gusts(self):
        part = small_part(bars=8)
        windy = TakeSpec(noise=Noise(None, wind_db=0.0), faults=Faults(stop_share=-1.0), phone=Phone(gain_db=-20.0))
        sound = make_take(part, windy, 22).sound.mono.astype(float)
        power = np.abs(np.fft.rfft(sound)) ** 2
        below = np.fft.rfftfreq(len(sound), 1 / 48_000) < 300
        assert power[below].sum() > 0.9 * power.sum()
        seconds = sound[: len(sound) // 48_000 * 48_000].reshape(-1, 48_000).std(axis=1)
        assert seconds.max() > 3 * seconds.min()

    def test_leaves_a_dead_channel_empty(self):
        take = make_take(small_part(), TakeSpec(phone=replace(PHONE, dead_channel=True)), 20)
        assert np.abs(take.sound.samples[:, 0]).max() > 0.1
        assert not take.sound.samples[:, 1].any()

    def test_clips_at_the_ceiling(self):
        take = make_take(small_part(), TakeSpec(phone=Phone(gain_db=12.0)), 21)
        assert np.mean(np.abs(take.sound.samples) >= 1.0) > 1e-4

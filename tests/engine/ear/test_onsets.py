"""Onsets: real hits at known samples, and a general reference library on simple cases."""

import librosa
import mir_eval
import numpy as np
import pytest
import soxr
from scipy import signal

from submissions.engine.ear.struck import onsets
from submissions.engine.facts import Sound
from submissions.engine.rehearsal.take import through_codec

from .played import struck

# Böck, Krebs & Schedl 2012: 25 ms, and 10 ms for what is cut to a hundredth of a second.
WINDOWS_S = (0.025, 0.010)
STEADY = 0.5 + 0.25 * np.arange(40) + np.random.default_rng(5).normal(0, 0.01, 40)


class TestDetectOnRealHits:
    @pytest.mark.parametrize("name", ["snare-hard", "snare-soft", "tenor-hard", "tenor-soft", "tenor-4-hard"])
    def test_finds_every_hit_and_nothing_else(self, name):
        mono, rate, true = struck(name, STEADY)
        found = onsets.detect(mono, rate).times_s
        for window in WINDOWS_S:
            assert mir_eval.onset.f_measure(true, found, window=window)[0] > 0.97

    @pytest.mark.parametrize(
        "name", ["snare-hard", "snare-soft", "tenor-hard", "tenor-4-hard", "bass-hard", "bass-soft"]
    )
    def test_puts_every_hit_within_half_a_millisecond_of_its_foot(self, name):
        mono, rate, true = struck(name, STEADY)
        found = onsets.detect(mono, rate).times_s
        off = 1e3 * np.array([found[np.abs(found - at).argmin()] - at for at in true])
        assert np.abs(off).max() < 3.0
        assert np.median(np.abs(off)) < 0.5

    @pytest.mark.parametrize("codec", ["aac-64", "aac-128", "opus-64"])
    @pytest.mark.parametrize("name", ["snare-hard", "tenor-hard"])
    def test_takes_no_coders_smear_for_the_foot(self, name, codec):
        """FFmpeg's own coders, in whose blocks of 2.5 to 21 ms noise lies before the attack as well as after."""
        mono, rate, true = struck(name, STEADY, noise=1e-4)
        heard = through_codec(Sound(mono[:, None].astype(np.float32), rate), codec)
        found = onsets.detect(heard.mono, heard.rate).times_s
        off = 1e3 * np.array([found[np.abs(found - at).argmin()] - at for at in true])
        assert np.mean(off < -1.0) < 0.08

    def test_hears_a_slow_crash_at_its_foot(self):
        mono, rate, true = struck("cymbal-soft", 1.0 + 1.9 * np.arange(6), noise=3e-4)
        found = onsets.detect(mono, rate).times_s
        assert all(np.abs(found - at).min() < 0.003 for at in true)

    def test_tells_a_tap_from_the_ring_of_the_stroke_before(self):
        times = np.sort(np.concatenate([STEADY, STEADY + 0.075]))
        loud = np.where(np.arange(len(times)) % 2, 0.35, 0.9)
        mono, rate, true = struck("snare-soft", times, loud)
        found = onsets.detect(mono, rate).times_s
        assert mir_eval.onset.f_measure(true, found, window=0.010)[0] > 0.8


class TestDetectBesideAReference:
    def test_is_no_worse_than_librosa_and_ten_times_as_near(self):
        mono, rate, true = struck("snare-soft", STEADY)
        ours = onsets.detect(mono, rate).times_s
        theirs = librosa.onset.onset_detect(y=mono, sr=rate, hop_length=64, units="time")
        f = [mir_eval.onset.f_measure(true, found, window=0.05)[0] for found in (ours, theirs)]
        assert f[0] >= f[1]
        off = [np.median([np.abs(found - at).min() for at in true]) for found in (ours, theirs)]
        assert off[0] < 0.1 * off[1]


class TestDetect:
    def test_is_silent_about_silence_and_about_next_to_nothing(self):
        assert len(onsets.detect(np.zeros(48_000, np.float32), 48_000)) == 0
        assert len(onsets.detect(np.zeros(100, np.float32), 48_000)) == 0
        assert len(onsets.detect(np.zeros(0, np.float32), 48_000)) == 0

    def test_hears_a_few_short_strokes_in_a_long_noise(self):
        """Damped crashes: all of them together sound in less than one frame of a hundred."""
        rng = np.random.default_rng(6)
        mono = rng.normal(0, 0.01, 30 * 48_000)
        true = 1.0 + 2.7 * np.arange(10)
        for at in true:
            mono[round(at * 48_000) :][:720] += 0.4 * rng.normal(size=720) * np.exp(-np.arange(720) / 200)
        found = onsets.detect(mono, 48_000).times_s
        assert mir_eval.onset.f_measure(true, found, window=0.005)[0] > 0.9

    def test_hears_low_thumps_though_a_coder_leaves_out_the_rest_now_and_then(self):
        """A coder's budget switches whole bands of the noise on and off, by 70 dB: that is no stroke."""
        rng = np.random.default_rng(7)
        rate, true = 48_000, 0.7 + 0.41 * np.arange(60)
        noise = rng.normal(0, 1e-3, 27 * rate)
        steep = signal.butter(12, 1_500, "highpass", fs=rate, output="sos")
        high = signal.sosfilt(steep, noise)
        switched = np.repeat(rng.random(len(noise) // 1_024 + 1) < 0.5, 1_024)[: len(noise)]
        mono = noise - high + signal.sosfilt(steep, high * switched)
        for at in true:
            n = np.arange(round(0.1 * rate))
            mono[round(at * rate) :][: len(n)] += 0.2 * np.sin(2 * np.pi * 110 * n / rate) * np.exp(-n / (0.03 * rate))
        found = onsets.detect(mono, rate).times_s
        assert mir_eval.onset.f_measure(true, found, window=0.025)[0] > 0.9

    @pytest.mark.parametrize("factor", [0.02, 0.3, -1.0])
    def test_does_not_care_for_gain_or_polarity(self, factor):
        mono, rate, _ = struck("tenor-soft", STEADY[:12])
        plain, changed = onsets.detect(mono, rate), onsets.detect(factor * mono, rate)
        assert len(plain) == len(changed)
        assert np.abs(plain.times_s - changed.times_s).max() < 1e-4

    @pytest.mark.parametrize("rate", [48_000, 32_000])
    def test_does_not_care_for_the_rate(self, rate):
        mono, own, true = struck("snare-soft", STEADY[:12])
        found = onsets.detect(soxr.resample(mono, own, rate), rate).times_s
        assert mir_eval.onset.f_measure(true, found, window=0.002)[0] > 0.95

    @pytest.mark.parametrize("added_s", [0.37, 2.0])
    def test_moves_with_silence_put_in_front_and_ignores_silence_behind(self, added_s):
        mono, rate, _ = struck("snare-soft", STEADY[:12])
        n = round(added_s * rate)
        plain = onsets.detect(mono, rate).times_s
        moved = onsets.detect(np.concatenate([np.zeros(n, np.float32), mono, np.zeros(n, np.float32)]), rate).times_s
        f, _, _ = mir_eval.onset.f_measure(plain + n / rate, moved, window=0.001)
        assert f > 0.95


class TestFirstVoices:
    @staticmethod
    def two_voices(lags_s, share=1.0):
        """Thumps, each with a slap of a tenth of its power before it, in as many as `share`; true first feet."""
        rng = np.random.default_rng(8)
        mono = rng.normal(0, 0.003, 26 * 48_000)
        true = []
        for at, lag in zip(0.5 + 0.6 * np.arange(40), lags_s, strict=True):
            true.append(at - lag if rng.random() < share else at)
            for start_s, loud in ((true[-1], 0.08), (at, 0.8)):
                mono[round(start_s * 48_000) :][:960] += loud * rng.normal(size=960) * np.exp(-np.arange(960) / 400)
        return mono, np.array(true)

    def test_a_slap_that_always_precedes_its_thump_is_the_foot(self):
        mono, true = self.two_voices(np.full(40, 0.012))
        found = onsets.detect(mono, 48_000).times_s
        assert mir_eval.onset.f_measure(true, found, window=0.001)[0] > 0.9

    def test_strokes_without_one_stay(self):
        mono, true = self.two_voices(np.full(40, 0.012), share=0.5)
        found = onsets.detect(mono, 48_000).times_s
        assert mir_eval.onset.f_measure(true, found, window=0.001)[0] > 0.9

    def test_what_precedes_at_any_distance_moves_nothing(self):
        thumps = 0.5 + 0.6 * np.arange(40)
        lags = np.random.default_rng(9).permutation(np.linspace(0.004, 0.016, 40))
        mono, _ = self.two_voices(lags, share=0.3)
        moved = onsets.first_voices(mono, 48_000, thumps)
        assert np.array_equal(moved, thumps)


class TestScoring:
    def test_windows_are_those_of_mir_eval(self):
        """check on the yardstick itself: 8 onsets moved by 49 and by 50.1 ms, default window 50 ms."""
        grid = np.arange(1.0, 9.0)
        assert mir_eval.onset.f_measure(grid, grid + 0.049)[0] == 1.0
        assert mir_eval.onset.f_measure(grid, grid + 0.0501)[0] == 0.0

    def test_an_annotated_clip_scores_as_published(self):
        """15 hand onsets against 16 detections (numbers from madmom's test data, scored with mir_eval)."""
        true = [0.0943, 0.2844, 0.4528, 0.6160, 0.7630, 0.8025, 0.9847, 1.1233, 1.4820, 1.6276, 1.8032, 2.1486]
        true += [2.3351, 2.4918, 2.6710]
        found = [0.010, 0.085, 0.275, 0.445, 0.610, 0.795, 0.980, 1.115, 1.365, 1.475, 1.620, 1.795, 2.140, 2.330]
        found += [2.485, 2.665]
        for window in (0.05, *WINDOWS_S):
            f, p, r = mir_eval.onset.f_measure(np.array(true), np.array(found), window=window)
            assert (round(f, 5), round(p, 5), round(r, 5)) == (0.90323, 0.875, 0.93333)

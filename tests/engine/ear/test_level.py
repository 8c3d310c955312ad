"""What is said of level: silence, clipping at and under full scale, noise, hum, wind, talk, a dead channel."""

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import butter, sosfilt

from submissions.engine.checks.noisy import LIMIT_TALK_S
from submissions.engine.ear.level.measure import measure_level
from submissions.engine.ear.struck.novelty import measure_novelty
from submissions.engine.facts import Sound

RATE = 48_000
STROKES = tuple(0.5 + 0.25 * n for n in range(24))


def strokes(gain=0.5, noise=1e-4, seed=1):
    """Decaying noise bursts of varying loudness at STROKES, shape (n,)."""
    rng = np.random.default_rng(seed)
    out = rng.standard_normal(round(7 * RATE)) * noise
    for n, at in enumerate(STROKES):
        t = np.arange(round(0.2 * RATE)) / RATE
        wave = np.exp(-t / 0.02) * np.sin(2 * np.pi * 330 * t) * (0.5 + 0.5 * ((n * 7) % 10) / 10)
        start = round(at * RATE)
        out[start : start + len(wave)] += gain * wave
    return out


def level_of(*channels):
    return measure_level(Sound(np.stack(channels, axis=1).astype(np.float32), RATE), STROKES)


class TestLevel:
    def test_calls_nothing_silent_that_has_strokes(self):
        assert not level_of(strokes(0.01)).silent

    @pytest.mark.parametrize("amplitude", [0.0, 1e-5])
    def test_calls_a_dead_track_silent(self, amplitude):
        rng = np.random.default_rng(0)
        assert level_of(rng.standard_normal(RATE) * amplitude).silent

    def test_calls_a_sparse_part_from_far_away_quiet_and_not_silent(self):
        level = level_of(strokes(0.005, noise=1e-5))
        assert level.peak_db < -40
        assert not level.silent

    def test_finds_no_clipping_in_a_clean_take(self):
        assert level_of(strokes(0.9)).clipped_share == 0

    def test_counts_the_strokes_cut_off_at_full_scale(self):
        wave = strokes(1.6)
        cut = np.mean([np.abs(wave[round(at * RATE) : round((at + 0.03) * RATE)]).max() >= 1 for at in STROKES])
        assert level_of(np.clip(wave, -1, 1)).clipped_share == pytest.approx(cut, abs=0.05)

    def test_sees_tops_cut_off_under_full_scale(self):
        assert level_of(np.clip(strokes(1.6), -1, 1) * 0.5).clipped_share > 0.3

    @pytest.mark.parametrize("ceiling", [1.0, 0.98, 0.5])
    def test_takes_no_limiter_for_an_overload(self, ceiling):
        """Every swing is turned down as a whole, so that all strokes reach one height and none is cut off."""
        wave = strokes(4.0)
        about = maximum_filter1d(np.abs(wave), 2 * round(0.002 * RATE) + 1)
        gain = uniform_filter1d(np.minimum(1.0, ceiling / np.maximum(about, 1e-9)), round(0.002 * RATE))
        limited = np.clip(wave * gain, -ceiling, ceiling)
        tops = [np.abs(limited[round(at * RATE) : round((at + 0.03) * RATE)]).max() for at in STROKES]
        assert min(tops) > 0.95 * ceiling
        level = level_of(limited)
        assert level.clipped_share < 0.08 or not level.clipped_sure

    @pytest.mark.parametrize("ripple", [0.0, 0.04])
    def test_knows_an_overload_that_a_coder_has_ruffled(self, ripple):
        noise = sosfilt(butter(2, 9000, "highpass", fs=RATE, output="sos"), np.random.default_rng(2).standard_normal(7 * RATE))
        cut = np.clip(strokes(4.0), -1, 1)
        level = level_of(cut * (1 + ripple * noise / noise.std()))
        assert level.clipped_share > 0.8
        assert level.clipped_sure

    @pytest.mark.parametrize(("size", "told"), [(0.2, False), (0.36, True)])
    def test_doubts_crashes_that_a_coder_has_taken_far_over_full_scale(self, size, told):
        """Their shape tells of no overload, but only what was cut comes back from a coder a decibel and more over full scale."""
        rng, crash = np.random.default_rng(3), np.exp(-np.arange(round(0.4 * RATE)) / (0.3 * RATE))
        wave = 1e-4 * rng.standard_normal(7 * RATE)
        for at in STROKES:
            wave[round(at * RATE) : round(at * RATE) + len(crash)] += size * crash * rng.standard_normal(len(crash))
        level = level_of(wave)
        assert (level.clipped_share > 0.3) == told
        assert level.clipped_sure != told

    def test_sees_tops_that_a_limiter_has_bent(self):
        assert level_of(0.5 * np.tanh(8 * strokes(1.0))).clipped_share > 0.3
        assert level_of(0.5 * np.tanh(strokes(1.0))).clipped_share == 0

    def test_measures_noise_between_the_strokes(self):
        assert level_of(strokes(0.5, noise=0.01)).noise_db == pytest.approx(-40, abs=3)

    def test_hears_hum_of_fifty_and_of_sixty(self):
        t = np.arange(7 * RATE) / RATE
        for mains in (50, 60):
            hum = sum(10 ** (-45 / 20) / k * np.sin(2 * np.pi * mains * k * t) for k in (1, 2, 3))
            assert level_of(strokes() + hum).hum_db == pytest.approx(-46.5, abs=4)
        assert level_of(strokes()).hum_db == -120

    def test_takes_no_single_ringing_tone_for_hum(self):
        t = np.arange(7 * RATE) / RATE
        assert level_of(strokes() + 0.01 * np.sin(2 * np.pi * 150 * t)).hum_db == -120

    def test_hears_wind(self):
        rng = np.random.default_rng(3)
        rumble = np.cumsum(rng.standard_normal(7 * RATE))
        rumble -= np.convolve(rumble, np.ones(RATE) / RATE, mode="same")
        assert level_of(strokes() + 0.1 * rumble / rumble.std()).wind
        assert not level_of(strokes()).wind

    def test_sees_a_dead_channel(self):
        assert level_of(strokes(), np.zeros(7 * RATE)).dead_channel
        assert not level_of(strokes(), 0.5 * strokes()).dead_channel


class TestAutomaticGain:
    """Noise that comes up in the pauses by as much as the phone turned it down in the playing; drums stop at 3 s."""

    strokes_s = tuple(0.2 + 0.18 * n for n in range(16))

    def pumping_of(self, turned_db, tail_s=0.02):
        rng = np.random.default_rng(5)
        out = rng.standard_normal(8 * RATE) * 0.003
        t = np.arange(round(0.2 * RATE)) / RATE
        for at in self.strokes_s:
            out[round(at * RATE) :][: len(t)] += 0.5 * np.exp(-t / tail_s) * rng.standard_normal(len(t))
        gain_db = np.interp(np.arange(8 * RATE) / RATE, [0, 3, 4, 8], [-turned_db, -turned_db, 0, 0])
        sound = Sound((out * 10 ** (gain_db / 20)).astype(np.float32)[:, None], RATE)
        return measure_level(sound, self.strokes_s, None, measure_novelty(sound.mono, RATE)).pumping_db

    @pytest.mark.parametrize("turned_db", [6.0, 10.0])
    def test_is_measured_by_the_noise(self, turned_db):
        assert self.pumping_of(turned_db, 0.008) == pytest.approx(turned_db, abs=1.5)

    def test_is_never_made_of_a_steady_gain(self):
        assert self.pumping_of(0.0) < 0.5

    def test_is_never_overstated_where_the_ring_hides_the_noise(self):
        assert self.pumping_of(6.0, 0.06) < 6.0


class TestTalk:
    """Over the playing. Voices: pulses at a gliding pitch through the formants of vowels, as Peterson and Barney (1952)
    give them for men (from memory), raised by a sixth for a child."""

    LONG_S, AT_S = 30, 14.0
    VOWELS_HZ = ((730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480))

    def voice(self, pitch_hz, seed):
        """Eight syllables in 1.6 s, shape (n,), peak 1."""
        rng, t = np.random.default_rng(seed), np.arange(round(0.2 * RATE)) / RATE
        parts = []
        for n in range(8):
            glide = pitch_hz * 2 ** rng.uniform(-0.2, 0.2) * 2 ** (rng.uniform(-0.25, 0.25) * t / 0.2)
            pulses = np.diff(np.floor(np.cumsum(glide) / RATE), prepend=0.0)
            formants = np.array(self.VOWELS_HZ[n % 4]) * (1.17 if pitch_hz > 200 else 1.0)
            vowel = sum(sosfilt(butter(1, (f - 50, f + 50), "bandpass", fs=RATE, output="sos"), pulses) for f in formants)
            parts.append(vowel * np.sin(np.pi * t / 0.2))
        out = np.concatenate(parts)
        return out / np.abs(out).max()

    def drums(self, hz=(330.0, 240.0, 180.0, 150.0)):
        """Ringing drums in turn, half a minute of sixteenths with accents, shape (n,)."""
        rng = np.random.default_rng(5)
        out = rng.standard_normal(self.LONG_S * RATE) * 1e-3
        t = np.arange(round(0.4 * RATE)) / RATE
        for n in range(round((self.LONG_S - 2) / 0.15)):
            pitch = hz[int(rng.integers(len(hz)))]
            ring = sum(np.sin(2 * np.pi * pitch * ratio * t) / ratio for ratio in (1.0, 1.59, 2.14, 2.65))
            start = round((1.0 + 0.15 * n) * RATE)
            out[start : start + len(t)] += (0.5 if n % 4 == 0 else 0.2) * 0.4 * np.exp(-t / 0.06) * ring
        return out

    def heard(self, mono, playing_s=(1.0, 28.8)):
        sound = Sound(mono[:, None].astype(np.float32), RATE)
        return measure_level(sound, (1.0,), playing_s=playing_s)

    def with_voice(self, pitch_hz=120.0, seed=1):
        mono, voice = self.drums(), self.voice(pitch_hz, seed)
        mono[round(self.AT_S * RATE) :][: len(voice)] += 0.3 * voice
        return mono

    @pytest.mark.parametrize("seed", range(3))
    @pytest.mark.parametrize("pitch_hz", [105.0, 210.0, 290.0])
    def test_is_heard_and_placed(self, pitch_hz, seed):
        level = self.heard(self.with_voice(pitch_hz, seed))
        assert level.talk_s > LIMIT_TALK_S
        assert level.talk_at_s == pytest.approx(self.AT_S + 0.8, abs=0.9)

    def test_is_not_heard_in_ringing_drums(self):
        assert self.heard(self.drums()).talk_s < LIMIT_TALK_S

    def test_before_the_playing_is_nobodys_business(self):
        assert self.heard(self.with_voice(), (17.0, 28.8)).talk_s < LIMIT_TALK_S

    def test_is_no_click(self):
        mono = self.drums()
        for n in range(40):
            beep = 0.3 * np.sin(2 * np.pi * (1500 if n % 4 else 2000) * np.arange(round(0.04 * RATE)) / RATE)
            mono[round((1 + 0.6 * n) * RATE) :][: len(beep)] += beep
        assert self.heard(mono).talk_s < LIMIT_TALK_S

    def test_is_asked_only_where_somebody_plays(self):
        assert self.heard(self.with_voice(), None).talk_at_s is None
        assert self.heard(self.with_voice(), (14.0, 14.01)).talk_s == 0.0

"""What is said of level: silence, clipping at and under full scale, noise, hum, wind, a dead channel."""

import numpy as np
import pytest

from submissions.engine.ear.level import measure_level
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

    def test_finds_no_clipping_in_a_clean_take(self):
        assert level_of(strokes(0.9)).clipped_share == 0

    def test_counts_the_strokes_cut_off_at_full_scale(self):
        wave = strokes(1.6)
        cut = np.mean([np.abs(wave[round(at * RATE) : round((at + 0.03) * RATE)]).max() >= 1 for at in STROKES])
        assert level_of(np.clip(wave, -1, 1)).clipped_share == pytest.approx(cut, abs=0.05)

    def test_sees_tops_cut_off_under_full_scale(self):
        assert level_of(np.clip(strokes(1.6), -1, 1) * 0.5).clipped_share > 0.3

    def test_measures_noise_between_the_strokes(self):
        assert level_of(strokes(0.5, noise=0.01)).noise_db == pytest.approx(-40, abs=3)

    def test_hears_hum_of_fifty_and_of_sixty(self):
        t = np.arange(7 * RATE) / RATE
        for mains in (50, 60):
            hum = sum(10 ** (-45 / 20) / k * np.sin(2 * np.pi * mains * k * t) for k in (1, 2, 3))
            assert level_of(strokes() + hum).hum_db == pytest.approx(-46.5, abs=4)
        assert level_of(strokes()).hum_db == -120

    def test_hears_wind(self):
        rng = np.random.default_rng(3)
        rumble = np.cumsum(rng.standard_normal(7 * RATE))
        rumble -= np.convolve(rumble, np.ones(RATE) / RATE, mode="same")
        assert level_of(strokes() + 0.1 * rumble / rumble.std()).wind
        assert not level_of(strokes()).wind

    def test_sees_a_dead_channel(self):
        assert level_of(strokes(), np.zeros(7 * RATE)).dead_channel
        assert not level_of(strokes(), 0.5 * strokes()).dead_channel

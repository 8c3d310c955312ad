"""Loudness and true peak against the published cases and an independent meter."""

import numpy as np
import pyloudnorm
import pytest

from submissions.engine.ear.level.loudness import integrated_lufs, k_filter, true_peak_db

RATE = 48_000


def tone(db, seconds, channels=2, rate=RATE):
    wave = 10 ** (db / 20) * np.sin(2 * np.pi * 1000 * np.arange(round(seconds * rate)) / rate)
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


class TestTheFilter:
    def test_has_the_coefficients_of_the_recommendation(self):
        # ITU-R BS.1770-4, tables 1 and 2 (48 kHz).
        shelf = [1.53512485958697, -2.69169618940638, 1.19839281085285, 1, -1.69065929318241, 0.73248077421585]
        high = [1, -2, 1, 1, -1.99004745483398, 0.99007225036621]
        assert k_filter(RATE) == pytest.approx(np.array([shelf, high]), abs=1e-9)


class TestLoudness:
    # EBU Tech 3341, cases 1 to 5: levels in dBFS and seconds, expected LUFS, tolerance 0.1 LU.
    @pytest.mark.parametrize(
        ("pieces", "lufs"),
        [
            ([(-23, 20)], -23.0),
            ([(-33, 20)], -33.0),
            ([(-36, 10), (-23, 60), (-36, 10)], -23.0),
            ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),
            ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),
        ],
    )
    @pytest.mark.parametrize("rate", [48_000, 44_100])
    def test_meets_tech_3341(self, pieces, lufs, rate):
        samples = np.concatenate([tone(db, seconds, rate=rate) for db, seconds in pieces])
        assert integrated_lufs(samples, rate) == pytest.approx(lufs, abs=0.1)

    def test_reads_a_mono_file_three_lower(self):
        # BS.1770: one channel of a -23 dBFS sine is half the power of two.
        assert integrated_lufs(tone(-23, 20, channels=1), RATE) == pytest.approx(-26.0, abs=0.1)

    def test_agrees_with_pyloudnorm_on_noise_bursts(self):
        rng = np.random.default_rng(4)
        samples = (rng.standard_normal((30 * RATE, 2)) * 0.05).astype(np.float32)
        samples[8 * RATE : 14 * RATE] *= 0.01
        assert integrated_lufs(samples, RATE) == pytest.approx(pyloudnorm.Meter(RATE).integrated_loudness(samples), abs=0.1)

    def test_is_none_for_silence(self):
        assert integrated_lufs(np.zeros((RATE, 1), np.float32), RATE) is None
        assert integrated_lufs(np.zeros((100, 1), np.float32), RATE) is None


class TestTruePeak:
    # EBU Tech 3341, cases 15 to 19: divisor of the rate, phase, amplitude, expected dBTP, tolerance +0.2 / -0.4 dB.
    @pytest.mark.parametrize(
        ("divisor", "degrees", "amplitude", "expected"),
        [(4, 0, 0.5, -6.0), (4, 45, 0.5, -6.0), (6, 60, 0.5, -6.0), (8, 67.5, 0.5, -6.0), (4, 45, 1.41, 3.0)],
    )
    def test_meets_tech_3341(self, divisor, degrees, amplitude, expected):
        wave = amplitude * np.sin(2 * np.pi * np.arange(RATE) / divisor + np.radians(degrees))
        fade = np.minimum(1, np.arange(RATE) / 480) * np.minimum(1, np.arange(RATE)[::-1] / 480)
        peak = true_peak_db((wave * fade)[:, None].astype(np.float32), RATE)
        assert expected - 0.4 <= peak <= expected + 0.2

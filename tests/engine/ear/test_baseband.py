"""The ear's one transform and its matched filters against the plain ways to the same numbers (numpy, scipy)."""

import numpy as np
import pytest
from scipy import signal

from submissions.engine.ear.baseband import Band, take_band, transform

BAND_HZ = (1_200.0, 3_400.0)


def tone(rate: int, hz: float, seconds: float = 1.0) -> np.ndarray:
    return np.sin(2 * np.pi * hz * np.arange(round(rate * seconds)) / rate).astype(np.float32)


class TestTransform:
    @pytest.mark.parametrize("rate", [96_000, 48_000, 44_100, 32_000, 16_000])
    def test_equals_the_transform_of_the_whole_sound_up_to_7_khz(self, rate):
        rng = np.random.default_rng(3)
        mono = rng.normal(size=rate).astype(np.float32) * np.hanning(rate).astype(np.float32)
        spectrum = transform(mono, rate)
        whole = np.fft.rfft(mono, spectrum.size)
        upto = int(7_000 * spectrum.size / rate)
        away = np.abs(spectrum.bins[:upto] - whole[:upto])
        assert away.max() < 1e-4 * np.abs(whole[:upto]).max()  # 80 dB under: what a 16 bit file rounds by is more


class TestTakeBand:
    @pytest.mark.parametrize("rate", [48_000, 44_100])
    def test_holds_a_tone_where_the_conventions_say(self, rate):
        band = take_band(transform(tone(rate, 2_000.0), rate), *BAND_HZ)
        at_s = np.arange(len(band.samples)) / band.rate
        due = np.exp(2j * np.pi * (2_000.0 - band.low_hz) * at_s) / 1j
        middle = slice(len(due) // 4, len(due) // 2)
        assert np.abs(band.samples[middle] - due[middle]).max() < 0.01

    def test_leaves_out_what_lies_outside(self):
        mono = tone(48_000, 500.0) + tone(48_000, 5_000.0)
        band = take_band(transform(mono * np.hanning(48_000).astype(np.float32), 48_000), *BAND_HZ)
        assert np.abs(band.samples).max() < 1e-3


class TestMatch:
    def test_equals_one_plain_correlation(self):
        rng = np.random.default_rng(5)
        samples = (rng.normal(size=5_000) + 1j * rng.normal(size=5_000)).astype(np.complex64)
        waves = [(rng.normal(size=90) + 1j * rng.normal(size=90)) * np.hanning(90) for _ in range(2)]
        templates = [np.fft.fft(wave, 1_024).astype(np.complex64) for wave in waves]
        answers = Band(samples, 3_000.0, 0.0).match(templates, 90, before=70)
        padded = np.concatenate([np.zeros(70), samples, np.zeros(90)])
        for wave, answer in zip(waves, answers, strict=True):
            plain = signal.correlate(padded, wave, "valid")[: len(answer)]
            assert len(answer) == 70 + len(samples)
            assert np.abs(answer - plain).max() < 1e-4 * np.abs(plain).max()

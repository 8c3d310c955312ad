"""The leaked click: taken out, and the stroke that falls on it left alone."""

import numpy as np

from submissions.engine.ear.clicks.leaks import take_out_clicks
from submissions.engine.music.click import click_layout, click_wave

from .played import take_of

RATE = 48_000


def clicks_in(layout, zero_s, length, peak):
    out = np.zeros(length)
    for beat in layout.beats:
        at = round((zero_s + beat.at_s) * RATE)
        wave = peak * beat.sign * click_wave(beat.kind, RATE)
        out[at : at + len(wave)] += wave
    return out


class TestTakeOutClicks:
    layout = click_layout(take_of().part, 2)
    zero_s = 6.0123

    def sound(self, peak=0.05, noise=1e-3):
        length = round((self.zero_s + self.layout.end_s + 2) * RATE)
        return np.random.default_rng(8).normal(0, noise, length) + clicks_in(self.layout, self.zero_s, length, peak)

    def test_leaves_a_tenth_of_the_click_or_less(self):
        mono = self.sound()
        quiet = take_out_clicks(mono, RATE, self.layout, self.zero_s)
        left = quiet.mono - self.sound(peak=0.0)
        assert quiet.heard
        assert np.sum(left**2) < 0.1 * np.sum((mono - self.sound(peak=0.0)) ** 2)

    def test_leaves_sound_without_a_click_as_it_is(self):
        mono = self.sound(peak=0.0)
        quiet = take_out_clicks(mono, RATE, self.layout, self.zero_s)
        assert not quiet.heard
        assert np.array_equal(quiet.mono, mono)

    def test_leaves_the_stroke_that_falls_on_a_click(self):
        mono = self.sound()
        at = round((self.zero_s + self.layout.beats[12].at_s) * RATE)
        burst = 0.5 * np.random.default_rng(9).normal(size=1_200) * np.exp(-np.arange(1_200) / 300)
        mono[at : at + 1_200] += burst
        quiet = take_out_clicks(mono, RATE, self.layout, self.zero_s).mono
        kept = quiet[at : at + 1_200]
        assert kept @ burst > 0.9 * (burst @ burst)

"""The first of two arrivals that lie too close for two peaks: a phone's two microphones, a table under it."""

import numpy as np
import pytest

from submissions.engine.ear.marks.groups import MarkGroup, first_arrival, refine
from submissions.engine.music.click import RATE, mark_group

AT_S = 0.5
ROUGH = MarkGroup(AT_S + 3e-4, 50.0, 1.0, 1e-4, True)


def marks_heard(second_s, second, noise=0.05):
    """One second and a half with the start group at AT_S and again second_s later, in noise as loud as an eighth."""
    rng = np.random.default_rng(7)
    mono = noise * rng.standard_normal(round(1.5 * RATE))
    group = np.pad(mark_group(RATE), 480)
    hz = np.fft.rfftfreq(len(group), 1 / RATE)
    twice = np.fft.rfft(group) * (1 + second * np.exp(-2j * np.pi * hz * second_s))
    start = round(AT_S * RATE) - 480
    mono[start : start + len(group)] += np.fft.irfft(twice, len(group))
    return mono


class TestTheFirstArrival:
    @pytest.mark.parametrize("second", [0.7, 1.0])
    @pytest.mark.parametrize("second_ms", [0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4])
    def test_is_that_of_the_nearer_microphone(self, second_ms, second):
        found = first_arrival(refine(marks_heard(1e-3 * second_ms, second), RATE, ROUGH)).group
        assert 1e3 * abs(found.at_s - AT_S) < 0.06
        assert abs(found.at_s - AT_S) < 3 * found.sd_s

    def test_alone_is_known_to_a_part_of_a_sample(self):
        found = first_arrival(refine(marks_heard(0.0, 0.0), RATE, ROUGH)).group
        assert 1e3 * abs(found.at_s - AT_S) < 0.005
        assert found.sd_s < 5e-6

    def test_before_an_echo_off_a_wall_is_known_to_a_part_of_a_sample(self):
        found = first_arrival(refine(marks_heard(2e-3, 0.9), RATE, ROUGH)).group
        assert 1e3 * abs(found.at_s - AT_S) < 0.01

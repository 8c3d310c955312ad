"""Drawn takes cover what phones in homes meet, and say truly what is wrong with them."""

from collections import Counter

import numpy as np
import pytest
from scipy.signal import chirp, hilbert

from submissions.engine.checks import CHECKS
from submissions.engine.rehearsal.draw import FAULTS, WAYS, draw_faulty, draw_page, draw_phone, draw_take
from submissions.engine.rehearsal.pages import invent_part
from submissions.engine.rehearsal.phone import filtered
from submissions.engine.rehearsal.take import make_take

MANY = range(150)


class TestADrawnTake:
    def test_is_the_same_for_the_same_seed(self):
        assert draw_take(5) == draw_take(5)
        assert draw_take(5) != draw_take(6)

    def test_covers_instruments_ways_skills_and_rooms(self):
        drawn = [draw_take(seed) for seed in MANY]
        assert set(Counter(d.way for d in drawn)) == set(WAYS)
        assert {d.part.instrument for d in drawn} == {"snare", "tenors", "bass", "cymbals"}
        assert {d.part.drum for d in drawn} == {"all", "1", "2", "3", "4", "5"}
        assert len({d.spec.skill.name for d in drawn}) == 4
        rooms = [d.spec.room.rt60_s for d in drawn]
        assert min(rooms) < 0.2 and max(rooms) > 0.8
        assert 20 < np.mean([d.part.end_s for d in drawn]) < 60

    @pytest.mark.parametrize("seed", range(4))
    def test_is_good(self, seed):
        drawn = draw_take(seed)
        take = make_take(drawn.part, drawn.spec, seed)
        assert take.truth.spread_ms < 40
        assert len(take.truth.missed) < 0.1 * len(drawn.part.strokes)
        assert drawn.fault == ""


def delay_us(phone):
    """How late the phone's filters make a chirp of 1.5 to 6.5 kHz, by where its compressed envelope is highest."""
    t = np.arange(round(0.04 * phone.rate)) / phone.rate
    wave = np.sin(np.pi * t / t[-1]) ** 2 * chirp(t, 1_500.0, t[-1], 6_500.0)
    size = 1 << 15
    across = np.fft.rfft(filtered(np.pad(wave, (0, size - len(wave))), phone)) * np.conj(np.fft.rfft(wave, size))
    fine = np.abs(hilbert(np.fft.irfft(across, 32 * size))[: 32 * 40])
    return 1e6 * int(np.argmax(fine)) / (32 * phone.rate)


class TestADrawnPhone:
    def test_delays_a_chirp_as_much_as_phones_do(self):
        delays = [delay_us(draw_phone(np.random.default_rng(seed))) for seed in range(60)]
        assert min(delays) > 3
        assert np.percentile(delays, 90) > 55  # phones: 30 to 100 us, as measured elsewhere
        assert max(delays) < 130


class TestADrawnFault:
    def test_has_the_name_of_a_finding(self):
        assert set(FAULTS) <= {code for code, _ in CHECKS}

    def test_comes_in_every_kind(self):
        assert {draw_faulty(seed).fault for seed in MANY} == set(FAULTS)

    def test_can_be_heard_where_only_a_click_reveals_it(self):
        late = [draw_faulty(seed, fault="starts-late") for seed in range(20)]
        assert all(d.spec.marks or d.spec.leak for d in late)


class TestAnInventedPage:
    @pytest.mark.parametrize("seed", range(12))
    def test_is_in_order_and_inside_its_bars(self, seed):
        part = invent_part(draw_page(seed), seed)
        times = [stroke.at_s for stroke in part.strokes if stroke.kind != "grace"]
        assert times == sorted(times)
        assert part.strokes and all(0 <= stroke.at_q < part.end_q for stroke in part.strokes)
        for stroke in part.strokes:
            bar = part.bars[stroke.played_bar]
            assert bar.at_q <= stroke.at_q < bar.at_q + bar.length_q

    def test_repeats_bars_as_cadences_do(self):
        part = invent_part(draw_page(3), 3)
        words = [
            tuple((s.at_q - bar.at_q, s.drum, s.kind) for s in part.strokes if s.played_bar == n)
            for n, bar in enumerate(part.bars)
        ]
        assert len(set(words)) < len(words)

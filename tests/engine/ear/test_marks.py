"""The sync marks: to a fiftieth of a millisecond when they are heard, and never believed when they are not."""

from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest
import soxr

from submissions.engine.ear.marks.believed import as_mates
from submissions.engine.ear.marks.groups import Arrival, MarkGroup, refine
from submissions.engine.music.click import click_layout, mark_group, mark_offsets_s, render_click
from submissions.engine.rehearsal.spec import Faults, Leak, Marks, Phone, Room

from .heard import MARKED, QUIET_ROOM, hear, heard, off_ms, part_of, take_of

CLOSE_MS = 0.02  # the bar for a room without a phone's own filters
PHONE_MS = 0.25  # the bar behind a phone's filters, which delay the chirps' band by 0.03 to 0.1 ms themselves


def through_aac(mono, rate, bits):
    """The sound as an AAC file of so many bits a second gives it back, priming cut off."""
    encoder = av.CodecContext.create("aac", "w")
    encoder.sample_rate, encoder.layout, encoder.format, encoder.bit_rate = rate, "mono", "fltp", bits
    encoder.time_base = Fraction(1, rate)
    packets = []
    padded = np.pad(mono, (0, 4096)).astype(np.float32)
    for start in range(0, len(padded) - 1023, 1024):
        frame = av.AudioFrame.from_ndarray(padded[None, start : start + 1024], format="fltp", layout="mono")
        frame.sample_rate, frame.pts = rate, start
        packets += encoder.encode(frame)
    packets += encoder.encode(None)
    decoder = av.CodecContext.create("aac", "r")
    decoder.extradata = encoder.extradata
    decoder.sample_rate, decoder.layout = rate, "mono"
    pieces = [frame.to_ndarray()[0] for packet in packets for frame in decoder.decode(packet)]
    return np.concatenate(pieces)[1024 : 1024 + len(mono)]  # 1024 samples of priming


class TestMarks:
    @pytest.mark.parametrize("room", [Room(), Room(0.3, 6.0), Room(0.9, 6.0)])
    @pytest.mark.parametrize("noise_over_db", [None, 10.0])
    def test_give_zero_and_clock_in_a_room(self, room, noise_over_db):
        take = take_of(replace(QUIET_ROOM, room=room, marks=replace(MARKED, noise_over_db=noise_over_db)))
        zero = heard(take).zero
        assert zero.source == "marks"
        assert zero.sure
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS + (0.02 if noise_over_db else 0.0)
        apart_s = zero.marks_end_s - zero.marks_start_s
        assert abs(zero.clock_ratio - take.truth.clock_ratio) * apart_s < 0.3e-6 * 90  # 0.3 ppm when 90 s apart

    def test_stay_within_a_quarter_millisecond_behind_a_phone(self):
        phone = Phone(low_hz=300.0, high_hz=8_000.0, resonance_hz=4_000.0, resonance_db=6.0, clock_ppm=-80.0)
        take = take_of(replace(QUIET_ROOM, phone=phone, marks=replace(MARKED, noise_over_db=10.0)))
        assert abs(off_ms(take, heard(take).zero.zero_s)) < PHONE_MS

    @pytest.mark.parametrize("bits", [24_000, 64_000])
    def test_survive_a_codec(self, bits):
        take = take_of(replace(QUIET_ROOM, marks=replace(MARKED, noise_over_db=10.0)))
        zero = hear(through_aac(take.sound.mono, take.sound.rate, bits), take.sound.rate, take.part).zero
        assert zero.source == "marks"
        assert abs(off_ms(take, zero.zero_s)) < 0.05

    def test_tell_the_clock_where_a_coder_left_one_chirp_of_a_group(self):
        take = take_of(replace(QUIET_ROOM, marks=MARKED))
        mono, rate = take.sound.mono.copy(), take.sound.rate
        begins_s = heard(take).zero.marks_start_s
        at = round((begins_s - 0.01) * rate)
        mono[at : at + round((mark_offsets_s(True)[-1] - 0.03) * rate)] *= 0.02
        zero = hear(mono, rate, take.part).zero
        assert zero.source == "marks" and zero.clock_known
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS

    def test_are_less_certain_where_the_click_leaks_too(self):
        direct = take_of(replace(QUIET_ROOM, marks=MARKED))
        leaked = take_of(replace(QUIET_ROOM, marks=None, leak=Leak(-24.0, marks=True)))
        alone, beside = heard(direct).zero, heard(leaked).zero
        assert alone.source == beside.source == "marks"
        assert beside.sd_s > 1.2 * alone.sd_s
        assert abs(off_ms(leaked, beside.zero_s)) < 2e3 * beside.sd_s  # headphones delay marks by 0.04 ms here

    @pytest.mark.parametrize(("start", "end"), [(True, False), (False, True)])
    def test_of_one_group_are_enough_where_the_strokes_agree(self, start, end):
        take = take_of(replace(QUIET_ROOM, marks=Marks(start, end, -20.0)))
        zero = heard(take).zero
        assert zero.source == "marks"
        assert not zero.clock_known
        assert abs(off_ms(take, zero.zero_s)) < 2e3 * zero.sd_s

    def test_tell_the_tempo_of_another_click_of_the_ladder(self):
        take = take_of(replace(QUIET_ROOM, bpm=96.0, marks=MARKED))
        zero = heard(take).zero
        assert zero.source == "marks"
        assert abs(off_ms(take, zero.zero_s)) < CLOSE_MS
        assert zero.tempo_ratio == pytest.approx(96 / 120, abs=1e-3)

    @pytest.mark.parametrize("instrument", ["snare", "tenors", "bass", "cymbals"])
    def test_are_not_believed_where_there_are_none(self, instrument):
        take = take_of(QUIET_ROOM, instrument)
        assert heard(take).zero.source == "written"

    def test_that_contradict_the_page_are_not_believed(self):
        """A start group 440 ms too early and no end group: the strongest peak of the file, and wrong."""
        take = take_of(replace(QUIET_ROOM, marks=Marks(True, False, -10.0)))
        rate, mono = take.sound.rate, take.sound.mono.copy()
        at = round(take.truth.marks_start_s * rate)
        early = round(0.44 * rate)
        group = mono[at : at + round(0.85 * rate)].copy()
        mono[at : at + len(group)] = 0
        mono[at - early : at - early + len(group)] = group
        zero = hear(mono, rate, take.part).zero
        assert zero.source == "written"
        assert not zero.sure

    @pytest.mark.parametrize("after_s", [0.1, 0.3, 0.6])
    @pytest.mark.parametrize("rising", [True, False])
    def test_cut_off_by_the_recordings_edge_are_not_taken_for_others(self, rising, after_s):
        """One chirp on another one's place answers in both groups at once, and at the right distance."""
        take = take_of(replace(QUIET_ROOM, marks=MARKED))
        rate, truth = take.sound.rate, take.truth
        cut = round(((truth.marks_start_s if rising else truth.marks_end_s) + after_s) * rate)
        zero = hear(take.sound.mono[cut:] if rising else take.sound.mono[:cut], rate, take.part).zero
        moved_s = cut / rate if rising else 0.0
        assert zero.source == "marks"
        assert abs(off_ms(take, zero.zero_s + moved_s)) < 2e3 * zero.sd_s
        assert zero.sd_s < 2e-3

    def test_with_a_stretch_of_the_recording_missing_between_them_are_not_sure(self):
        """Both groups are plain and disagree: bar 1 lies beside the start group, and a person must look."""
        take = take_of(replace(QUIET_ROOM, marks=MARKED))
        rate = take.sound.rate
        cut = round((take.truth.zero_s + 0.55 * take.part.end_s) * rate)
        mono = np.concatenate([take.sound.mono[:cut], take.sound.mono[cut + round(0.7 * rate) :]])
        zero = hear(mono, rate, take.part).zero
        assert zero.source == "marks"
        assert not zero.sure
        assert abs(off_ms(take, zero.zero_s)) < 2e3 * zero.sd_s

    @pytest.mark.parametrize("late_bars", [1, 3])
    def test_of_one_group_tell_that_the_playing_begins_bars_late(self, late_bars):
        """Nothing else in the sound says where bar 1 was due; the strokes alone lie perfectly, bars off."""
        spec = replace(QUIET_ROOM, marks=Marks(True, False, -6.0), faults=Faults(late_bars=late_bars))
        take = take_of(spec, "cymbals")
        zero = heard(take).zero
        assert zero.source == "marks"
        assert zero.late_bars == late_bars
        assert abs(off_ms(take, zero.zero_s)) < 2e3 * zero.sd_s

    def test_are_found_in_the_click_file_itself(self):
        part = part_of()
        click = render_click(click_layout(part, 2))
        zero = hear(click.samples, click.rate, part).zero
        assert zero.source == "marks"
        assert abs(zero.zero_s - click.zero_s) < 2e-6
        assert zero.clock_ratio == pytest.approx(1.0, abs=3e-8)


@pytest.mark.parametrize("ppm", [-200.0, -120.0, 0.0, 120.0, 200.0])
def test_a_group_recorded_by_an_odd_clock_is_whole_and_in_its_place(ppm):
    """Four chirps over 0.72 s lie a whole turn apart at 4 kHz where two clocks differ by 350 ppm."""
    rate, at_s = 48_000, 1.25
    stretched = soxr.resample(mark_group(rate), rate, rate * (1 + ppm * 1e-6), quality="VHQ")
    mono = 1e-3 * np.random.default_rng(5).standard_normal(3 * rate)
    mono[round(at_s * rate) : round(at_s * rate) + len(stretched)] += stretched
    group = refine(mono, rate, MarkGroup(at_s + 1e-4, 100.0, 1.0, 1e-4, True)).group
    assert group.likeness > 0.8
    assert group.at_s == pytest.approx(at_s, abs=30e-6)
    assert abs(group.clock - 1 - ppm * 1e-6) < 45e-6 if abs(ppm) > 100 else group.clock == 1.0


def arrival_of(tops, noise, rate=768_000, begin_s=5.0):
    """An answer of 24 ms with tops (seconds from begin_s, size), timed at the first of them."""
    at = np.arange(round(0.024 * rate)) / rate
    answer = sum(size * np.exp(-0.5 * ((at - place) / 8e-5) ** 2) for place, size in tops).astype(complex)
    group = MarkGroup(begin_s + tops[0][0], 50.0, 0.5, 3e-5, True)
    return Arrival(group, answer, begin_s, rate, noise)


def test_what_a_coder_left_before_a_faint_group_is_not_its_first_arrival():
    """The other group came the same way and shows no such top."""
    clear = arrival_of([(0.012, 1.0), (0.0135, 0.4)], noise=0.01)
    faint = arrival_of([(0.0052, 0.53), (0.012, 0.95), (0.0135, 0.4)], noise=0.12)
    for first, last in (as_mates(clear, faint), reversed(as_mates(faint, clear))):
        assert first is clear
        assert last.group.at_s == pytest.approx(5.012, abs=5e-6)


def test_a_direct_sound_that_both_groups_show_before_its_stronger_echo_stays_the_first_arrival():
    way = [(0.012, 0.6), (0.0152, 1.0)]
    clear, faint = arrival_of(way, noise=0.01), arrival_of(way, noise=0.1)
    assert as_mates(clear, faint) == (clear, faint)

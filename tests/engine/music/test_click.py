"""The click: where its beats and marks stand, how loud it is, and that its code has one peak."""

from fractions import Fraction

import numpy as np
import pyloudnorm
import pytest
from scipy.signal import correlate, resample_poly

from submissions.engine.music.click import (
    CLICK_PEAK,
    MARK_GROUP_S,
    RATE,
    beat_sign,
    click_layout,
    click_wave,
    mark_group,
    render_click,
)

from .plain import F, plain_part


def onset_samples(click):
    """Sample at which each beat's wave starts, found by matching the known wave near where it should be."""
    found = []
    for beat in click.layout.beats:
        wave = click_wave(beat.kind)
        due = round((click.zero_s + beat.at_s) * click.rate)
        near = click.samples[due - 400 : due + len(wave) + 400] * beat.sign
        found.append(due - 400 + int(np.argmax(correlate(near, wave, mode="valid"))))
    return np.array(found)


class TestTheGrid:
    @pytest.mark.parametrize(
        ("bpm", "samples_a_beat"),
        # Note arithmetic, 60 / bpm * 48000: 80, 96, 100, 120 are whole numbers of samples; 116 and 84 are not.
        [(80, 36000), (84, 34285.714), (96, 30000), (100, 28800), (116, 24827.586), (120, 24000)],
    )
    def test_has_the_handbook_distance_between_beats(self, bpm, samples_a_beat):
        click = render_click(click_layout(plain_part(tempo=bpm), 1))
        starts = onset_samples(click)
        assert np.diff(starts).mean() == pytest.approx(samples_a_beat, abs=0.06)
        assert np.abs(np.diff(starts) - samples_a_beat).max() < 1

    def test_does_not_drift_as_whole_samples_a_beat_would(self):
        """24827 samples a beat at 116 would be 4.7 ms early after 384 beats."""
        click = render_click(click_layout(plain_part(((4, 4),) * 97, 116), 0))
        starts = onset_samples(click)
        due = 384 * Fraction(60, 116) * RATE
        assert abs(float(starts[384] - starts[0] - due)) <= 0.5
        assert (due - 384 * 24827) / RATE * 1000 == pytest.approx(4.69, abs=0.01)

    @pytest.mark.parametrize("bpm", [84, 97, 113, 116.5])
    def test_is_rendered_to_the_sample_where_it_is_written(self, bpm):
        """A beat is no whole number of samples here: each is rounded once, so none is off by more than half of one."""
        layout = click_layout(plain_part(((4, 4),) * 24, 120), 2, bpm)
        click = render_click(layout, marks=False)
        zero = click.zero_s * RATE
        assert zero == round(zero)
        for beat in layout.beats:
            wave = beat.sign * CLICK_PEAK[beat.kind] * click_wave(beat.kind)
            start = round(zero) + round(beat.at_s * RATE)
            assert abs(start - zero - beat.at_s * RATE) <= 0.5
            assert np.abs(click.samples[start : start + len(wave)] - wave).max() < 1e-6

    def test_sounds_the_beats_of_the_count_off_before_zero(self):
        layout = click_layout(plain_part(((3, 4),) * 2, 90), 2)
        counted = [beat for beat in layout.beats if beat.counted]
        assert [round(beat.at_s * 90 / 60) for beat in counted] == [-6, -5, -4, -3, -2, -1]
        assert [beat.kind for beat in counted] == ["down", "beat", "beat"] * 2

    def test_clicks_dotted_beats_in_six_eight(self):
        layout = click_layout(plain_part(((6, 8),) * 2, tempo=F(180)), 1)
        assert layout.bpm == pytest.approx(120)
        assert [round(beat.at_s, 9) for beat in layout.beats] == [-1.0, -0.5, 0.0, 0.5, 1.0, 1.5]

    def test_counts_off_in_the_first_tempo_even_when_it_changes_inside_bar_one(self):
        layout = click_layout(plain_part(tempo=120, later=((2, 60),)), 1)
        assert [beat.at_s for beat in layout.beats[:8]] == pytest.approx([-2, -1.5, -1, -0.5, 0, 0.5, 1, 2])

    def test_keeps_the_ratios_of_tempo_changes_at_a_practice_tempo(self):
        part = plain_part(tempo=120, later=((4, 90),))
        slow = click_layout(part, 1, 60)
        assert [b.at_s for b in slow.beats] == pytest.approx([2 * b.at_s for b in click_layout(part, 1).beats])

    def test_follows_meter_changes(self):
        layout = click_layout(plain_part(((4, 4), (7, 8), (2, 4), (3, 8)), 100), 1)
        downs = [beat.at_s for beat in layout.beats if beat.kind == "down" and not beat.counted]
        assert downs == pytest.approx([0, 4 * 0.6, 7.5 * 0.6, 9.5 * 0.6])

    def test_keeps_the_marks_clear_of_a_pickup_without_count_off(self):
        part = plain_part(pickup_q=F(3), tempo=60)
        layout = click_layout(part, 0)
        assert layout.marks_start_s + MARK_GROUP_S == pytest.approx(-3 - 1)

    def test_puts_quiet_clicks_between_the_beats_when_asked(self):
        layout = click_layout(plain_part(((4, 4),), 120), 0, subdivide=True)
        assert [b.at_s for b in layout.beats if b.kind == "sub"] == pytest.approx([0.25, 0.75, 1.25, 1.75])
        six = click_layout(plain_part(((6, 8),), 180), 0, subdivide=True)
        assert [b.at_s for b in six.beats if b.kind == "sub"] == pytest.approx([1 / 6, 2 / 6, 4 / 6, 5 / 6])


class TestTheMarks:
    def test_give_zero_to_a_sample_by_a_matched_filter(self):
        click = render_click(click_layout(plain_part(), 2))
        start = int(np.argmax(correlate(click.samples, mark_group().astype(np.float32), mode="valid", method="fft")))
        assert abs(start / RATE - (click.zero_s + click.layout.marks_start_s)) <= 0.5 / RATE

    @pytest.mark.parametrize("bpm", [84, 97, 116, 133])
    def test_stand_on_whole_samples_from_zero(self, bpm):
        """So that zero, told from them, carries no rounding: 0.01 ms is half a sample."""
        layout = click_layout(plain_part(tempo=bpm), 2)
        for at_s in (layout.marks_start_s, layout.marks_end_s):
            assert at_s * RATE == pytest.approx(round(at_s * RATE), abs=1e-6)
        assert -layout.marks_start_s == pytest.approx(8 * 60 / bpm + 1 + MARK_GROUP_S, abs=0.51 / RATE)

    def test_cannot_be_taken_for_each_other(self):
        rising, falling = mark_group(rising=True), mark_group(rising=False)
        cross = np.abs(correlate(rising, falling, method="fft")).max() / np.dot(rising, rising)
        assert cross < 0.35

    def test_grow_from_softly_to_their_level(self):
        group = mark_group()
        peaks = [np.abs(group[round(s * RATE) : round((s + 0.08) * RATE)]).max() for s in (0, 0.19, 0.43, 0.72)]
        assert peaks == sorted(peaks)
        assert peaks[0] < 0.4 * peaks[-1]


class TestTheSigns:
    @pytest.mark.parametrize("beats", [20, 24, 40, 72, 136, 300])
    def test_have_one_peak_when_summed_along_the_grid(self, beats):
        signs = np.array([beat_sign(n) for n in range(beats)])
        sums = np.abs(np.correlate(signs, signs, "full")) / beats
        sums[beats - 1] = 0
        assert sums.max() <= 0.25

    def test_run_through_all_511_before_they_repeat(self):
        assert len({tuple(beat_sign(n + k) for k in range(9)) for n in range(511)}) == 511


class TestTheLevel:
    @pytest.mark.parametrize("bpm", [50, 80, 116, 160, 200])
    def test_is_the_same_loudness_at_every_tempo_and_below_programme_level(self, bpm):
        """ITU-R BS.1770 by pyloudnorm, the click in both ears. EBU R 128's programme level is -23 LUFS."""
        click = render_click(click_layout(plain_part(((4, 4),) * 8, bpm), 2), marks=False)
        both = np.repeat(click.samples[:, None].astype(float), 2, axis=1)
        assert pyloudnorm.Meter(RATE).integrated_loudness(both) == pytest.approx(-28.4, abs=0.8)

    def test_keeps_its_true_peak_far_below_full_scale(self):
        """Oversampled four times as BS.1770 Annex 2 says; the ceiling of EBU R 128 is -1 dBTP."""
        samples = render_click(click_layout(plain_part(), 2, subdivide=True)).samples
        assert 20 * np.log10(np.abs(resample_poly(samples, 4, 1)).max()) < -8

    def test_marks_are_no_louder_than_speech_programme(self):
        """The group alone, in both ears, stays at or below a programme at -20 LUFS."""
        click = render_click(click_layout(plain_part(), 2))
        start = round((click.zero_s + click.layout.marks_start_s) * RATE)
        both = np.repeat(click.samples[start : start + round(MARK_GROUP_S * RATE), None].astype(float), 2, axis=1)
        assert pyloudnorm.Meter(RATE).integrated_loudness(both) < -20

    def test_begins_and_ends_in_silence(self):
        samples = render_click(click_layout(plain_part(), 2)).samples
        assert not samples[: RATE // 3].any()
        assert not samples[-RATE // 3 :].any()

    def test_the_downbeat_stands_out(self):
        assert CLICK_PEAK["down"] > CLICK_PEAK["beat"] > CLICK_PEAK["sub"]

"""Kits of real hits: each hit lies where its truth says, sample for sample (CC0 hits, see tests/data/hits)."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from submissions.engine.errors import EngineError
from submissions.engine.rehearsal.kits import kit_from_folder, read_hit, strike
from submissions.engine.rehearsal.spec import Noise, Phone, TakeSpec
from submissions.engine.rehearsal.take import make_take

from .plain import small_part

HITS = Path(__file__).parents[2] / "data" / "hits"


@pytest.fixture(scope="module")
def kit():
    return kit_from_folder(HITS)


class TestAKitOfRealHits:
    def test_holds_every_drum_of_its_folder_softest_first(self, kit):
        assert set(kit.hits) == {"snare", "tenor", "tenor-4", "bass", "cymbal"}
        assert [hit.peak for hit in kit.hits["snare"]] == sorted(hit.peak for hit in kit.hits["snare"])

    def test_begins_each_hit_at_its_foot(self):
        for path in HITS.glob("*.flac"):
            samples, rate = soundfile.read(path, always_2d=True)
            mono = np.abs(samples.mean(axis=1))
            cut = read_hit(path)
            lead = int(np.argmax(mono >= 0.03 * mono.max()))
            assert lead / rate < 0.0006, "the attack lies within 0.6 ms of the file's start"
            assert abs(cut.wave[0]) >= 0.0299

    def test_lies_in_a_take_sample_for_sample(self, kit):
        spec = TakeSpec(kit=kit, noise=Noise(None), phone=Phone(rate=44_100, gain_db=0.0))
        take = make_take(small_part("cymbals", 8), spec, 41)
        sound, rate = take.sound.mono, take.sound.rate
        wave = kit.hits["cymbal"][0].wave
        for at, after in zip(take.truth.strikes_s, take.truth.strikes_s[1:], strict=False):
            start = round(at * rate)
            n = min(len(wave), round(after * rate) - start, 2_000)
            before = sound[start : start + n]
            fit = np.dot(before, wave[:n]) / np.linalg.norm(before) / np.linalg.norm(wave[:n])
            shifted = sound[start + 1 : start + 1 + n]
            assert fit > 0.9
            assert fit > np.dot(shifted, wave[:n]) / np.linalg.norm(shifted) / np.linalg.norm(wave[:n])

    @pytest.mark.parametrize("rate", [44_100, 48_000])
    def test_keeps_its_foot_when_resampled(self, kit, rate):
        wave = strike("snare", 1.0, kit, rate, np.random.default_rng(1))
        assert np.argmax(np.abs(wave) >= 0.02 * np.abs(wave).max()) <= 2

    def test_tunes_one_bass_drum_to_five(self, kit):
        def centre(drum):
            wave = strike(
                drum, 0.9, replace(kit, hits={"bass": kit.hits["bass"][-1:]}), 48_000, np.random.default_rng(2)
            )
            spectrum = np.abs(np.fft.rfft(wave, 1 << 16)) ** 2
            return np.sum(spectrum * np.arange(len(spectrum))) / spectrum.sum()

        centres = [centre(f"bass-{n}") for n in range(1, 6)]
        assert centres == sorted(centres, reverse=True)

    def test_says_when_a_folder_holds_no_hit(self, tmp_path):
        with pytest.raises(EngineError, match="no sound file that begins with a drum's word"):
            kit_from_folder(tmp_path)

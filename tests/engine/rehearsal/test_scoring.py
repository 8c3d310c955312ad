"""The scorer agrees with the public reference (mir_eval, MIT) on its own fixtures and on random lists."""

import mir_eval
import numpy as np
import pytest

from submissions.engine.rehearsal.scoring import merged, pairs, score

# mir_eval 0.8, tests/data/onset: reference and estimate 00, and 01; expected scores from its output files.
REFERENCE_00 = """0.355011337 0.807006802 0.943990929 1.968367346 2.171428571 2.380612244 2.563265306 3.439455782 4.643990929
6.185215419 6.339047619 6.526258503 6.678639455 7.397006802 8.354829931 8.798911564 8.877278911 8.948390022 9.184943310
9.430204081 9.601451247 9.811882086"""
ESTIMATE_00 = """0.1741496598639455662 0.4150566893424036397 0.8504308390022675690 0.9926530612244898188 1.904036281179138257
2.023038548752834398 2.214603174603174462 2.438095238095238315 2.609342403628117868 3.482993197278911435 4.684625850340135678
4.728163265306122298 5.700498866213151494 5.868843537414965894 6.217142857142857082 6.266485260770974897 6.385487528344671482
6.713469387755101714 7.439092970521541837 7.471020408163265181 8.182131519274376430 8.405623582766439839 8.852607709750566656
9.232834467120181188 9.505668934240363299 9.665306122448980020 9.830748299319727934"""
REFERENCE_01 = """0.052607709 0.322176870 0.584126984 0.833990929 1.092789115 1.361995464 1.620317460 1.867006802 2.128979591
2.380045351 2.647074829 2.911201814 3.183310657 3.424943310 3.678185941 3.939410430 4.207891156 4.470997732 4.738321995
4.983582766 5.253514739 5.512562358 5.780317460 6.030657596 6.293333333 6.576326530 6.833922902 7.084263038 7.348390022
7.613242630 7.857777777 8.130612244 8.386757369 8.632018140 8.898321995 9.162448979 9.421496598 9.699410430 9.935238095
10.200090702 10.454784580 10.726167800 10.981587301 11.233378684 11.494603174 11.758730158 12.018503401 12.270294784
12.531519274 12.805804988 13.062675736 13.327528344 13.581496598 13.848526077 14.094512471 14.360816326 14.612607709
14.898503401"""
ESTIMATE_01 = "0.1015873015873015872 14.16707482993197331 14.68081632653061241"
# An annotated clip of 2.8 s: reference onsets and a public detector's output (madmom's test data, numbers only).
CLIP_REFERENCE = (
    "0.0943 0.2844 0.4528 0.6160 0.7630 0.8025 0.9847 1.1233 1.4820 1.6276 1.8032 2.1486 2.3351 2.4918 2.6710"
)
CLIP_HEARD = "0.010 0.085 0.275 0.445 0.610 0.795 0.980 1.115 1.365 1.475 1.620 1.795 2.140 2.330 2.485 2.665"


def numbers(text: str):
    return np.array([float(word) for word in text.split()])


class TestTheScore:
    def test_is_that_of_the_reference_on_its_first_fixture(self):
        found = score(numbers(REFERENCE_00), numbers(ESTIMATE_00), 0.05)
        assert found.f == pytest.approx(0.5306122448979591, abs=1e-12)
        assert found.precision == pytest.approx(0.48148148148148145, abs=1e-12)
        assert found.recall == pytest.approx(0.5909090909090909, abs=1e-12)

    def test_is_that_of_the_reference_on_its_second_fixture(self):
        assert score(numbers(REFERENCE_01), numbers(ESTIMATE_01), 0.05).f == pytest.approx(
            0.03278688524590164, abs=1e-12
        )

    @pytest.mark.parametrize("window", [0.05, 0.025, 0.01])
    def test_is_that_of_an_annotated_clip(self, window):
        found = score(numbers(CLIP_REFERENCE), numbers(CLIP_HEARD), window)
        assert (found.precision, found.recall) == (pytest.approx(0.875), pytest.approx(0.93333, abs=5e-6))
        assert found.f == pytest.approx(0.90323, abs=5e-6)

    def test_stands_or_falls_at_the_window(self):
        grid = np.arange(1, 9) * 0.5
        assert score(grid, grid + 0.049, 0.05).f == 1.0
        assert score(grid, grid + 0.0501, 0.05).f == 0.0

    def test_agrees_with_the_reference_on_random_lists(self):
        rng = np.random.default_rng(1)
        for _ in range(200):
            true, heard = (np.sort(rng.uniform(0, 5, rng.integers(1, 60))) for _ in range(2))
            for window in (0.01, 0.025, 0.05):
                f, precision, recall = mir_eval.onset.f_measure(true, heard, window=window)
                found = score(true, heard, window)
                assert (found.f, found.precision, found.recall) == pytest.approx((f, precision, recall), abs=1e-12)

    def test_pairs_what_it_says(self):
        assert pairs([1.0, 2.0, 3.0], [3.004, 0.99], 0.02) == [(0, 1), (2, 0)]


class TestMerging:
    def test_makes_one_onset_of_two_drums_struck_at_once(self):
        assert merged([1.0, 1.003, 1.2, 1.2049, 1.3]) == [1.0, 1.2, 1.3]

"""The mean of the strokes: what is heard late is taken out of it, and what was not found makes it uncertain."""

import numpy as np
import pytest

from submissions.engine.ear.votes.means import FOOT_SD_S, heard_late, robust_mean, standard_error

SPREAD_S = 0.006


def playing(count=200):
    """Deviations of a steady player, and attacks of which every second one hardly passes what rang before it."""
    rng = np.random.default_rng(3)
    late = SPREAD_S * rng.standard_normal(count)
    attack_db = np.where(np.arange(count) % 2, 6.0, 25.0) + rng.standard_normal(count)
    return late, attack_db


class TestSoftAttacks:
    def test_that_are_heard_late_do_not_move_zero(self):
        late, attack_db = playing()
        heard = late + np.where(attack_db < 15, 0.008, 0.0)
        moved, _ = heard_late(heard, attack_db, SPREAD_S)
        assert moved == pytest.approx(0.004, abs=0.0007)
        assert robust_mean(heard)[0] - moved == pytest.approx(robust_mean(late)[0], abs=0.001)

    def test_that_are_heard_early_are_the_players_own(self):
        late, attack_db = playing()
        moved, _ = heard_late(late - np.where(attack_db < 15, 0.008, 0.0), attack_db, SPREAD_S)
        assert moved == 0.0

    def test_among_few_strokes_tell_little(self):
        late, attack_db = playing(10)
        assert heard_late(late + np.where(attack_db < 15, 0.008, 0.0), attack_db, SPREAD_S)[0] == 0.0


class TestTheUncertainty:
    def test_grows_with_what_was_not_found(self):
        late, _ = playing()
        sds = [standard_error(late, SPREAD_S, lost, given=True) for lost in (0.0, 0.1, 0.5)]
        assert sds == sorted(sds)
        assert sds[2] > 2 * sds[0] > 2 * FOOT_SD_S

    def test_is_wider_for_a_tempo_of_the_strokes_own(self):
        late, _ = playing(40)
        assert standard_error(late, SPREAD_S, 0.0, given=False) > 2 * standard_error(late, SPREAD_S, 0.0, given=True)

"""Copies of one performance are found, and nobody is accused of copying."""

import numpy as np
import pytest
from scipy.fft import dctn

from submissions.engine.eye.copies import Index, fingerprint, keys, same
from submissions.engine.rehearsal.picture import PictureSpec, frames


def written(seed=1, count=150):
    return np.cumsum(np.random.default_rng(seed).choice([0.125, 0.25, 0.125, 0.0625, 0.5], count))


def played(player, spread_s, part=1):
    rng = np.random.default_rng([player, 11])
    return written(part) + rng.normal(0, spread_s, 150) + rng.uniform(0, 3)


def encoded_again(strokes, seed, kept=0.95, moved_s=0.0004):
    rng = np.random.default_rng([seed, 12])
    moved = strokes + rng.normal(0, moved_s, len(strokes))
    return moved[rng.random(len(strokes)) < kept]


class TestACopy:
    @pytest.mark.parametrize("spread_s", [0.003, 0.008])
    @pytest.mark.parametrize("trim", [slice(None), slice(40, 110), slice(60, None)])
    def test_is_found_among_many(self, spread_s, trim):
        index = Index()
        for player in range(60):
            index.add(str(player), fingerprint(played(player, spread_s)))
        copies = [
            index.add(f"copy {p}", fingerprint(encoded_again(played(p, spread_s)[trim], p) + 1.7)) for p in range(20)
        ]
        assert copies == [(str(p),) for p in range(20)]

    def test_needs_no_comparison_of_every_pair(self):
        """Two players of one part share almost no key."""
        prints = [keys(fingerprint(played(player, 0.005))) for player in range(40)]
        shared = [len(a & b) for n, a in enumerate(prints) for b in prints[:n]]
        assert np.mean(shared) < 0.1
        assert min(len(p) for p in prints) > 50


class TestTwoPlayers:
    @pytest.mark.parametrize("spread_s", [0.002, 0.004, 0.01])
    def test_of_one_part_are_never_accused(self, spread_s):
        prints = [fingerprint(played(player, spread_s)) for player in range(40)]
        assert not any(same(a, b) for n, a in enumerate(prints) for b in prints[:n])

    def test_who_both_leaked_the_click_are_not_accused(self):
        clicks = np.arange(0, 60, 0.5)
        assert not same(fingerprint(clicks), fingerprint(clicks + 0.3))

    def test_with_a_few_strokes_each_are_not_accused(self):
        strokes = played(1, 0.005)[:8]
        assert not same(fingerprint(strokes), fingerprint(strokes))


class TestAFingerprint:
    def test_of_nothing_is_empty(self):
        assert fingerprint([]) == b"" and keys(b"") == frozenset() and not same(b"", b"")

    def test_does_not_depend_on_where_the_file_starts(self):
        strokes = played(1, 0.005)
        assert fingerprint(strokes) == fingerprint(strokes + 12.0)

    def test_makes_keys_that_a_database_can_hold(self):
        assert all(0 <= key < 2**63 for key in keys(fingerprint(played(1, 0.005))))


def key_frame_hashes(player, take, first_s, grain):
    """Perceptual hashes of four key frames: the lowest DCT coefficients against their median (common practice, no source)."""
    rng = np.random.default_rng([player, take])
    strikes = 0.5 + np.cumsum(rng.choice([0.125, 0.25, 0.5], 40))
    spec = PictureSpec(width=320, height=192, effects=("grain",), seed=player, instrument="snare")
    out = []
    for frame in frames(spec, strikes, [first_s + 2 * n for n in range(4)]):
        gray = frame.mean(axis=2) + rng.normal(0, grain, frame.shape[:2])
        lowest = dctn(gray.reshape(32, 6, 32, 10).mean(axis=(1, 3)))[:8, :8].ravel()[1:]
        out.append(lowest > np.median(lowest))
    return out


class TestAPictureHash:
    def test_would_accuse_whoever_sends_a_second_take(self):
        """Why copies are found by sound: key frames tell the room, not the performance."""
        copies, second_takes = [], []
        for player in range(6):
            first = key_frame_hashes(player, 1, 1.0, grain=1)
            for found, other in (
                (copies, key_frame_hashes(player, 1, 1.37, grain=4)),
                (second_takes, key_frame_hashes(player, 2, 1.11, grain=1)),
            ):
                found.append(min(int((a != b).sum()) for a in first for b in other))
        assert min(second_takes) <= max(copies), "a limit between them would make a picture hash worth having"

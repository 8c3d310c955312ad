"""The demo scenario holds what it must, and everybody in it is invented."""

from collections import Counter

import pytest

from submissions.engine.checks import CHECKS
from submissions.engine.rehearsal.scenario import make_scene, part_for, scenes, take_of

CODES = {code for code, _ in CHECKS}
# What the scenario must show, one each: the code that tells it.
FAULTS = {
    "no-audio", "silent", "clipped", "click-audible", "wrong-tempo", "not-this-part", "incomplete", "starts-late", "drifts",
    "frozen-picture", "black-picture", "low-frame-rate", "sound-picture-apart", "unreadable",
}  # fmt: skip


class TestTheScenario:
    def test_has_at_least_fourteen_good_takes(self):
        assert sum(scene.expects.verdict == "ready" for scene in scenes()) >= 14

    def test_has_every_fault_once_and_two_copies(self):
        told = Counter(code for scene in scenes() for code in scene.expects.codes)
        assert set(told) == FAULTS | {"copy-of-a-take"}
        assert told["copy-of-a-take"] == 2 and all(told[code] == 1 for code in FAULTS)

    def test_uses_codes_that_exist(self):
        for scene in scenes():
            assert scene.expects.codes | scene.expects.may <= CODES

    def test_finds_zero_in_every_way(self):
        assert {scene.expects.zero_from for scene in scenes()} >= {"marks", "click", "written"}

    def test_has_every_level_of_play_and_every_instrument(self):
        good = [scene for scene in scenes() if scene.expects.verdict == "ready"]
        assert {scene.spec.skill.name for scene in good} == {"beginner", "intermediate", "good", "professional"}
        assert {(scene.part_id, scene.drum) for scene in good} >= {
            ("P3", drum) for drum in ("all", "1", "2", "3", "4", "5")
        }
        assert {scene.film.suffix for scene in good} == {".mp4", ".mov", ".webm"}

    def test_knows_nobody_real(self):
        names = [scene.player.name for scene in scenes()]
        assert len(set(names)) == len(names)
        assert all(scene.player.email.endswith("@example.org") for scene in scenes())
        assert all(
            scene.player.guardian.endswith("@example.org") for scene in scenes() if scene.player.age in ("0", "13")
        )

    def test_has_keys_that_can_name_files(self):
        keys = [scene.key for scene in scenes()]
        assert len(set(keys)) == len(keys)
        assert all(key.replace("-", "").isalnum() for key in keys)

    @pytest.mark.parametrize(
        "scene", [s for s in scenes() if s.expects.verdict == "ready"], ids=lambda scene: scene.key
    )
    def test_holds_good_takes_that_are_good(self, scene):
        take = take_of(scene)
        part = part_for(scene.segment, scene.part_id, scene.drum)
        assert take.truth.spread_ms < 33.0, "well under the 35 ms of loose timing"
        assert len(take.truth.missed) <= 0.05 * len(part.strokes)
        assert scene.expects.zero_from in take.truth.zero_by

    def test_copies_exactly_what_it_says_it_copies(self, tmp_path):
        by_key = {scene.key: scene for scene in scenes()}
        copy = by_key["exact-copy"]
        made = {copy.of: make_scene(by_key[copy.of], tmp_path)}
        assert make_scene(copy, tmp_path, made).path.read_bytes() == made[copy.of].path.read_bytes()

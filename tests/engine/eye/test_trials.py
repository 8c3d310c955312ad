"""A short version of the eye's trial (`python manage.py bench_eye` runs the whole one): every fault once, good takes clean."""

import pytest

from submissions.engine.eye.trials import FAULTS, confusion, page, run_trial


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("films")
    return {fault: run_trial(fault, 77, folder, lines=216) for fault in FAULTS}


class TestTheEye:
    @pytest.mark.parametrize("fault", [fault for fault, code in FAULTS.items() if code and fault != "apart"])
    def test_names_the_fault(self, done, fault):
        assert FAULTS[fault] in done[fault].codes

    @pytest.mark.parametrize("fault", [fault for fault, code in FAULTS.items() if not code])
    def test_calls_no_good_take_redo(self, done, fault):
        assert not [f for f in done[fault].findings if f.level == "redo"]

    def test_is_never_far_off_with_sound_against_picture(self, done):
        told = [t for t in done.values() if t.told]
        assert told
        assert all(abs(t.facts.motion.sound_late_ms - t.late_ms) < 45 for t in told)

    def test_prints_a_page_of_all_faults(self, done):
        trials = list(done.values())
        assert sum(sum(row.values()) for row in confusion(trials).values()) >= len(FAULTS)
        assert all(fault in page(trials) for fault in FAULTS)

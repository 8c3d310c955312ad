"""A short version of the eye's trial (`python manage.py bench_eye` runs the whole one): a film of most faults, good takes clean.

What is told from the file alone (no sound, cut off, small, few pictures) is held in test_checks and the media table.
"""

import pytest

from submissions.engine.eye.trials import FAULTS, NOTES, confusion, page, run_trial, with_notes

LEFT_OUT = ("no sound", "cut off", "small", "few pictures", "handheld", "passer-by", "changing light")
SHOWN = {fault: code for fault, code in FAULTS.items() if fault not in LEFT_OUT}


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("films")
    return {fault: run_trial(fault, 77, folder, lines=216) for fault in SHOWN}


class TestTheEye:
    @pytest.mark.parametrize("fault", [fault for fault, code in SHOWN.items() if code and fault != "apart"])
    def test_names_the_fault(self, done, fault):
        assert FAULTS[fault] in done[fault].codes

    @pytest.mark.parametrize("fault", [fault for fault, code in SHOWN.items() if not code])
    def test_calls_no_good_take_redo(self, done, fault):
        assert "redo" not in done[fault].levels.values()

    def test_is_never_far_off_with_sound_against_picture(self, done):
        told = [t for t in done.values() if t.told_ms is not None]
        assert told
        assert all(abs(t.told_ms - t.late_ms) < 45 for t in told)

    def test_prints_a_page_of_all_faults(self, done):
        trials = list(done.values())
        assert sum(sum(row.values()) for row in confusion(trials).values()) >= len(SHOWN)
        assert all(fault in page(trials) for fault in FAULTS)

    def test_is_not_led_astray_by_a_film_of_which_half_stands_still(self, tmp_path):
        """What is left shows ten strokes; they once fitted best 120 ms off."""
        trial = run_trial("frozen", 4101, tmp_path, lines=216)
        assert "frozen-picture" in trial.codes
        assert trial.told_ms is None or abs(trial.told_ms - trial.late_ms) < 45


class TestThePage:
    def test_keeps_the_notes_of_the_page_before(self):
        assert with_notes("new table\n", f"old table\n\n{NOTES}\n\nWords.\n") == f"new table\n\n{NOTES}\n\nWords.\n"

    def test_without_notes_is_the_new_page(self):
        assert with_notes("new table\n", "old table\n") == with_notes("new table\n", "") == "new table\n"

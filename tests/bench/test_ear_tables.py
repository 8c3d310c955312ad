"""The bench's tables count what they say; rows made by hand."""

from bench import ear_tables, ear_takes
from submissions.engine.rehearsal.scoring import Score


def row(seed=1, **changes):
    base = {
        "seed": seed, "way": "written", "fault": "", "instrument": "snare", "drum": "all", "kit": "field", "skill": "good",
        "real": False, "minutes": 0.5, "cpu_s": 0.2, "source": "written", "sure": True, "sd_s": 0.001, "spread_ms": 10.0,
        "error_ms": 1.0, "true_error_ms": 4.0, "clock_ppm": None, "late_bars": 0, "redo": [], "look": [],
    }  # fmt: skip
    return base | changes


def line_of(text: str, name: str) -> list[str]:
    line = next(line for line in text.splitlines() if line.startswith(f"| {name}"))
    return [cell.strip() for cell in line.strip("|").split("|")]


class TestThePage:
    def test_says_what_was_run_before_what_came_out(self):
        text = ear_tables.page("manage.py bench_ear --takes 3", ["### One\n", "### Two\n"])
        assert text.index("bench_ear --takes 3 --page") < text.index("### One") < text.index("### Two")


class TestTheZeroTable:
    def test_counts_what_is_far_and_what_of_that_was_called_sure(self):
        rows = [row(n) for n in range(8)] + [row(8, error_ms=90.0), row(9, error_ms=None, sure=False)]
        assert line_of(ear_tables.zero(rows), "written")[1:] == ["10", "1 / 18.8 / 82.9", "2 (20.0%)", "1"]


class TestTheCalibrationTable:
    def test_gives_the_share_within_two_standard_deviations(self):
        rows = [row(n, error_ms=1.0) for n in range(9)] + [row(9, error_ms=2.1)]
        assert line_of(ear_tables.calibration(rows), "written")[1:] == ["10", "90.0%", "1.00"]


class TestTheVerdictTable:
    def test_counts_good_takes_sent_back_and_faults_found(self):
        rows = [
            row(1),
            row(2, redo=["incomplete"]),
            row(3, look=["noisy"]),
            row(4, spread_ms=40.0, redo=["loose-timing"]),
        ]
        rows += [
            row(5, fault="drifts", redo=["drifts"]),
            row(6, fault="drifts"),
            row(9, fault="noisy", error_ms=90.0),
            row(10, fault="noisy", error_ms=90.0, sure=False),
            row(7, error_ms=30.0),
            row(8, error_ms=30.0, look=["unsure-of-zero"]),
        ]
        text = ear_tables.verdicts(rows)
        assert line_of(text, "good takes called redo")[1:] == ["1 of 5", "0", "2 incomplete"]
        assert line_of(text, "good takes called look")[1] == "2 of 5"
        assert line_of(text, "zero over 20 ms wrong")[1:] == ["1 of 2", "all", "7"]
        assert line_of(text, "zero over 60 ms wrong and called sure")[1:] == ["1 of 10", "0", "9"]
        assert line_of(text, "drifts")[1:] == ["1 of 2", "98%", "6"]


class TestTheOnsetTable:
    def test_sets_mean_beside_pooled_and_pools_recalls(self):
        def heard(f, kinds):
            return {"f": [f, f], "kinds": kinds, "cpu_s": 1.0}

        kinds = {"main": Score(9, 10, 0), "grace": Score(1, 2, 0), "inner": Score(0, 4, 0)}
        rows = [row(1), row(2)]
        for n, score in enumerate((Score(10, 10, 10), Score(0, 30, 10))):
            rows[n]["heard"] = {name: heard(score, kinds) for name in ear_tables.NAMES}
        cells = line_of(ear_tables.onsets(rows), "tapoff")
        assert cells[1:] == ["0.500 (0.333)", "0.500 (0.333)", "0.90 / 0.50 / 0.00", "2.00"]


class TestARowOfTheBench:
    def test_comes_from_a_real_take_with_the_libraries_beside(self):
        """One short evaluation of the whole chain: made, heard, scored."""
        made = ear_takes.clean_row(7, "")
        assert set(made["heard"]) == set(ear_tables.NAMES)
        assert made["heard"]["tapoff"]["f"][0].f > 0.8
        assert made["minutes"] > 0.2 and made["late_ms"]

"""A short fuzz run with fixed seeds; `python manage.py fuzz` runs ten thousand inputs."""

import random
import subprocess
import sys
from pathlib import Path

import pytest

from submissions.engine.media import fuzz

ROOT = Path(__file__).resolve().parents[3]


class TestAFuzzRun:
    @pytest.mark.parametrize("seed", [1, 2])
    def test_ends_in_a_reading_or_a_sentence_every_time(self, seed, tmp_path):
        # In a process of its own: children are forked, and a test runner's threads do not survive that.
        code = (
            "import sys\nfrom pathlib import Path\nfrom submissions.engine.media import fuzz\n"
            "out = fuzz.run(120, int(sys.argv[1]), Path(sys.argv[2]))\nprint(dict(out.ends))\nprint(*out.bad, sep='\\n')\n"
            "sys.exit(bool(out.bad))"
        )
        done = subprocess.run(
            [sys.executable, "-c", code, str(seed), str(tmp_path)], cwd=ROOT, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stdout + done.stderr
        assert "our own fault" not in done.stdout
        assert list(tmp_path.iterdir()) == []

    def test_is_the_same_for_the_same_seed(self, tmp_path):
        made = [bytes(range(256)) * 20]
        first, again = (fuzz.damaged(random.Random(5), made, tmp_path, 1) for _ in range(2))
        assert first == again

"""The claim of a take: one statement, many workers, both databases, for real."""

import json
import os
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

from tests.services import postgres

ROOT = Path(__file__).resolve().parents[2]
TAKES, WORKERS = 240, 6
pytestmark = [pytest.mark.service]


def run(env: dict, *arguments: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, *arguments], env=env, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def answer(process: subprocess.Popen) -> list[int]:
    out, errors = process.communicate(timeout=240)
    assert process.returncode == 0, errors
    return json.loads(out.splitlines()[-1]) if out.strip() else []


def claims_of(number: int, env: dict) -> list[list[int]]:
    """What so many workers claimed that began together."""
    folder = Path(env["TAPOFF_VAR_DIR"])
    workers = [run(env, "-m", "tests.services.crowd", "claim") for _ in range(number)]
    until = time.monotonic() + 120
    while len(list(folder.glob("ready-*"))) < number and time.monotonic() < until:
        time.sleep(0.05)
    (folder / "go").touch()
    return [answer(worker) for worker in workers]


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    """The environment of an installation with migrated tables."""
    env = os.environ | {
        "TAPOFF_VAR_DIR": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "PYTHONPATH": str(ROOT),
        "TAPOFF_SECRET_KEY": "only-for-this-test-0123456789-abcdefghijklmnopqrstuvwxyz",
        # No broker runs here: nothing wakes anybody up, and publishing must not wait for one.
        "TAPOFF_BROKER_URL": "memory://",
    }
    if request.param == "sqlite":
        answer(run(env, "manage.py", "migrate", "--no-input", "-v0"))
        yield env
        return
    with postgres.server() as url:
        env["TAPOFF_DATABASE_URL"] = url
        answer(run(env, "manage.py", "migrate", "--no-input", "-v0"))
        yield env


class TestTheClaim:
    def test_gives_every_take_to_one_worker_by_least_time_left(self, place):
        expected = answer(run(place, "-m", "tests.services.crowd", "fill", str(TAKES)))
        assert len(expected) == TAKES
        claimed = claims_of(WORKERS, place)
        assert sum(1 for one in claimed if one) > 1, "only one worker got anything: nothing was tested"
        counts = Counter(pk for one in claimed for pk in one)
        assert sorted(counts) == sorted(expected)
        assert set(counts.values()) == {1}
        # Each worker's own claims follow the order; what another one took in between is only missing.
        rank = {pk: place for place, pk in enumerate(expected)}
        for one in claimed:
            assert one == sorted(one, key=rank.__getitem__)

    def test_follows_the_deadlines_when_one_worker_asks(self, place):
        expected = answer(run(place, "-m", "tests.services.crowd", "fill", "12"))
        assert claims_of(1, place) == [expected]

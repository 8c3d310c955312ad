"""A whole installation for journeys: real web server, worker, beat and broker over a folder of their own."""

import json
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from portal.embedded import BASE_DIR, Installation
from tests.browser import browser as open_browser

GENEROUS = {"TAPOFF_RATE_ENTRY": "1000", "TAPOFF_RATE_UPLOAD": "1000", "TAPOFF_RATE_MAIL": "1000", "TAPOFF_RATE_LINK": "20", "TAPOFF_SWEEP_S": "2"}
ANSWER_S = 150


class Stage(Installation):
    """An installation in which scenes can be set and looked at."""

    def set(self, scene: str, **asked: Any) -> dict[str, Any]:
        """Run one scene of staging.py and give back what it says."""
        command = [sys.executable, "-m", "tests.journeys.staging", scene, json.dumps(asked)]
        done = subprocess.run(command, env=self.env, cwd=BASE_DIR, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr[-3000:]
        return json.loads(done.stdout.strip().splitlines()[-1])

    def take_of(self, slug: str, player: str) -> dict[str, Any]:
        """The player's newest take as its row says."""
        return [take for take in self.set("takes", slug=slug)["takes"] if take["player"] == player][-1]

    def wait(self, ask: Callable[[], Any], seconds: float = ANSWER_S) -> Any:
        """What ask says as soon as it is true."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if said := ask():
                return said
            time.sleep(0.5)
        raise AssertionError(f"waited {seconds} s for nothing; the worker says:\n{self.log_tail('worker', 40)}")

    def materials_made(self, slug: str) -> None:
        self.wait(lambda: set(self.set("materials", slug=slug)["works"]) == {"done"})

    def mails(self) -> list[str]:
        """All mails that went out, oldest first."""
        folder = self.folder / "mail"
        files = sorted(folder.glob("*"), key=lambda path: path.stat().st_mtime) if folder.is_dir() else []
        return [path.read_text() for path in files]

    def link_in_mail(self, to: str, kind: str = "open") -> str:
        """The newest private link mailed to this address."""

        def found() -> str:
            for mail in reversed(self.mails()):
                plain = mail.replace("=\n", "").replace("=3D", "=")
                if f"To: {to}" in plain and (links := re.findall(rf"http://\S+/{kind}/[\w-]+/", plain)):
                    return links[0]
            return ""

        return self.wait(found, 60)


@pytest.fixture(scope="session")
def stage(tmp_path_factory):
    """The installation, with one small published call whose materials are made."""
    place = Stage(tmp_path_factory.mktemp("installation"), extra_env=GENEROUS)
    with place.running():
        place.start_broker()
        place.manage("migrate", "--no-input", "--skip-checks")
        place.start_worker()
        place.start_beat()
        place.start_web()
        place.call = place.set("small_call")
        place.materials_made(place.call["slug"])
        yield place


@pytest.fixture
def chromium():
    """A browser of the test's own."""
    with open_browser() as started:
        yield started


@pytest.fixture(scope="session")
def perform(tmp_path_factory):
    """Films of the snare part with sync marks, played well: one performance a number, so that none is another's copy."""
    from dataclasses import replace

    from submissions.engine.rehearsal.scenario import by_key, make_scene

    def make(number: int) -> Path:
        scene = by_key("snare-ana")
        return make_scene(replace(scene, seed=scene.seed + number), tmp_path_factory.mktemp("takes")).path

    return make


@pytest.fixture(scope="session")
def good_take(perform) -> Path:
    """A performance for journeys that do not wait for its answer."""
    return perform(0)

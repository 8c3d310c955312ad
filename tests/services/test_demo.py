"""The demo command: pages within a minute, data that stays, nothing left behind; and a check that can fail."""

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from portal.embedded import BASE_DIR, free_port
from submissions.engine.rehearsal.scenario import scenes
from submissions.management.commands import demo_check
from tests.services.house import wait_for

pytestmark = [pytest.mark.service]


class Demo:
    """One run of `manage.py demo` in a folder."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        env = os.environ | {"TAPOFF_VAR_DIR": str(folder)}
        command = [sys.executable, "manage.py", "demo", "--port", str(free_port()), *arguments]
        self.log = folder / "printed.txt"
        self.began = time.monotonic()
        with open(self.log, "w") as printed:
            self.process = subprocess.Popen(
                command, env=env, cwd=BASE_DIR, stdout=printed, stderr=printed, start_new_session=True
            )

    @property
    def printed(self) -> str:
        return self.log.read_text()

    def ready(self) -> "Demo":
        wait_for(lambda: "ready" in self.printed or self.process.poll() is not None, 240)
        assert self.process.poll() is None, self.printed
        self.took_s = time.monotonic() - self.began
        self.url = re.search(r"The portal\s+(\S+)", self.printed)[1]
        return self

    def end(self) -> None:
        """Ctrl-C, and everything it started must be gone."""
        self.process.send_signal(signal.SIGINT)
        self.process.wait(60)
        wait_for(lambda: self.left() == [], 10)

    def left(self) -> list[str]:
        """Command lines of living processes that belong to this demo, by the folder in their environment."""
        found = []
        for place in Path("/proc").glob("[0-9]*"):
            try:
                if str(self.log.parent).encode() in (place / "environ").read_bytes():
                    found.append((place / "cmdline").read_bytes().replace(b"\0", b" ").decode())
            except OSError:
                continue
        return [line for line in found if line and "pytest" not in line]


def fetch(url: str) -> str:
    with urllib.request.urlopen(url, timeout=30) as response:
        return response.read().decode()


def sign_ins(demo: Demo) -> dict[str, str]:
    return dict(re.findall(r"Sign in as\s+(\w+)\s+(\S+)", demo.printed))


class TestTheDemo:
    def test_comes_up_ends_whole_and_comes_back_with_its_data(self, tmp_path):
        first = Demo(tmp_path).ready()
        home = fetch(first.url)
        assert "Lantern Walk" in home
        known = sign_ins(first)
        assert set(known) == {"organizer", "editor"}
        assert len(first.left()) > 4  # broker, worker, beat, web, the maker of takes
        again = subprocess.run(
            [sys.executable, "manage.py", "demo"],
            env=os.environ | {"TAPOFF_VAR_DIR": str(tmp_path)},
            cwd=BASE_DIR,
            capture_output=True,
            text=True,
        )
        assert (again.returncode, "already runs" in again.stderr) == (1, True)
        first.end()
        second = Demo(tmp_path).ready()
        assert sign_ins(second) == known
        assert "Lantern Walk" in fetch(second.url)
        second.end()
        third = Demo(tmp_path, "--reset").ready()
        assert sign_ins(third) != known
        third.process.kill()  # even a killed supervisor leaves nobody behind
        third.process.wait()
        wait_for(lambda: third.left() == [], 30)


class TestTheCheck:
    """A truth that is changed by hand must be noticed."""

    scene = next(scene for scene in scenes() if scene.source == "film" and scene.expects.zero_within_ms is not None)

    def take(self, error_ms: float = 0.0, verdict: str = "ready", *findings: dict) -> SimpleNamespace:
        zero_s = demo_check.take_of(self.scene).truth.zero_s + error_ms / 1000
        by = self.scene.expects.zero_from or "marks"
        report = SimpleNamespace(verdict=verdict, zero_s=zero_s, zero_from=by, body={"findings": list(findings)})
        return SimpleNamespace(work="done", report=report)

    def test_passes_what_truth_deserves(self):
        assert demo_check.check(self.scene, self.take()).wrong == ""

    def test_sees_a_changed_verdict(self):
        changed = replace(self.scene, expects=replace(self.scene.expects, verdict="redo"))
        assert "verdict ready" in demo_check.check(changed, self.take()).wrong

    def test_sees_a_code_that_is_missing_and_one_too_many(self):
        changed = replace(self.scene, expects=replace(self.scene.expects, codes=frozenset({"silent"})))
        assert "lacks silent" in demo_check.check(changed, self.take()).wrong
        noisy = {"code": "noisy", "level": "look"}
        assert "also says noisy" in demo_check.check(self.scene, self.take(0.0, "ready", noisy)).wrong
        noted = {"code": "noisy", "level": "note"}
        assert demo_check.check(self.scene, self.take(0.0, "ready", noted)).wrong == ""

    @pytest.mark.parametrize("error_ms", [1.5, -1.5])
    def test_sees_a_zero_that_is_off(self, error_ms):
        assert "zero off" in demo_check.check(self.scene, self.take(error_ms)).wrong

    def test_sees_a_take_that_failed(self):
        failed = SimpleNamespace(work="failed", failure="broken")
        assert "our fault" in demo_check.check(self.scene, failed).wrong


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    from submissions.engine.rehearsal.cadence import cadence
    from submissions.engine.rehearsal.scenario import make_scene

    folder = tmp_path_factory.mktemp("probe")
    (folder / "part.musicxml").write_text(cadence()[0].musicxml_text)
    scene = next(s for s in scenes() if (s.segment, s.part_id, s.source) == ("Copper Gate", "P3", "film"))
    return SimpleNamespace(folder=folder, scene=scene, made=make_scene(scene, folder))


class TestProbeTake:
    """`probe_take`: the engine from a shell, without a database."""

    def run(self, files, *arguments: str) -> subprocess.CompletedProcess:
        # A database that does not exist: the command must not ask for one.
        env = os.environ | {
            "TAPOFF_VAR_DIR": str(files.folder / "var"),
            "TAPOFF_DATABASE_URL": f"postgresql://nobody@127.0.0.1:{free_port()}/none",
            "TAPOFF_SECRET_KEY": "only-for-this-test-0123456789-abcdefghijklmnopqrstuvwxyz",
        }
        command = [sys.executable, "manage.py", "probe_take", *arguments]
        return subprocess.run(command, env=env, cwd=BASE_DIR, capture_output=True, text=True)

    def test_prints_one_object_and_nothing_else(self, files):
        part = ("--part", str(files.folder / "part.musicxml"), "--part-id", "P3", "--drum", files.scene.drum)
        done = self.run(files, str(files.made.path), *part, "--json")
        assert done.returncode == 0, done.stderr
        report = json.loads(done.stdout)
        interface = {"verdict", "zero_s", "zero_from", "zero_sd_s", "clock_ratio", "bias_ms", "spread_ms", "written"}
        interface |= {"matched", "missed", "extra", "strokes", "heard_s", "container", "sound_late_ms", "findings"}
        assert interface | {"versions", "cost"} <= set(report)
        assert abs(report["zero_s"] - files.made.truth.zero_s) < 0.05

    def test_ends_with_0_whatever_the_verdict(self, files):
        text = files.folder / "text.mp4"
        text.write_text("no video")
        done = self.run(files, str(text), "--part", str(files.folder / "part.musicxml"))
        assert done.returncode == 0
        assert "unreadable" in done.stdout

    @pytest.mark.parametrize(
        ("arguments", "says"),
        [
            (("missing.mp4", "--part", "{folder}/part.musicxml"), "There is no file"),
            (("{folder}/part.musicxml", "--part", "missing.musicxml"), "There is no file"),
            (("{folder}/part.musicxml", "--part", "{folder}/part.musicxml", "--part-id", "P77"), "no part"),
            (("{folder}/part.musicxml", "--part", "{folder}/part.musicxml", "--drum", "9"), "invalid choice"),
            (("{folder}/part.musicxml", "--part", "{folder}/part.musicxml", "--count-off", "99"), "cannot be played"),
            (("{folder}/part.musicxml",), "--part"),
        ],
    )
    def test_ends_with_2_when_an_argument_cannot_be_used(self, files, arguments, says):
        done = self.run(files, *[argument.format(folder=files.folder) for argument in arguments])
        assert done.returncode == 2
        assert says in done.stderr
        assert done.stdout == ""

"""The whole job in one command: an embedded installation with the invented demo call, until Ctrl-C.

`--once --out DIR` does the same without a browser and checks every answer against the known truth.
"""

import fcntl
import json
import shutil
import signal
import subprocess
import sys
import time
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from portal.embedded import CannotStart, Installation, ends_with_us

PORT = 8000
KEEP = {"secret-key"}  # what --reset leaves


class Command(BaseCommand):
    help = "Starts a complete installation with the invented demo call and its takes; Ctrl-C ends it."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--reset", action="store_true", help="forget the demo's data and start over")
        parser.add_argument("--port", type=int, default=PORT, help="where the pages are (the next free one if taken)")
        parser.add_argument("--once", action="store_true", help="do the whole path without a browser and check it")
        parser.add_argument("--out", type=Path, help="with --once: the folder for exports and the table")

    def handle(self, *args: Any, **options: Any) -> None:
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that a plain kill also ends the children
        try:
            if options["once"]:
                self._once(options["out"])
            else:
                self._demo(options)
        except CannotStart as error:
            self.stderr.write(str(error))
            raise SystemExit(1) from error
        except KeyboardInterrupt:
            self.stdout.write("\nEnded.")

    def _demo(self, options: dict[str, Any]) -> None:
        folder = Path(settings.VAR_DIR) / "demo"
        with _alone(folder):
            if options["reset"]:
                _empty(folder)
            fresh = not (folder / "ready").exists()
            with Installation(folder, port=options["port"]).running() as place:
                self._start(place, fresh)
                self._watch(place)

    def _start(self, place: Installation, fresh: bool) -> None:
        began = time.monotonic()
        self._say(began, "broker")
        place.start_broker()
        self._say(began, "database")
        place.manage("migrate", "--no-input", "--skip-checks")
        place.begin_web()
        place.start_worker()
        place.start_beat()
        if fresh:
            self._say(began, "the call, its parts and sign-ins")
            place.manage("demo_fill", "--people-only")
        self._say(began, "web server")
        place.wait_for_web()
        self._tell(place)
        (place.folder / "ready").touch()
        self._say(began, "ready")

    def _say(self, began: float, what: str) -> None:
        self.stdout.write(f"[{time.monotonic() - began:5.1f} s] {what} ...")
        self.stdout.flush()

    def _tell(self, place: Installation) -> None:
        known = json.loads((place.folder / "sign-ins.json").read_text())
        self.stdout.write(f"\n  The portal       {place.url}/\n  The desk         {place.url}/desk/")
        for name, password in known.items():
            self.stdout.write(f"  Sign in as       {name:<10} {password}")
        self.stdout.write(f"  Mail lies in     {place.folder / 'mail'}\n  Logs lie in      {place.logs}\n")
        self.stdout.write("  Takes appear as they are made. Ctrl-C ends everything.\n")

    def _watch(self, place: Installation) -> None:
        """Let the takes be made, and say so when one of the processes dies."""
        filling = subprocess.Popen(
            ["nice", sys.executable, str(settings.BASE_DIR / "manage.py"), "demo_fill"],
            env=place.env,
            start_new_session=True,
            **ends_with_us(),
        )
        try:
            while True:
                if dead := place.dead():
                    raise CannotStart(f"The {dead[0]} has ended:\n{place.log_tail(dead[0])}")
                time.sleep(0.5)
        finally:
            filling.terminate()
            filling.wait()

    def _once(self, out: Path | None) -> None:
        if out is None:
            raise CannotStart("--once needs --out DIR.")
        out.mkdir(parents=True, exist_ok=True)
        folder = out / "installation"
        with _alone(folder):
            _empty(folder)
            with Installation(folder).running() as place:
                place.start_broker()
                place.manage("migrate", "--no-input", "--skip-checks")
                place.start_worker()
                place.start_beat()
                check = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo_check", str(out.resolve())]
                code = subprocess.run(check, env=place.env).returncode
        if code:
            raise SystemExit(code)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Two demos on one folder would fight over it."""
    folder.mkdir(parents=True, exist_ok=True)
    with open(folder.with_name(f"{folder.name}.lock"), "w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise CannotStart(f"A demo already runs on {folder}.") from None
        yield


def _empty(folder: Path) -> None:
    for path in folder.iterdir():
        if path.name in KEEP:
            continue
        shutil.rmtree(path) if path.is_dir() else path.unlink()

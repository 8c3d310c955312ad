"""An installation for a test: real processes in a folder of their own, and questions asked inside it."""

import json
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from typing import Any

from portal.embedded import BASE_DIR, Installation

WAIT_S = 120


@contextmanager
def house(folder: Path, *, web: bool = True, worker: bool = False, **settings: str) -> Iterator[Installation]:
    """Broker and database, and web server, worker and beat where asked for."""
    with Installation(folder, workers=1, extra_env=settings | {"PYTHONPATH": str(BASE_DIR)}).running() as place:
        place.start_broker()
        place.manage("migrate", "--no-input", "--skip-checks")
        if worker:
            place.start_worker()
            place.start_beat()
        if web:
            place.start_web()
        yield place


def ask(place: Installation, what: str, *arguments: str) -> Any:
    """The answer of tests.services.inside, run in the installation's own environment."""
    env = place.env | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
    command = [sys.executable, "-m", "tests.services.inside", what, *arguments]
    done = subprocess.run(command, env=env, cwd=BASE_DIR, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def look(place: Installation, query: str) -> list[tuple]:
    """Rows of the installation's SQLite file, read from outside at once."""
    with closing(sqlite3.connect(f"file:{place.folder / 'tapoff.sqlite3'}?mode=ro", uri=True, timeout=20)) as database:
        return database.execute(query).fetchall()


def wait_for(what: Callable[[], Any], seconds: float = WAIT_S, every: float = 0.5) -> Any:
    """The first true answer; fails after so many seconds with the last one."""
    until, answer = time.monotonic() + seconds, None
    while time.monotonic() < until:
        if answer := what():
            return answer
        time.sleep(every)
    raise AssertionError(f"did not happen within {seconds} s; last answer: {answer!r}")


def request(place: Installation, method: str, path: str, body: bytes = b"", **headers: str) -> HTTPResponse:
    """One HTTP request on a connection of its own, read to its end. Underscores in header names become hyphens."""
    connection = HTTPConnection("127.0.0.1", place.port, timeout=60)
    connection.request(method, path, body or None, {key.replace("_", "-"): value for key, value in headers.items()})
    response = connection.getresponse()
    response.body = response.read()
    connection.close()
    return response


def cookie_of(place: Installation, secret: str) -> str:
    """The session cookie that opening a private link gives."""
    response = request(place, "GET", f"/open/{secret}/")
    assert response.status == 302, response.status
    return next(
        value.split(";")[0] for name, value in response.getheaders() if name == "Set-Cookie" and "sessionid" in value
    )

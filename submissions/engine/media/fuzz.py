"""Thousands of damaged and hostile files through the same locked reading that takes go through.

Interpreters are forked from a warm one instead of started anew, so that ten thousand inputs take minutes; what a child
may do, and what it runs, is the same as in child.py. Seeds make every run repeatable.
"""

import os
import random
import select
import shutil
import signal
import socket
import struct
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..errors import MediaError
from ..facts import Sound
from . import jobs, sentences, wire
from .locked import Limits, lock_in
from .packets import TooLong
from .warm import import_everything
from .writing import write_film

SECRET = b"planted-secret-7f1c9d"
LIMITS = Limits(cpu_s=10, memory_bytes=4 << 30)  # the warm process itself holds more than a fresh one
WALL_S = 20.0
INTERESTING = (0, 1, 0x7F, 0x80, 0xFF)
SIZES = (0, 1, 7, 8, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
OWN_FAULT = "our own fault"  # an error that no sentence of ours foresaw: the take is `unreadable`, the cause a mistake
LIES = (
    "#EXTM3U\n#EXTINF:9,\nfile://{secret}\n#EXT-X-ENDLIST\n",
    "#EXTM3U\n#EXTINF:9,\nhttp://127.0.0.1:{port}/a.ts\n#EXT-X-ENDLIST\n",
    "ffconcat version 1.0\nfile '{secret}'\n",
    '<MPD xmlns="urn:mpeg:dash:schema:mpd:2011"><BaseURL>http://127.0.0.1:{port}/</BaseURL></MPD>',
)


@dataclass
class Outcome:
    """What a run came to; `bad` must stay empty."""

    ends: Counter[str] = field(default_factory=Counter)
    bad: list[str] = field(default_factory=list)
    slowest_s: float = 0.0


def seeds(folder: Path) -> list[bytes]:
    """Small real containers of each kind."""
    rng = np.random.default_rng(4)
    sound = Sound((0.1 * rng.standard_normal((24_000, 1))).astype(np.float32), 48_000)
    made = []
    for name, options in (
        ("a.mp4", {}),
        ("b.mp4", {"movflags": "frag_keyframe+empty_moov"}),
        ("c.mov", {}),
        ("d.mkv", {}),
        ("e.3gp", {}),
    ):
        path = folder / name
        frames = (np.full((36, 64), 10 * n, np.uint8) for n in range(12))
        write_film(path, frames, fps=24, sound=sound, container_options=options)
        made.append(path.read_bytes())
        path.unlink()
    path = folder / "f.webm"
    write_film(path, (np.full((36, 64), 10 * n, np.uint8) for n in range(12)), fps=24, sound=sound)
    made.append(path.read_bytes())
    path.unlink()
    return made


def damaged(chance: random.Random, made: list[bytes], secret: Path, port: int) -> bytes:
    """One input: a lie, or a real file with bytes changed, sizes replaced, pieces cut, doubled or mixed."""
    if chance.random() < 0.05:
        text = chance.choice(LIES).format(secret=secret, port=port).encode()
        return text if chance.random() < 0.5 else chance.choice(made)[: chance.randrange(4, 64)] + text
    data = bytearray(chance.choice(made))
    for _ in range(chance.choice((1, 1, 2, 4, 16, 64))):
        _damage(chance, data, made)
        if len(data) < 32:
            break
    return bytes(data)


def _damage(chance: random.Random, data: bytearray, made: list[bytes]) -> None:
    # Headers decide what happens; half of the damage goes there, in front or at the end of the file.
    span = min(len(data) - 8, 1_500)
    places = (chance.randrange(span), len(data) - 8 - chance.randrange(span), chance.randrange(len(data) - 8))
    at, kind = chance.choice(places), chance.randrange(6)
    if kind == 0:
        data[at] ^= 1 << chance.randrange(8)
    elif kind == 1:
        data[at] = chance.choice(INTERESTING)
    elif kind == 2:
        data[at : at + 4] = struct.pack(chance.choice("<>") + "I", chance.choice(SIZES))
    elif kind == 3:
        del data[at : at + chance.randrange(1, 400)]
    elif kind == 4:
        data[at:at] = data[at : at + chance.randrange(1, 400)]
    else:
        other = chance.choice(made)
        start = chance.randrange(len(other) - 8)
        data[at:at] = other[start : start + chance.randrange(8, 800)]


def run(count: int, seed: int, folder: Path) -> Outcome:
    """count inputs through locked children; folder must be empty and stays so but for the planted secret."""
    import_everything()
    outcome, chance = Outcome(), random.Random(seed)
    made = seeds(folder)
    secret, inputs = folder / "secret.txt", folder / "inputs"
    secret.write_bytes(SECRET)
    inputs.mkdir()
    with socket.create_server(("127.0.0.1", 0)) as server:
        for number in range(count):
            path = inputs / "take"
            path.write_bytes(damaged(chance, made, secret, server.getsockname()[1]))
            started = time.monotonic()
            end, output = _read(path)
            if end == "hang":  # a machine busy with other work passes the second time, a hang stays
                outcome.ends["read once more"] += 1
                started = time.monotonic()
                end, output = _read(path)
            outcome.slowest_s = max(outcome.slowest_s, time.monotonic() - started)
            outcome.ends[end] += 1
            if SECRET in output:
                outcome.bad.append(f"input {number}: the secret came out")
            if end in ("hang", "unfinished") or end.startswith(OWN_FAULT):
                outcome.bad.append(f"input {number}: {end}")
        if select.select([server], [], [], 0)[0]:
            outcome.bad.append("somebody connected to the listening socket")
    left = sorted(p.name for p in folder.rglob("*") if p.is_file())
    if left != ["secret.txt", "take"]:
        outcome.bad.append(f"files appeared: {left}")
    shutil.rmtree(inputs)
    secret.unlink()
    return outcome


def _read(path: Path) -> tuple[str, bytes]:
    """How reading ended ("read", a sentence, "crash", "hang", "limit") and all bytes that came out."""
    source, sink = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(source)
        _child(path, sink)
    os.close(sink)
    output, deadline, end = bytearray(), time.monotonic() + WALL_S, ""
    while not end:
        if not select.select([source], [], [], max(0.0, deadline - time.monotonic()))[0]:
            os.kill(process, signal.SIGKILL)
            end = "hang"
        elif piece := os.read(source, 1 << 16):
            output += piece
        else:
            break
    os.close(source)
    _, status = os.waitpid(process, 0)
    return end or _end(status, bytes(output)), bytes(output)


def _end(status: int, output: bytes) -> str:
    if os.WIFSIGNALED(status):
        return "limit" if os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL) else "crash"
    if output.endswith(wire.HEAD.pack(b"DONE", 0)):
        return "read"
    said = next((s for s in sentences.SAID_BY_CHILD if output.endswith(s.encode())), None)
    return said or (f"{OWN_FAULT}: {output[-120:]!r}" if os.WEXITSTATUS(status) == 3 else "unfinished")


def _child(path: Path, sink: int) -> None:
    """Never returns: locks in, reads, and leaves."""
    code = 0
    try:
        descriptor = os.open(path, os.O_RDONLY)
        lock_in(LIMITS)

        def write(data: bytes) -> None:
            view = memoryview(data)
            while view:
                view = view[os.write(sink, view) :]

        try:
            jobs.run(descriptor, {"job": "take", "max_s": 60.0}, write)
        except TooLong:
            wire.send(write, b"FAIL", sentences.TOO_LONG.encode())
        except MemoryError:
            wire.send(write, b"FAIL", sentences.TOO_HUNGRY.encode())
        except MediaError as error:
            wire.send(write, b"FAIL", str(error).encode())
    except BaseException as error:
        os.write(sink, repr(error).encode()[:200])
        code = 3
    os._exit(code)

"""Starts the reading child for one file, keeps it inside its limits, and turns its end into a value or a MediaError.

A crash, a hang, a bomb or nonsense on the pipe each become a MediaError with a sentence; nothing else happens.
"""

import json
import os
import selectors
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..errors import MediaError
from . import sentences, wire
from .locked import Limits

CHILD = Path(__file__).with_name("child.py")
# Measured on two cores of an ordinary server: a 90 s take at 4K60 HEVC needs 20 s of CPU and 0.4 GB. Six times that.
READ_CPU_S, READ_WALL_S = 120, 240.0
READ_MEMORY = 1536 << 20  # address space, of which a third is libraries and thread stacks
MAX_OUTPUT = 1 << 30  # bytes a child may send: 20 minutes of stereo sound at 48 kHz are 0.46 GB
READ_SIZE = 1 << 18

Cancelled = Callable[[], bool]


@contextmanager
def ordinary_file(path: Path | str) -> Iterator[int]:
    """An open descriptor of a regular file; links, devices, pipes and folders are refused without waiting on them."""
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except (OSError, ValueError) as error:
        raise MediaError(sentences.NOT_A_FILE) from error
    try:
        facts = os.fstat(descriptor)
        if not stat.S_ISREG(facts.st_mode):
            raise MediaError(sentences.NOT_A_FILE)
        if facts.st_size == 0:
            raise MediaError(sentences.EMPTY)
        yield descriptor
    finally:
        os.close(descriptor)


def blocks_from_child(
    path: Path | str,
    order: dict[str, Any],
    *,
    limits: Limits | None = None,
    wall_s: float = READ_WALL_S,
    extra: tuple[int, ...] = (),
    cancelled: Cancelled | None = None,
) -> Iterator[tuple[bytes, bytes]]:
    """(tag, payload) of every block the child sends for this order, DONE excluded; MediaError when it does not get there.

    extra: further open descriptors that the job's order names (files to write).
    """
    limits = limits or Limits(READ_CPU_S, READ_MEMORY)
    with ordinary_file(path) as descriptor:
        child = _start(descriptor, order | {"limits": asdict(limits)}, extra)
        try:
            yield from _listen(child, time.monotonic() + wall_s, cancelled)
        finally:
            _end(child)


def _start(descriptor: int, order: dict[str, Any], extra: tuple[int, ...]) -> "subprocess.Popen[bytes]":
    # One arena and one thread a library: address space is limited, and a child uses one processor.
    environment = {"MALLOC_ARENA_MAX": "1", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "LC_ALL": "C.UTF-8"}
    return subprocess.Popen(
        [sys.executable, "-I", "-B", str(CHILD), str(descriptor), json.dumps(order)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        pass_fds=(descriptor, *extra),
        env=environment,
        start_new_session=True,
        cwd="/",
        bufsize=0,
    )


def _listen(
    child: "subprocess.Popen[bytes]", deadline: float, cancelled: Cancelled | None
) -> Iterator[tuple[bytes, bytes]]:
    pipe = _Pipe(child, deadline, cancelled)
    total = 0
    while True:
        head = pipe.exactly(wire.HEAD.size)
        tag, length = wire.HEAD.unpack(head)
        total += length
        if tag not in wire.TAGS or length > wire.MAX_BLOCK or total > MAX_OUTPUT:
            raise MediaError(sentences.BROKEN)
        payload = pipe.exactly(length)
        if tag == b"DONE":
            return
        if tag == b"FAIL":
            text = payload.decode("utf-8", "replace")
            raise MediaError(text if text in sentences.SAID_BY_CHILD else sentences.BROKEN)
        yield tag, payload


class _Pipe:
    """The child's output with a deadline on every read."""

    def __init__(self, child: "subprocess.Popen[bytes]", deadline: float, cancelled: Cancelled | None) -> None:
        assert child.stdout is not None
        self.child, self.deadline, self.cancelled = child, deadline, cancelled
        self.descriptor = child.stdout.fileno()
        self.selector = selectors.DefaultSelector()
        self.selector.register(self.descriptor, selectors.EVENT_READ)

    def exactly(self, count: int) -> bytes:
        out = bytearray()
        while len(out) < count:
            left = self.deadline - time.monotonic()
            if left <= 0:
                raise MediaError(sentences.TOO_SLOW)
            if self.cancelled is not None and self.cancelled():
                raise MediaError(sentences.STOPPED)
            if not self.selector.select(min(left, 0.5)):
                continue
            piece = os.read(self.descriptor, min(READ_SIZE, count - len(out)))
            if not piece:
                raise MediaError(self._why())
            out += piece
        return bytes(out)

    def _why(self) -> str:
        """Why the child went silent, from how it ended."""
        try:
            code = self.child.wait(5)
        except subprocess.TimeoutExpired:
            return sentences.BROKEN
        if code in (-signal.SIGXCPU, -signal.SIGKILL):
            return sentences.TOO_SLOW
        return sentences.BROKEN


def _end(child: "subprocess.Popen[bytes]") -> None:
    """The child is gone when this returns, whatever it was doing."""
    if child.poll() is None:
        try:
            os.killpg(child.pid, signal.SIGKILL)
        except ProcessLookupError:
            child.kill()
    child.wait()
    if child.stdout is not None:
        child.stdout.close()

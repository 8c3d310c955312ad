"""The plain format between the reading child and the worker: blocks of a tag, a length and bytes. Never pickles.

The child has parsed a stranger's file, so what it sends is checked like a stranger's: known tags, bounded lengths,
finite numbers, shapes that fit their bytes. Layout of a block: 4 bytes tag, 8 bytes little-endian length, payload.
"""

import json
import math
import struct
from collections.abc import Callable
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import MediaError
from ..facts import ContainerFacts, Span
from . import sentences

HEAD = struct.Struct("<4sQ")
TAGS = (b"FACT", b"SNDH", b"SNDD", b"PACK", b"FRAM", b"FAIL", b"DONE", b"PART", b"PEAK")
MAX_BLOCK = 64 << 20  # no block is larger: sound and frames come in pieces
MAX_FACTS = 1 << 20
Write = Callable[[bytes], Any]


def send(write: Write, tag: bytes, payload: bytes | memoryview) -> None:
    write(HEAD.pack(tag, len(payload)))
    write(bytes(payload))


def send_facts(write: Write, facts: dict[str, Any]) -> None:
    send(write, b"FACT", json.dumps(facts).encode())


def send_frame(write: Write, at_s: float, kind: int, gray: NDArray[np.uint8]) -> None:
    """One gray frame: time, kind (see `taking`), height, width, pixels."""
    send(write, b"FRAM", struct.pack("<dIII", at_s, kind, *gray.shape) + gray.tobytes())


def read_frame(payload: bytes) -> tuple[float, int, NDArray[np.uint8]]:
    """Time, kind and pixels (h, w); MediaError when the block does not add up."""
    if len(payload) < 20:
        raise MediaError(sentences.BROKEN)
    at_s, kind, height, width = struct.unpack_from("<dIII", payload)
    if not math.isfinite(at_s) or height * width != len(payload) - 20 or height > 4096 or width > 4096:
        raise MediaError(sentences.BROKEN)
    return at_s, kind, np.frombuffer(payload, np.uint8, offset=20).reshape(height, width)


PACKET = np.dtype([("at_s", "<f8"), ("bytes", "<u4"), ("key", "u1")])  # one picture packet, shown ones only


def read_packets(payload: bytes) -> NDArray[Any]:
    """Records of PACKET; MediaError when the block does not add up."""
    if len(payload) % PACKET.itemsize:
        raise MediaError(sentences.BROKEN)
    packets = np.frombuffer(payload, PACKET)
    if not np.isfinite(packets["at_s"]).all():
        raise MediaError(sentences.BROKEN)
    return packets


def facts_of(payload: bytes) -> ContainerFacts:
    """ContainerFacts from the child's JSON, field by field and type by type."""
    if len(payload) > MAX_FACTS:
        raise MediaError(sentences.BROKEN)
    try:
        raw = json.loads(payload)
        return ContainerFacts(
            **{f.name: _checked(f.name, f.type, raw[f.name]) for f in fields(ContainerFacts) if f.name in raw}
        )
    except (ValueError, TypeError, KeyError) as error:
        raise MediaError(sentences.BROKEN) from error


def _checked(name: str, kind: Any, value: Any) -> Any:
    """The value in the field's own type; ValueError when it is something else or not finite."""
    if name == "dropped":
        return tuple(Span(_number(a), _number(b)) for a, b in value)
    if name == "sound_jumps":
        return tuple((_number(a), _number(b)) for a, b in value)
    if value is None:
        return None
    text = str(kind)
    if isinstance(value, bool):
        return value
    if "str" in text:
        return "".join(c for c in str(value)[:64] if c.isprintable())
    return int(_number(value)) if "int" in text else _number(value)


def _number(value: Any) -> float:
    number = float(value)
    if not math.isfinite(number) or abs(number) > 1e15:
        raise ValueError("not a usable number")
    return number

"""Copies of one performance: re-encoded, trimmed or mirrored, found without comparing every pair.

A person never plays the same strokes twice to the millisecond, and a re-encoded file keeps them to a part of one. So a
performance is its stroke times, in tenths of a millisecond. Four distances between neighbouring strokes, each rounded to
2 ms, make one key; a copy shares many keys with its original, two players of the same part almost none. Keys are plain
integers for a table; whoever shares SHARED of them is compared in full by `same`.

What a machine played (a leaked click, a guide on a loudspeaker) is alike in all takes of a part and is no evidence.
"""

import struct
from collections.abc import Iterable
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

UNIT_S = 0.0001  # resolution of a fingerprint
CELL_S = 0.002  # re-encoding moves strokes by 0.1 to 0.5 ms; the hands of two people differ by 5 to 20 ms
RUN = 4  # distances in a key: with players 5 ms apart two keys agree by chance once in some 10,000
MOST_KEYS = 96  # kept of a take: those with the smallest value, so that a trimmed copy keeps the same ones
SHARED = 3  # keys in common before two takes are compared in full
CLOSE_S = 0.0012
FEWEST = 10  # strokes that must agree
AGREE = 0.6  # of the strokes in the common stretch; two tight players (3 ms each) reach 0.25
GRID_SPREAD_S = 0.0008  # strokes this close to an even grid were played by a machine
MAX_STROKES = 20_000


def fingerprint(heard_s: Iterable[float]) -> bytes:
    """The stroke times of a take as little-endian 32-bit counts of UNIT_S since the first one; empty when there are none."""
    times = np.sort(np.asarray(list(heard_s), float))[:MAX_STROKES]
    if not len(times):
        return b""
    return bytes(np.round((times - times[0]) / UNIT_S).astype("<u4").tobytes())


def keys(print_: bytes) -> frozenset[int]:
    """Keys of a fingerprint for a table look-up, below 2**63; at most MOST_KEYS."""
    cells = np.round(np.diff(_times(print_)) / CELL_S).astype(np.int64)
    runs = {tuple(int(c) for c in cells[i : i + RUN]) for i in range(len(cells) - RUN + 1)}
    # Equal distances are what machines and rolls make; they say nothing about who played.
    hashed = sorted(_key(run) for run in runs if len(set(run)) > 1)
    return frozenset(hashed[:MOST_KEYS])


def _key(run: tuple[int, ...]) -> int:
    packed = struct.pack(f"<{len(run)}q", *run)
    return int.from_bytes(blake2b(packed, digest_size=8).digest(), "little") >> 1


def same(a: bytes, b: bytes) -> bool:
    """Whether two fingerprints are one performance, whole or in part."""
    first, second = _times(a), _times(b)
    if min(len(first), len(second)) < FEWEST:
        return False
    shift = _shift(first, second)
    moved = second + shift
    start, end = max(first[0], moved[0]) - CLOSE_S, min(first[-1], moved[-1]) + CLOSE_S
    left, right = first[(first >= start) & (first <= end)], moved[(moved >= start) & (moved <= end)]
    if min(len(left), len(right)) < FEWEST:
        return False
    nearest = _nearest(left, right)
    agreed = left[nearest < CLOSE_S]
    enough = max(FEWEST, AGREE * max(len(left), len(right)))
    return len(agreed) >= enough and not _machine_made(agreed)


def _shift(first: Floats, second: Floats) -> float:
    """The shift of the second that brings most of its strokes onto strokes of the first."""
    apart = np.sort((first[:, None] - second[None, :]).ravel())
    inside = np.searchsorted(apart, apart + 2 * CLOSE_S) - np.arange(len(apart))
    top = int(inside.argmax())
    return float(np.median(apart[top : top + int(inside[top])]))


def _nearest(left: Floats, right: Floats) -> Floats:
    place = np.searchsorted(right, left)
    below, above = right[np.clip(place - 1, 0, None)], right[np.clip(place, None, len(right) - 1)]
    return np.asarray(np.minimum(np.abs(left - below), np.abs(left - above)))


def _machine_made(times: Floats) -> bool:
    """Whether all strokes lie on one even grid as no hand could place them."""
    gaps = np.diff(times)
    shortest = float(np.percentile(gaps, 10))
    for parts in (1, 2, 3):
        step = shortest / parts
        if step < 0.02:
            break
        for _ in range(6):  # the step is refined over the whole stretch
            counts = np.round((times - times[0]) / step)
            step, start = (float(v) for v in np.polyfit(counts, times, 1))
        if float(np.std(times - start - step * np.round((times - start) / step))) < GRID_SPREAD_S:
            return True
    return False


def _times(print_: bytes) -> Floats:
    whole = len(print_) // 4 * 4
    return np.frombuffer(print_[:whole], "<u4").astype(np.float64) * UNIT_S


class Index:
    """Takes of one call by key; each new take costs its own keys, whatever the number of takes before it."""

    def __init__(self) -> None:
        self._prints: dict[str, bytes] = {}
        self._by_key: dict[int, list[str]] = {}

    def add(self, name: str, print_: bytes) -> tuple[str, ...]:
        """Add a take; the names of earlier takes that are the same performance."""
        votes: dict[str, int] = {}
        own = keys(print_)
        for key in own:
            for other in self._by_key.get(key, ()):
                votes[other] = votes.get(other, 0) + 1
        found = tuple(n for n, count in votes.items() if count >= SHARED and same(self._prints[n], print_))
        for key in own:
            self._by_key.setdefault(key, []).append(name)
        self._prints[name] = print_
        return found

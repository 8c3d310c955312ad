"""Strokes in the ring of the one before: a power that the ring alone does not explain, where the page wants a stroke.

Conventions: seconds of file time; frames and bands are those of novelty.py; log likelihoods in nats a band.

A tap in the tail of an accent hardly raises the spectrum, so it is no candidate of its own. But the take itself shows
what a stroke is like, band by band, and the page says where to ask. The power of a band that rings is distributed
exponentially around its mean (the sum of many modes and reflections). Whether what is measured was drawn around the
tail's mean, or around tail and stroke together, is a likelihood ratio, in which a band counts by how far a stroke
would stand out of it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .events import LEAST_SPREAD_S, MAD_TO_SD, MOST_SPREAD_S, smooth_late
from .novelty import HOP_S, Novelty

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

TAIL_FRAMES = (2, 3, 4, 5, 6)  # before a stroke's own window: their mean is the tail it falls into
ATTACK_FRAMES = (0, 1, 2)  # of a stroke: the window fills in these
GAINS_DB = (0.0, -5.0, -10.0)  # a tap under the middling stroke that the template shows
LEAST_BAND, MOST_BAND = -3.0, 6.0  # nats: one band's word is bounded
LEAST_NATS = 0.08  # mean over the bands; in tails without a stroke one place in ten shows as much (seeds under 10 000)
NATS_WEIGHT = 8.0  # bands that tell on their own: windows overlap, and a room's modes are wider than a band
REACH_SPREADS, REACH_S = 2.2, 0.040
CLEAR_OF_S = 0.018  # from any stroke that was found
CLEAR_DB, LEAST_CLEAR = 5.0, 5  # what shows the template
NEIGHBOURS, LEAST_FOUND = 4, 0.6  # written strokes to either side, and the share of them that was found


@dataclass(frozen=True)
class Heard:
    """What has been found so far: candidates with their frames and rise, and which event each one is."""

    times_s: Array
    frames: Index
    rise_db: Array
    of_event: Index


def find_masked(novelty: Novelty, due_s: Array, heard: Heard, taken_s: Array) -> dict[int, float]:
    """Event -> time of those that the ring of another stroke hides; taken_s, sorted, is all that was found."""
    hit = heard.of_event >= 0
    own = heard.of_event[hit]
    shown = heard.frames[own][heard.rise_db[own] > CLEAR_DB]
    if len(shown) < LEAST_CLEAR or hit.all():
        return {}
    late = heard.times_s[own] - due_s[hit]
    curve = smooth_late(due_s[hit], late, due_s)
    spread = 1.1 * MAD_TO_SD * float(np.median(np.abs(late - curve[hit])))
    spread = float(np.clip(spread, LEAST_SPREAD_S, MOST_SPREAD_S))
    early = float(np.median(shown * HOP_S - heard.times_s[own][heard.rise_db[own] > CLEAR_DB]))  # feet before frames
    attack = [np.median(_power(novelty, shown + k), axis=0) for k in ATTACK_FRAMES]
    out: dict[int, float] = {}
    for n in np.flatnonzero(~hit & _among_found(hit)).tolist():
        at = _asked(due_s[n] + curve[n], spread, taken_s)
        if not len(at):
            continue
        nats = _stroke_or_tail(novelty, np.round(at / HOP_S).astype(np.int64), attack)
        if nats.max() > LEAST_NATS:
            likely = NATS_WEIGHT * nats - 0.5 * ((at - due_s[n] - curve[n]) / spread) ** 2
            share = np.exp(likely - likely.max())
            out[n] = float(share @ at / share.sum()) - early
    return out


def _among_found(hit: Mask) -> Mask:
    """Which events lie among found ones: where a whole stretch is silent nothing is masked."""
    ones = np.ones(2 * NEIGHBOURS + 1)
    among: Mask = np.convolve(hit, ones, "same") >= LEAST_FOUND * (np.convolve(np.ones(len(hit)), ones, "same") - 1)
    return among


def _asked(due_s: float, spread_s: float, taken_s: Array) -> Array:
    """The times of the frames at which a stroke due at due_s may lie."""
    reach = min(REACH_SPREADS * spread_s, REACH_S)
    at = np.arange(int((due_s - reach) / HOP_S), int((due_s + reach) / HOP_S) + 1) * HOP_S
    after = np.searchsorted(taken_s, at)
    last = len(taken_s) - 1
    near = np.minimum(np.abs(at - taken_s[np.clip(after - 1, 0, last)]), np.abs(at - taken_s[np.clip(after, 0, last)]))
    free: Array = at[near > CLEAR_OF_S].astype(np.float64)
    return free


def _stroke_or_tail(novelty: Novelty, frames: Index, attack: list[Array]) -> Array:
    """Mean log likelihood ratio a band of "a stroke began here" over "the tail goes on", the best gain; shape (n,)."""
    tail = np.mean([_power(novelty, frames - k) for k in TAIL_FRAMES], axis=0)
    best = np.full(len(frames), -np.inf)
    for gain in GAINS_DB:
        nats = np.zeros(len(frames))
        for k, shape in zip(ATTACK_FRAMES, attack, strict=True):
            both, now = tail + 10 ** (gain / 10) * shape, _power(novelty, frames + k)
            nats += np.clip(now / tail - now / both - np.log(both / tail), LEAST_BAND, MOST_BAND).mean(axis=1)
        best = np.maximum(best, nats / len(ATTACK_FRAMES))
    return best


def _power(novelty: Novelty, frames: Index) -> Array:
    return novelty.power[np.clip(frames, 0, len(novelty.power) - 1)].astype(np.float64) + novelty.floor

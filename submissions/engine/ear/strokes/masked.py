"""Strokes in the ring of the one before: a power that the ring alone does not explain, where the page wants a stroke.

Conventions: seconds of file time; frames and bands are those of novelty.py; log likelihoods in nats a band.

A tap in the tail of an accent hardly raises the spectrum: it is no candidate of its own, or a flicker beside it rises
more and is taken for it. But the take itself shows what a stroke is like, band by band, and the page says where to
ask. The power of a band that rings is distributed exponentially around its mean (the sum of many modes and
reflections). Whether what is measured was drawn around the tail's mean, or around tail and stroke together, is a
likelihood ratio, in which a band counts by how far a stroke would stand out of it. Over 20 ms it finds the place of
a stroke that rises by less than 4 dB in two cases of three, the rise alone in one of two.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ..struck.novelty import HOP_S, PICK_S, TINY, Novelty

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

TAIL_FRAMES = (-4, -1)  # from, up to, told from a stroke's frame: their mean is the tail it falls into
STROKE_FRAMES = 8  # 20 ms from its first frame on: longer, and a neighbour's attack would count
GAINS_DB = (0.0, -5.0, -10.0)  # a tap under the middling stroke that the template shows
LEAST_BAND, MOST_BAND = -3.0, 6.0  # nats: one band's word is bounded
# Nats for a stroke from the mean over the bands, by logistic regression on what lies about faint and left-out strokes
# of 58 takes with real hits (seeds under 10 000), then made steeper, so that what was left out stays missing.
NATS_BASE, NATS_WEIGHT, LEAST_MEAN = 2.0, 2.8, 0.02
REACH_SPREADS, LEAST_REACH_S, MOST_REACH_S = 2.5, 0.030, 0.060  # about where a stroke is due
CLEAR_OF_S = 0.018  # from any stroke that is heard plainly
FAINT_DB = 4.0  # what rises less is asked again
CLEAR_DB, LEAST_CLEAR_DB = 5.0, 2.5  # what shows the template, and where few are so clear
LEAST_CLEAR, ENOUGH_CLEAR, MOST_CLEAR = 8, 30, 100
SAME_FRAMES = 2  # a candidate so near is the same stroke


@dataclass(frozen=True)
class Heard:
    """What has been found so far: candidates with their frames and rise, and which event each one is."""

    times_s: Array
    frames: Index
    rise_db: Array
    of_event: Index


@dataclass(frozen=True)
class Asked:
    """Frames at which a stroke may hide, sorted, and what each of them says for a stroke."""

    frames: Index
    nats: Array  # mean over the bands; 0: as likely the tail

    def unheard(self, frames: Index) -> Index:
        """Where a stroke is likelier than its tail, more so than beside it, and none of `frames` is."""
        if not len(self.frames):
            return self.frames
        first = self.frames[0]
        line = np.full(self.frames[-1] - first + 1, -np.inf)
        line[self.frames - first] = self.nats
        top = ndimage.maximum_filter1d(line, 2 * round(PICK_S / HOP_S) + 1, mode="constant", cval=-np.inf)
        best = self.frames[(self.nats >= top[self.frames - first]) & (self.nats > 0)]
        near = np.abs(best[:, None] - frames[None, :]).min(axis=1, initial=SAME_FRAMES + 1)
        out: Index = best[near > SAME_FRAMES]
        return out

    def evidence(self, frames: Index) -> Array:
        """Nats for a stroke at each of `frames` against a flicker, as evidence.py tells them; nan: nobody asked."""
        most = np.full(len(frames), -np.inf)
        if len(self.frames):
            for k in range(-SAME_FRAMES, SAME_FRAMES + 1):
                at = np.minimum(np.searchsorted(self.frames, frames + k), len(self.frames) - 1)
                most = np.maximum(most, np.where(self.frames[at] == frames + k, self.nats[at], -np.inf))
        nats = NATS_BASE + NATS_WEIGHT * np.log(np.maximum(most, LEAST_MEAN))
        out: Array = np.where(np.isneginf(most), np.nan, nats)
        return out


def ask(novelty: Novelty, due_s: Array, spread_s: float, heard: Heard) -> Asked | None:
    """What lies about the events, due at due_s, that were heard faintly or not at all; None: too little is clear."""
    hit = heard.of_event >= 0
    own = heard.of_event[hit]
    rise = heard.rise_db[own]
    shown = own[rise > _clear_db(rise)]
    if len(shown) < LEAST_CLEAR:
        return None
    shown = shown[:: 1 + len(shown) // MOST_CLEAR]
    early_s = float(np.median(heard.frames[shown] * HOP_S - heard.times_s[shown]))  # feet before frames
    faint = np.ones(len(due_s), bool)
    faint[hit] = rise < FAINT_DB
    size = len(novelty.power)
    reach_s = min(max(REACH_SPREADS * spread_s, LEAST_REACH_S), MOST_REACH_S)
    wanted = _about(due_s[faint] + early_s, reach_s, size)
    frames = np.flatnonzero(wanted & ~_about(heard.times_s[own[rise >= FAINT_DB]] + early_s, CLEAR_OF_S, size))
    inside = np.minimum(heard.frames[shown][:, None] + np.arange(STROKE_FRAMES)[None, :], size - 1)
    stroke = np.median(novelty.power[inside].mean(axis=1, dtype=np.float64), axis=0)
    return Asked(frames, stroke_or_tail(novelty, frames, stroke))


def _clear_db(rise_db: Array) -> float:
    """The rise that makes a stroke clear: less where few strokes reach it, as with drums that brush or swell."""
    if len(rise_db) <= ENOUGH_CLEAR:
        return LEAST_CLEAR_DB
    enough = float(np.partition(rise_db, -ENOUGH_CLEAR)[-ENOUGH_CLEAR])
    return min(CLEAR_DB, max(LEAST_CLEAR_DB, enough))


def _about(times_s: Array, reach_s: float, size: int) -> Mask:
    """Which of `size` frames lie within reach of one of times_s."""
    edges = np.zeros(size + 1, np.int64)
    np.add.at(edges, np.clip(((times_s - reach_s) / HOP_S).astype(np.int64), 0, size), 1)
    np.add.at(edges, np.clip(((times_s + reach_s) / HOP_S).astype(np.int64) + 1, 0, size), -1)
    about: Mask = np.cumsum(edges[:-1]) > 0
    return about


def stroke_or_tail(novelty: Novelty, frames: Index, stroke: Array) -> Array:
    """Mean log likelihood ratio a band of "a stroke began here" over "the tail goes on", the best gain; shape (n,).

    stroke, shape (bands,), is the mean power of a middling stroke over STROKE_FRAMES.
    """
    # Running sums over the frames that are looked at: each is part of many means.
    last = len(novelty.power) - 1
    seen = np.zeros(last + 1, bool)
    for k in range(TAIL_FRAMES[0], STROKE_FRAMES):
        seen[np.clip(frames + k, 0, last)] = True
    place = np.concatenate([[0], np.cumsum(seen)])
    power = novelty.power[seen] + novelty.floor
    running = np.concatenate([np.zeros((1, power.shape[1])), np.cumsum(power, axis=0, dtype=np.float64)])

    def mean(first: Index, stop: Index) -> Array:
        low, high = place[np.clip(first, 0, last)], place[np.clip(stop, 1, last + 1)]
        out: Array = (running[high] - running[low]) / np.maximum(high - low, 1)[:, None]
        return out

    tail = mean(frames + TAIL_FRAMES[0], frames + TAIL_FRAMES[1]) + TINY
    over = mean(frames, frames + STROKE_FRAMES) / tail
    best = np.full(len(frames), -np.inf)
    for gain in GAINS_DB:
        share = 10 ** (gain / 10) * stroke / tail
        nats = np.clip(over * (share / (1 + share)) - np.log1p(share), LEAST_BAND, MOST_BAND)
        best = np.maximum(best, nats.mean(axis=1))
    return best

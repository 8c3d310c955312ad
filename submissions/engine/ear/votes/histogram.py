"""Votes for where a page lies on a recording: every heard time minus every written time, one tempo at a time.

Conventions: as in `ballot`. The page answers every heard stroke with the log of its own rate of strokes there (a bump
at every written one, a plateau in a buzz) over the rate of chance; summed over all that was heard this is the log
likelihood of a Poisson process. The sum over all places at once is a correlation, by Fourier transform.
"""

from collections.abc import Iterator
from copy import copy
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from .page import Page

Array = NDArray[np.float64]
Votes = NDArray[np.float32]

BIN_S = 0.008
BLUR_S = 0.014  # between a good player's spread and a beginner's
TAPS = np.arange(-6, 7)  # bins of a bump: 3.4 blurs to both sides
HIT = 0.95  # share of written strokes that are heard, for one that plays the part
BUZZ_RATE = 14.0  # strokes a second that are heard inside a buzz; measured on made takes
NEAR_TEMPO = 0.03  # how far a player without a click in the ear is followed as a matter of course
WIDE_TEMPO = (0.6, 1.65)
EXCERPT_S = 15.0  # enough strokes to tell a tempo, few enough seconds to try them all
STEP_BLURS = 1.5  # the page's end may be this far off between two tempi that are tried
BATCH = 16  # tempi transformed at once


class Histogram:
    """The votes for one page among all that was heard."""

    def __init__(self, heard: Array, page: Page, longest: float) -> None:
        self.page, self.train = page, heard
        self.chance = max(1.0, 0.2 * len(heard) / max(1.0, float(heard[-1] - heard[0])))
        self._fit(longest)

    def _fit(self, longest: float) -> None:
        """Make room for the page at its longest, so that votes do not run into each other."""
        self.room = int((self.page.end_s * longest + 1.0) / BIN_S)
        self.size = fft.next_fast_len(int((self.train[-1] + 1.0) / BIN_S) + self.room + 2, real=True)
        train = np.bincount(np.round(self.train / BIN_S).astype(np.int64), minlength=self.size)
        self.heard = fft.rfft(train.astype(np.float32))

    def at(self, stretches: Array) -> Votes:
        """Nats for every place, (stretches, size), bins of BIN_S; places before the file are at the end."""
        answers = np.empty((len(stretches), self.size), np.float32)
        for row, stretch in zip(answers, stretches.tolist(), strict=True):
            places = self.page.at_s * (stretch / BIN_S)
            near = np.round(places).astype(np.int64)[:, None] + TAPS[None, :]
            bumps = np.exp(-0.5 * ((near - places[:, None]) * (BIN_S / BLUR_S)) ** 2)
            rate: Array = (
                HIT / (np.sqrt(2 * np.pi) * BLUR_S) * np.bincount(near.ravel() % self.size, bumps.ravel(), self.size)
            )
            for begin, end in np.round(self.page.buzz_s * (stretch / BIN_S)).astype(np.int64).tolist():
                rate[begin : end + 1] += BUZZ_RATE
            row[:] = rate / self.chance
        np.log1p(answers, out=answers)
        votes: Votes = fft.irfft(self.heard * np.conj(fft.rfft(answers, axis=1)), self.size, axis=1)
        return votes

    def heights(self, stretches: Array) -> Array:
        """The most nats that each stretch reaches anywhere, shape of stretches."""
        pieces = [self.at(stretches[k : k + BATCH]).max(axis=1) for k in range(0, len(stretches), BATCH)]
        return np.concatenate([*pieces, np.zeros(0)]).astype(np.float64)

    def excerpt(self, seconds: float) -> "Histogram":
        """The same with a page that ends after so many seconds."""
        out = copy(self)
        short = self.page.at_s < seconds
        buzz = self.page.buzz_s[self.page.buzz_s[:, 0] < seconds]
        end_s = min(self.page.end_s, seconds)
        out.page = replace(
            self.page, at_s=self.page.at_s[short], level=self.page.level[short], buzz_s=buzz, end_s=end_s
        )
        out._fit(WIDE_TEMPO[1])
        return out

    def peaks(self, stretch: float, count: int) -> list[float]:
        """The `count` likeliest zeros at one stretch, seconds, best first."""
        votes = self.at(np.array([stretch]))[0]
        top = (votes >= np.roll(votes, 1)) & (votes > np.roll(votes, -1))
        places = np.flatnonzero(top)
        places = places[np.argsort(votes[places])[::-1][:count]]
        limit = self.size - self.room
        return [float((p if p < limit else p - self.size) * BIN_S) for p in places]

    def tempi(self) -> Iterator[tuple[Array, bool]]:
        """(stretches to try, whether they are exact), the likelier first: a ladder's tempi, nearly this one, any."""
        page, (low, high) = self.page, WIDE_TEMPO
        whole = np.arange(np.ceil(page.bpm * low), np.floor(page.bpm * high) + 1)
        yield page.bpm / whole, True
        fine = STEP_BLURS * BLUR_S / max(page.end_s, 1.0)
        yield np.arange(1 - NEAR_TEMPO, 1 + NEAR_TEMPO, fine), False
        short = self.excerpt(EXCERPT_S)
        step = STEP_BLURS * BLUR_S / max(min(page.end_s, EXCERPT_S), 1.0)
        wide = np.exp(np.arange(np.log(low), np.log(high), step))
        best = wide[np.argsort(short.heights(wide))[::-1][:3]]
        yield np.concatenate([s * (1 + np.arange(-step, step, fine)) for s in best]), False

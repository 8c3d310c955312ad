"""Takes whose every stroke is known, and what the ear made of them; shared by the tests of strokes and timing."""

from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

from submissions.engine.ear.listen import listen
from submissions.engine.facts import Sound
from submissions.engine.rehearsal.pages import PageSpec, invent_part
from submissions.engine.rehearsal.spec import GOOD, Leak, Noise, Room, TakeSpec
from submissions.engine.rehearsal.take import make_take

# Real CC0 hits, see tests/data/hits/CREDITS.txt; each begins within 0.6 ms of its file.
HITS = Path(__file__).parents[2] / "data" / "hits"
ROOM = TakeSpec(skill=GOOD, room=Room(0.35, 6.0), noise=Noise(-55.0), leak=Leak(-24.0))


@lru_cache(maxsize=16)
def hit(name):
    """A real hit cut at its foot, and its rate."""
    wave, rate = soundfile.read(HITS / f"{name}.flac", always_2d=True)
    wave = wave.mean(axis=1)
    return wave[int(np.argmax(np.abs(wave) > 0.03 * np.abs(wave).max())) :], rate


def struck(name, times_s, loud=None, noise=1e-4, seed=3):
    """Real hits at known samples: the sound, its rate and the true times."""
    wave, rate = hit(name)
    at = np.round(np.asarray(times_s) * rate).astype(int)
    out = np.random.default_rng(seed).normal(0, noise, at[-1] + 2 * rate)
    for n, k in enumerate(at):
        piece = wave[: len(out) - k]
        out[k : k + len(piece)] += piece * (0.8 if loud is None else loud[n])
    return out.astype(np.float32), rate, at / rate


@lru_cache(maxsize=16)
def take_of(spec=ROOM, seed=21, **page):
    return make_take(invent_part(PageSpec(**{"bars": 8, **page}), seed), spec, seed)


@lru_cache(maxsize=16)
def ear_of(spec=ROOM, seed=21, **page):
    take = take_of(spec, seed, **page)
    return take, listen(take.sound, take.part, spec.count_off_bars)


def listen_to(mono, rate, part, count_off_bars=2):
    return listen(Sound(np.asarray(mono, np.float32)[:, None], rate), part, count_off_bars)


def recall(take, strokes, kind, window_s=0.025):
    """Share of the played strokes of this kind that have their own played time within the window."""
    true = {n: at for n, at in take.truth.played if take.part.strokes[n].kind == kind}
    found = {p.index: p.played_s for p in strokes.strokes if p.played_s is not None}
    return sum(n in found and abs(found[n] - at) <= window_s for n, at in true.items()) / len(true)

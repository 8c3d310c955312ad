"""Small takes whose zero is known, and what the ear says of them; shared by the tests of zero."""

from functools import lru_cache

from submissions.engine.ear.alignment import align
from submissions.engine.ear.struck.onsets import detect
from submissions.engine.music.click import click_layout
from submissions.engine.rehearsal.pages import PageSpec, invent_part
from submissions.engine.rehearsal.spec import GOOD, Leak, Marks, Noise, Phone, Room, TakeSpec
from submissions.engine.rehearsal.take import make_take

COUNT_OFF_BARS = 2
QUIET_ROOM = TakeSpec(skill=GOOD, room=Room(0.3, 6.0), noise=Noise(-55.0), phone=Phone(clock_ppm=37.0))


@lru_cache(maxsize=32)
def part_of(instrument="snare", bars=8, seed=11, bpm=120.0, drum="all"):
    return invent_part(PageSpec(instrument, drum=drum, bars=bars, bpm=bpm), seed)


@lru_cache(maxsize=32)
def take_of(spec, instrument="snare", bars=8, seed=11, drum="all"):
    return make_take(part_of(instrument, bars, seed, drum=drum), spec, seed)


def hear(mono, rate, part):
    return align(mono, rate, part, click_layout(part, COUNT_OFF_BARS), detect(mono, rate))


def heard(take):
    return hear(take.sound.mono, take.sound.rate, take.part)


def off_ms(take, zero_s):
    """How far zero_s lies from the truth."""
    return 1e3 * (zero_s - take.truth.zero_s)


def off_played_ms(take, zero_s):
    """How far zero_s lies from where the mean deviation of the strokes is nought."""
    return off_ms(take, zero_s) - take.truth.bias_ms


MARKED = Marks(level_db=-20.0)
LEAKED = Leak(level_db=-20.0)

"""Small takes for the tests of the rehearsal room."""

from submissions.engine.rehearsal.pages import PageSpec, invent_part
from submissions.engine.rehearsal.spec import Noise, TakeSpec

NO_NOISE = TakeSpec(noise=Noise(None))


def small_part(instrument: str = "snare", bars: int = 4, seed: int = 1, **changes):
    return invent_part(PageSpec(instrument, bars=bars, **changes), seed)

"""Is it certain where bar 1 begins?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "unsure-of-zero"
DO = (
    "Nothing is lost: a person will look. Next time let the camera hear the chirps at the start and the end of the click: hold one earphone to the phone, then put it on."
)


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    zero = facts.zero
    if part is None or facts.level.silent or not facts.container.has_sound or zero.sure:
        return
    if zero.zero_s is None:
        yield Finding(CODE, Level.LOOK, "It could not be told where bar 1 begins.", DO)
        return
    other = f" It might also be at {zero.runner_up_s:.2f} s." if zero.runner_up_s is not None else ""
    yield Finding(CODE, Level.LOOK, f"It is not certain that bar 1 begins at {zero.zero_s:.2f} s.{other}", DO, (zero.zero_s,))

"""Is it certain where bar 1 begins?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "unsure-of-zero"
DO = (
    "Nothing is lost: a person will look. Next time let the camera hear the chirps at the start and the end of the click: hold one earphone to the phone, then put it on."
)

SOONER = "Nothing is lost: a person will look. Next time start the camera before the count-off, and let it hear the chirps at the start of the click."
SHOWN_S = 0.01  # two times that are said with the same figures are no choice


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    zero = facts.zero
    if part is None or facts.level.silent or not facts.container.has_sound or zero.sure:
        return
    if zero.zero_s is None:
        yield Finding(CODE, Level.LOOK, "It could not be told where bar 1 begins.", DO)
        return
    if zero.zero_s < 0:
        yield Finding(CODE, Level.LOOK, "It is not certain where bar 1 begins: the recording seems to begin after it.", SOONER)
        return
    runner_up_s = zero.runner_up_s
    if runner_up_s is None or runner_up_s < 0 or abs(runner_up_s - zero.zero_s) < SHOWN_S:
        other = ""
    else:
        other = f" It might also be at {runner_up_s:.2f} s."
    yield Finding(CODE, Level.LOOK, f"It is not certain that bar 1 begins at {zero.zero_s:.2f} s.{other}", DO, (zero.zero_s,))

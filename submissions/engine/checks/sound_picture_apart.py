"""Does the sound sit apart from the picture by more than anybody should see?

Sign: `sound_late_ms` is sound minus picture, late is positive. The standards below print the opposite sign
(positive = sound early); their limits are turned round here.
"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "sound-picture-apart"
# EBU R37, end of the chain: sound at most 40 ms early or 60 ms late (as quoted by secondary sources).
EARLY_MS, LATE_MS = -40.0, 60.0
# ITU-R BT.1359-1 (1998), recommends 2: acceptable from 90 ms early to 185 ms late.
EARLY_LIMIT_MS, LATE_LIMIT_MS = -90.0, 185.0

HELP = "Use the phone's own camera app and its own microphone, no wireless one. An editor can move the sound, within limits."


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    late, sd = facts.motion.sound_late_ms, facts.motion.sd_ms or 0.0
    if late is None and facts.motion.beyond_ms is not None:
        word = "after" if facts.motion.beyond_ms > 0 else "before"
        # How far is not known, so nobody is asked to play again for it alone.
        yield Finding(
            CODE,
            Level.LOOK,
            f"The sound comes well {word} the picture; by how much cannot be told.",
            HELP,
        )
    # Only what lies outside by more than its own uncertainty is said.
    if late is None or EARLY_MS - sd <= late <= LATE_MS + sd:
        return
    bad = not EARLY_LIMIT_MS - sd <= late <= LATE_LIMIT_MS + sd
    word = "after" if late > 0 else "before"
    yield Finding(
        CODE,
        Level.REDO if bad else Level.LOOK,
        f"The sound comes {abs(late):.0f} ms {word} the picture, and the eye notices.",
        HELP,
    )

"""Is the recording so quiet that lifting it would lift its noise into the picture?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "too-quiet"
LIMIT_PEAK_DB = -36.0  # chosen: lifting by more than 30 dB brings a phone's own noise (about -70 dB) to -40 dB


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    level = facts.level
    if level.silent or not facts.container.has_sound or level.peak_db > LIMIT_PEAK_DB:
        return
    yield Finding(
        CODE,
        Level.LOOK,
        f"The drums are very quiet: the loudest stroke reaches {level.peak_db:.0f} dB of full scale.",
        "Put the phone nearer (two to three metres) and see that nothing covers the microphone.",
    )

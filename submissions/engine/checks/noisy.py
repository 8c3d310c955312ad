"""Do the strokes stand clear of the noise?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "noisy"
LIMIT_DB = 18.0  # chosen: below it the noise is heard between the strokes and adds up over a whole line
LIMIT_HUM_DB = -50.0  # chosen: twenty takes add it up by 13 dB in power
WIND = "Wind blows into the microphone."


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    level = facts.level
    if level.silent or not facts.container.has_sound:
        return
    if level.strokes_over_noise_db < LIMIT_DB or level.wind:
        says = f"Noise lies only {max(0.0, level.strokes_over_noise_db):.0f} dB under the strokes."
        do = "Record in a quieter room, with fans and traffic shut out, and put the phone nearer to the drum."
        yield Finding(CODE, Level.LOOK, f"{WIND} {says}" if level.wind else says, do)
    if level.hum_db > LIMIT_HUM_DB:
        yield Finding(CODE, Level.NOTE, "Mains hum can be heard.", "Keep the phone and its cable away from chargers, lamps and amplifiers.")
    if level.dead_channel:
        yield Finding(CODE, Level.NOTE, "One of the two sound channels is empty.", "Nothing to do: the other channel is used.")
    if level.talk_at_s:
        yield Finding(CODE, Level.NOTE, "There is talking during the playing.", "If you can, ask for quiet while you record.", level.talk_at_s)

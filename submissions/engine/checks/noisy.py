"""Do the strokes stand clear of the noise?"""

from collections.abc import Iterator

from ..facts import TakeFacts
from ..findings import Finding, Level
from ..music.written import Part

CODE = "noisy"
# Chosen: noise peaks lie some 12 dB over its mean power, so at 25 dB they are 13 dB under the strokes: heard between them,
# and twenty takes add it up. Good generated takes show 30 dB and more.
LIMIT_DB = 25.0
LIMIT_HIDING_DB, HIDING_SHARE = 30.0, 0.8  # where many strokes are not found at all, the noise hides them
LIMIT_PUMPING_NOTE_DB, LIMIT_PUMPING_LOOK_DB = 3.0, 8.0  # steady gain measures under 0.5; 8 dB of breathing are heard in a mix
LIMIT_HUM_DB = -50.0  # chosen: twenty takes add it up by 13 dB in power
# Voiced speech. Of 341 made takes without talk none shows more than 0.10, where it is known when the playing begins and
# ends; with talk within 12 dB of the strokes two in three are over the limit.
LIMIT_TALK_S = 0.12
WIND = "Wind blows into the microphone."


def check(facts: TakeFacts, part: Part | None) -> Iterator[Finding]:
    level = facts.level
    if level.silent or not facts.container.has_sound:
        return
    limit = LIMIT_HIDING_DB if facts.strokes.matched < HIDING_SHARE * facts.strokes.written else LIMIT_DB
    if level.strokes_over_noise_db < limit or level.wind:
        says = f"Noise lies only {max(0.0, level.strokes_over_noise_db):.0f} dB under the strokes."
        do = "Record in a quieter room, with fans and traffic shut out, and put the phone nearer to the drum."
        yield Finding(CODE, Level.LOOK, f"{WIND} {says}" if level.wind else says, do)
    if level.talk_s >= LIMIT_TALK_S and level.talk_at_s is not None:
        says, do = "It sounds as if somebody speaks while you play.", "Ask for silence in the room until your last note has died away."
        yield Finding(CODE, Level.NOTE, says, do, (level.talk_at_s,))
    if level.hum_db > LIMIT_HUM_DB:
        yield Finding(CODE, Level.NOTE, "Mains hum can be heard.", "Keep the phone and its cable away from chargers, lamps and amplifiers.")
    if level.dead_channel:
        yield Finding(CODE, Level.NOTE, "One of the two sound channels is empty.", "Nothing to do: the other channel is used.")
    if level.pumping_db >= LIMIT_PUMPING_NOTE_DB:
        yield Finding(
            CODE,
            Level.LOOK if level.pumping_db >= LIMIT_PUMPING_LOOK_DB else Level.NOTE,
            f"The phone changes its recording level by itself: in the pauses the noise comes up by {level.pumping_db:.0f} dB.",
            "If the camera has a setting for automatic sound level, switch it off; otherwise put the phone further away.",
        )

"""What is said about ears, hands and the law, in one place for pages and sheets; plain words with their source.

General information, not advice for one person: each text defers to local law and licensed care. `minutes_at` is the
arithmetic behind the figures, so that no page invents its own.
"""

REL_DBA, REL_MINUTES, EXCHANGE_DB = 85.0, 480.0, 3.0  # NIOSH Publication 98-126 (1998): 85 dBA for 8 hours, 3 dB rate


def gettext_noop(text: str) -> str:
    """Marks a text for the translators, who look for this word; the engine itself translates nothing."""
    return text


HEARING = gettext_noop(
    "Drums are loud enough to harm hearing for good. Wear ear plugs or closed headphones at the drum, and keep the "
    "click as low as you can still follow."
)
HEARING_FIGURES = gettext_noop(
    "Workplace guidance (NIOSH 98-126): 85 dBA for 8 hours, and half the time for every 3 dB more: 100 dBA for 15 minutes. "
    "For headphones (WHO-ITU H.870): no more than 80 dBA for 40 hours a week; less for children."
)
HEARING_SIGNS = gettext_noop(
    "If your ears ring or sounds seem dull afterwards, stop, rest them, and see a licensed clinician if it stays."
)
LOUD_LINES = gettext_noop(
    "Drummers in marching groups are often above 100 dB. All six students of one study got more than a whole day's dose "
    "at rehearsals and games (Keefe, 2005)."
)
HANDS = gettext_noop(
    "Warm up slowly, rest between runs, and stop when it hurts: pain is not practice. If it stays, see a licensed clinician."
)
PLAYING_HURTS = gettext_noop(
    "Playing hurts many: 68 of 100 drum-set players have had trouble from playing, most of all wrists and lower back "
    "(Azar, 2020). Those who were never taught how to prevent it, almost twice as often."
)
WARM_UP = gettext_noop(
    "Warm up for ten minutes at half the tempo. Rest five minutes in every half hour (common practice). Climb the tempo "
    "ladder step by step."
)
LAW = gettext_noop("This is general information. Local law and licensed professionals come first.")
CLICK_START = gettext_noop(
    "Start with the volume low, then turn it up until you can just follow: a click in headphones can hurt your ears."
)

ON_SHEET = (HEARING, HEARING_FIGURES, HEARING_SIGNS, HANDS, LAW)
ABOUT_EARS = (HEARING, HEARING_FIGURES, LOUD_LINES, HEARING_SIGNS)
ABOUT_HANDS = (PLAYING_HURTS, WARM_UP, HANDS)


def minutes_at(level_dba: float) -> float:
    """Minutes a day at this level that make a full dose: T = 480 / 2^((L - 85) / 3), NIOSH 98-126."""
    return REL_MINUTES / 2 ** ((level_dba - REL_DBA) / EXCHANGE_DB)

"""What is said about ears, hands and the law, in one place for pages and sheets; plain words with their source.

General information, not advice for one person: each text defers to local law and licensed care. `minutes_at` is the
arithmetic behind the figures, so that no page invents its own.
"""

REL_DBA, REL_MINUTES, EXCHANGE_DB = 85.0, 480.0, 3.0  # NIOSH Publication 98-126 (1998): 85 dBA for 8 hours, 3 dB rate

HEARING = (
    "Drums are loud enough to harm hearing for good. Wear ear plugs or closed headphones at the drum, and keep the "
    "click as low as you can still follow."
)
HEARING_FIGURES = (
    "Workplace guidance (NIOSH 98-126): 85 dBA for 8 hours, and half the time for every 3 dB more: 100 dBA for 15 minutes. "
    "For headphones (WHO-ITU H.870): no more than 80 dBA for 40 hours a week; less for children."
)
HEARING_SIGNS = (
    "If your ears ring or sounds seem dull afterwards, stop, rest them, and see a licensed clinician if it stays."
)
HANDS = "Warm up slowly, rest between runs, and stop when it hurts: pain is not practice. If it stays, see a licensed clinician."
LAW = "This is general information. Local law and licensed professionals come first."
CLICK_START = "Start with the volume low, then turn it up until you can just follow: the click begins softly with a few short sweeps."

ON_SHEET = (HEARING, HEARING_FIGURES, HEARING_SIGNS, HANDS, LAW)
AT_DOWNLOAD = (HEARING, CLICK_START)


def minutes_at(level_dba: float) -> float:
    """Minutes a day at this level that make a full dose: T = 480 / 2^((L - 85) / 3), NIOSH 98-126."""
    return REL_MINUTES / 2 ** ((level_dba - REL_DBA) / EXCHANGE_DB)

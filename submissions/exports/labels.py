"""Time-code labels as SMPTE ST 12-1 counts them, through OpenTimelineIO."""

from fractions import Fraction

import opentimelineio as otio


def rational_time(at_s: float, rate: Fraction) -> otio.opentime.RationalTime:
    """The nearest whole frame at rate; at_s in seconds."""
    return otio.opentime.RationalTime(round(at_s * rate), float(rate))


def label(at_s: float, rate: Fraction) -> str:
    """Time-code label of at_s: drop-frame (with a semicolon) at 30000/1001 and 60000/1001, else plain."""
    drop = rate.denominator == 1001 and rate.numerator in (30000, 60000)
    text: str = rational_time(at_s, rate).to_timecode(float(rate), drop)
    return text

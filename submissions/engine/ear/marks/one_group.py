"""What a leaked click adds to one group of marks: its clock, and whether anything is missing between the group and zero.

Conventions: as in `groups`.
"""

from dataclasses import replace

import numpy as np

from ...music.click import ClickLayout
from ..clicks.search import FoundClick
from .believed import CLOCK_SD, Marks

SAME_ZERO_S = 0.003  # of marks and click at one clock: far more than both are off, less than anything cut out
CLICK_CLOCK_SD = 6e-6  # of the clock that a click tells; measured on made takes


def with_clock(marks: Marks, click: FoundClick | None, layout: ClickLayout) -> Marks:
    """One group's zero by the clock that a leaked click tells: a group far from zero says little without one."""
    at_s, due_s = (marks.start_s, layout.marks_start_s) if marks.start_s is not None else (marks.end_s, layout.marks_end_s)
    if click is None or at_s is None or not click.clock_known or click.whole is False:
        return marks
    zero_s = at_s - click.ratio * due_s
    if abs(zero_s - click.zero_s) > SAME_ZERO_S:
        return marks
    own = max(0.0, marks.sd_s**2 - (CLOCK_SD * due_s) ** 2)
    sd_s = float(np.sqrt(own + (CLICK_CLOCK_SD * due_s) ** 2))
    return replace(marks, zero_s=zero_s, sd_s=sd_s, ratio=click.ratio, clock_known=True)


def by_end_group(marks: Marks, click: FoundClick | None, layout: ClickLayout) -> Marks | None:
    """Zero by an end group alone, or None where a whole click puts it elsewhere: then a stretch before it is missing."""
    told = with_clock(marks, click, layout)
    return None if click is not None and click.whole and not told.clock_known else told

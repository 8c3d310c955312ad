"""Local deadlines: a time on a wall clock and a zone become one instant, or a question."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


class NoSuchTime(ValueError):
    """That local time does not exist: the clocks jump over it."""


class TwoSuchTimes(ValueError):
    """That local time happens twice; earlier and later are the two instants in UTC."""

    def __init__(self, says: str, earlier: datetime, later: datetime) -> None:
        super().__init__(says)
        self.earlier, self.later = earlier, later


def instant(local: datetime, zone: str, fold: int | None = None) -> datetime:
    """The UTC instant of a naive local time in an IANA zone.

    fold answers the question of a time that happens twice: 0 is the earlier, 1 the later (PEP 495); None asks.
    Raises ValueError for an unknown zone, NoSuchTime, TwoSuchTimes.
    """
    try:
        place = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise ValueError(f"{zone!r} is not a known time zone.") from None
    first, second = (local.replace(tzinfo=place, fold=f).astimezone(UTC) for f in (0, 1))
    real = [when for when in (first, second) if when.astimezone(place).replace(tzinfo=None, fold=0) == local]
    if not real:
        raise NoSuchTime(f"{local:%Y-%m-%d %H:%M} does not exist in {zone}: the clocks are put forward over it.")
    if first != second and fold is None:
        raise TwoSuchTimes(f"{local:%Y-%m-%d %H:%M} happens twice in {zone}: which of the two?", first, second)
    return second if fold else first

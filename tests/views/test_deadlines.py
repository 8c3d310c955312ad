"""Local deadlines. The values are CPython's zoneinfo (tz database), computed once outside the project."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone, translation

from submissions import mail
from submissions.deadlines import NoSuchTime, TwoSuchTimes, instant
from submissions.models import Call


def local(text: str) -> datetime:
    return datetime.fromisoformat(text)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


class TestATime:
    @pytest.mark.parametrize(
        ("when", "zone", "expected"),
        [
            ("2026-06-01 23:59", "Asia/Kathmandu", "2026-06-01 18:14"),
            ("2026-12-31 23:59", "Etc/GMT+12", "2027-01-01 11:59"),  # anywhere on Earth; the sign is inverted
            ("2026-07-01 12:00", "Europe/London", "2026-07-01 11:00"),
            ("2026-01-01 12:00", "Europe/London", "2026-01-01 12:00"),
            ("2026-11-01 03:00", "America/New_York", "2026-11-01 08:00"),
        ],
    )
    def test_that_happens_once_is_one_instant(self, when, zone, expected):
        assert instant(local(when), zone) == utc(expected)

    @pytest.mark.parametrize(
        ("when", "zone"), [("2026-03-08 02:30", "America/New_York"), ("2026-03-29 01:30", "Europe/London")]
    )
    @pytest.mark.parametrize("fold", [None, 0, 1])
    def test_that_does_not_exist_is_rejected_in_words(self, when, zone, fold):
        with pytest.raises(NoSuchTime, match="does not exist"):
            instant(local(when), zone, fold)

    @pytest.mark.parametrize(
        ("when", "zone", "earlier", "later"),
        [
            ("2026-11-01 01:30", "America/New_York", "2026-11-01 05:30", "2026-11-01 06:30"),
            ("2026-10-25 01:30", "Europe/London", "2026-10-25 00:30", "2026-10-25 01:30"),
        ],
    )
    def test_that_happens_twice_is_asked_about(self, when, zone, earlier, later):
        with pytest.raises(TwoSuchTimes, match="happens twice") as asked:
            instant(local(when), zone)
        assert (asked.value.earlier, asked.value.later) == (utc(earlier), utc(later))
        assert instant(local(when), zone, fold=0) == utc(earlier)
        assert instant(local(when), zone, fold=1) == utc(later)

    @pytest.mark.parametrize("zone", ["Mars/Olympus", "", "../etc/passwd", "EST5EDT4"])
    def test_in_no_known_zone_is_rejected(self, zone):
        with pytest.raises(ValueError, match="time zone"):
            instant(local("2026-06-01 12:00"), zone)


class TestAnUpload:
    @pytest.mark.parametrize(
        ("begun", "ended", "counts"),
        [(-120, -1, True), (-120, 0, True), (-1, 59, True), (0, 60, True), (-1, 61, False), (1, 2, False)],
    )
    def test_counts_by_minutes_around_the_deadline(self, begun, ended, counts):
        now = timezone.now()
        call = Call(deadline=now, grace_minutes=60)
        assert call.was_on_time(now + timedelta(minutes=begun), now + timedelta(minutes=ended)) is counts


class TestTheDeadlineInAMail:
    def test_stands_on_the_players_clock_and_on_the_calls_in_the_players_language(self, player, call):
        """20:04 UTC is 21:04 in Vienna and, 5 h 45 min ahead, 01:49 of the next day in Kathmandu (IANA data)."""
        entry = player.entry
        entry.call.deadline, entry.call.deadline_zone = datetime(2026, 12, 1, 20, 4, tzinfo=UTC), "Europe/Vienna"
        with translation.override("de"):
            assert mail.deadline_words(entry) == "Dienstag, 1. Dezember 2026, 21:04 (Europe/Vienna)"
            entry.zone = "Asia/Kathmandu"
            assert mail.deadline_words(entry) == (
                "Mittwoch, 2. Dezember 2026, 01:49 (Asia/Kathmandu) = Dienstag, 1. Dezember 2026, 21:04 (Europe/Vienna)"
            )

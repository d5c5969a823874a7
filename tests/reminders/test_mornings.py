"""A site's morning and its quiet hours, over both changes of the clocks."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from service.reminders.mail.mornings import LATE, MORNING, Quiet, digest_day, moment_of

MADRID, AUCKLAND = ZoneInfo("Europe/Madrid"), ZoneInfo("Pacific/Auckland")
NEW_YORK = ZoneInfo("America/New_York")
LORD_HOWE, ST_JOHNS = ZoneInfo("Australia/Lord_Howe"), ZoneInfo("America/St_Johns")
KOLKATA, SANTIAGO = ZoneInfo("Asia/Kolkata"), ZoneInfo("America/Santiago")
LOS_ANGELES = ZoneInfo("America/Los_Angeles")


def awake(moment: datetime) -> datetime:
    """Nobody whom it disturbs."""
    return moment


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def test_a_time_that_the_clocks_skip_or_repeat_is_read_as_the_calendar_standard_does() -> None:
    # RFC 5545 section 3.3.5: "TZID=America/New_York:20070311T023000 indicates March 11, 2007 at
    # 3:30 A.M. EDT (UTC-04:00)", and "20071104T013000 indicates ... 1:30 A.M. EDT (UTC-04:00)".
    assert moment_of(date(2007, 3, 11), time(2, 30), NEW_YORK) == utc("2007-03-11T03:30-04:00")
    assert moment_of(date(2007, 11, 4), time(1, 30), NEW_YORK) == utc("2007-11-04T01:30-04:00")


@pytest.mark.parametrize(
    ("zone", "day", "moment"),
    [
        (MADRID, date(2026, 3, 28), "2026-03-28T05:00Z"),
        (MADRID, date(2026, 3, 29), "2026-03-29T04:00Z"),  # the night is an hour shorter
        (MADRID, date(2026, 10, 24), "2026-10-24T04:00Z"),
        (MADRID, date(2026, 10, 25), "2026-10-25T05:00Z"),  # and one longer
        (AUCKLAND, date(2026, 4, 5), "2026-04-04T18:00Z"),
        (AUCKLAND, date(2026, 9, 27), "2026-09-26T17:00Z"),
        (LORD_HOWE, date(2026, 4, 5), "2026-04-04T19:30Z"),  # half an hour back
        (LORD_HOWE, date(2026, 10, 4), "2026-10-03T19:00Z"),  # and half an hour on
        (ST_JOHNS, date(2026, 3, 8), "2026-03-08T08:30Z"),
        (ST_JOHNS, date(2026, 11, 1), "2026-11-01T09:30Z"),
        (KOLKATA, date(2026, 3, 29), "2026-03-29T00:30Z"),
    ],
)
def test_a_digest_is_due_from_six_by_the_sites_clock(zone, day, moment) -> None:
    begins, second = utc(moment), timedelta(seconds=1)
    assert begins.astimezone(zone).time() == time(6)
    assert digest_day(begins - second, MORNING, zone, awake) is None
    assert digest_day(begins, MORNING, zone, awake) == day
    assert digest_day(begins + LATE - second, MORNING, zone, awake) == day
    assert digest_day(begins + LATE, MORNING, zone, awake) is None


# Clocks change at night, by an hour or half of one, in Santiago at midnight.
@pytest.mark.parametrize("zone", [MADRID, AUCKLAND, NEW_YORK, LORD_HOWE, ST_JOHNS, SANTIAGO])
def test_each_day_of_a_year_has_one_digest_wherever_the_morning_lies(zone) -> None:
    night = Quiet(time(20), time(6))
    # Also for who lives nine hours behind it, where six is nine in the evening.
    for free_at in (awake, lambda moment: night.free_at(moment, LOS_ANGELES)):
        for at in (time(0), time(2, 30), MORNING, time(23)):
            now, end = utc("2026-01-01T12:00Z"), utc("2027-01-02T12:00Z")
            due = []
            while now < end:
                day = digest_day(now, at, zone, free_at)
                if day is not None and day not in due[-1:]:
                    due.append(day)
                # often enough to meet each
                now += LATE - timedelta(minutes=5)
            first = due[0]
            assert due == [first + timedelta(days=n) for n in range(len(due))]
            assert len(due) >= 365


def test_quiet_hours_end_by_the_clock_also_in_the_night_of_the_change() -> None:
    night = Quiet(time(20), time(6))
    assert night.free_at(utc("2026-03-28T19:59+01:00"), MADRID) == utc("2026-03-28T19:59+01:00")
    assert night.free_at(utc("2026-03-28T20:00+01:00"), MADRID) == utc("2026-03-29T06:00+02:00")
    assert night.free_at(utc("2026-03-29T03:30+02:00"), MADRID) == utc("2026-03-29T06:00+02:00")
    assert night.free_at(utc("2026-10-25T02:30+02:00"), MADRID) == utc("2026-10-25T06:00+01:00")
    assert night.free_at(utc("2026-10-25T06:00+01:00"), MADRID) == utc("2026-10-25T06:00+01:00")
    siesta = Quiet(time(14), time(16))
    assert siesta.free_at(utc("2026-07-01T15:00+02:00"), MADRID) == utc("2026-07-01T16:00+02:00")
    assert siesta.free_at(utc("2026-07-01T16:00+02:00"), MADRID) == utc("2026-07-01T16:00+02:00")
    # an end that the clocks skip, and one that comes twice
    until_half_past_two = Quiet(time(22), time(2, 30))
    assert until_half_past_two.free_at(utc("2026-03-29T01:59+01:00"), MADRID) == utc(
        "2026-03-29T03:30+02:00"
    )
    again = utc("2026-10-25T02:10+01:00")  # the second time that it is ten past two
    assert until_half_past_two.free_at(again, MADRID) == again

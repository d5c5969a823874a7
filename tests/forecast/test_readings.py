"""Readings of bench loggers: checked, kept in versions, doubted, summed by hours of site days."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from math import isnan, pi, sin
from zoneinfo import ZoneInfo

import asyncpg
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.forecast.degree_days import Cutoff
from service.forecast.numerics.thermal import hourly_sum
from service.forecast.records.reading_days import (
    ReadingDay,
    counted_by,
    hourly_sums,
    reading_days,
    stand_ins,
    version_known_at,
)
from service.forecast.records.readings import (
    Doubt,
    Reading,
    ReadingsReport,
    check,
    doubts_between,
    midnight,
    parse_csv,
    record_readings,
)
from service.forecast.records.sent import NotRecordedError
from service.forecast.requirements import Thresholds
from service.storage.pool import Connection

HOUR = timedelta(hours=1)
MADRID = ZoneInfo("Europe/Madrid")
ADELAIDE = ZoneInfo("Australia/Adelaide")
AT = datetime(2026, 12, 1, 9, 30, tzinfo=UTC)
CITRUS = Thresholds(13, 35)
DAY = date(2026, 5, 10)


def hours(
    day: date, values: Sequence[float | None], zone: ZoneInfo = MADRID, sensor: str = "bench 3"
) -> list[Reading]:
    """A reading on each hour from a day's midnight on; None: none was taken."""
    start = midnight(day, zone).astimezone(UTC)
    return [
        Reading(sensor=sensor, time=(start + n * HOUR).astimezone(zone), celsius=value)
        for n, value in enumerate(values)
        if value is not None
    ]


def swing(n: int = 24, by: float = 0.0) -> list[float]:
    """A day's hours, none like the one before."""
    return [round(16 + by + 6 * sin(hour / 24 * 2 * pi), 2) for hour in range(n)]


async def put(
    conn: Connection,
    readings: list[Reading],
    zone: ZoneInfo = MADRID,
    at: datetime = AT,
    told: bool = False,
) -> ReadingsReport:
    return await record_readings(
        conn, site="HOME", zone=zone, readings=readings, recorded_by="key:test", recorded_at=at,
        told=told,
    )  # fmt: skip


async def days_of(
    conn: Connection, zone: ZoneInfo = MADRID, recorded: set[date] | None = None
) -> dict[date, ReadingDay]:
    version = await version_known_at(conn, "HOME")
    found = await reading_days(
        conn, "HOME", zone, version, first=date(2025, 1, 1), last=date(2027, 1, 1),
        recorded=recorded or set(),
    )  # fmt: skip
    return {one.day: one for one in found}


async def sums(
    conn: Connection, *ways: Thresholds, zone: ZoneInfo = MADRID
) -> list[dict[date, float]]:
    version = await version_known_at(conn, "HOME")
    return await hourly_sums(conn, "HOME", zone, version, ways or (CITRUS,))


# --- CSV ------------------------------------------------------------------------------------------
def test_csv_as_loggers_write_it() -> None:
    text = (
        "sensor,time,celsius\r\n"
        '"logger 3, House 2",2026-05-10T09:00:00+02:00,18.25\r\n'
        "\r\n"
        "P-1,2026-05-10 10:00:00+02:00,-127\r\n"
        "P-1,2026-05-10T11:00:00+02:00,\r\n"
    )
    nine = datetime(2026, 5, 10, 7, tzinfo=UTC)
    assert parse_csv(text) == [
        Reading(sensor="logger 3, House 2", time=nine, celsius=18.25),
        Reading(sensor="P-1", time=nine + HOUR, celsius=-127),
        Reading(sensor="P-1", time=nine + 2 * HOUR, celsius=None),
    ]


@pytest.mark.parametrize(
    ("line", "detail"),
    [
        ("P,2026-05-10T09:00:00,18", "'2026-05-10T09:00:00' is not a time written like"),
        ("P,2026-05-10,18", "'2026-05-10' is not a time written like"),
        ("P,10/05/2026 09:00,18", "'10/05/2026 09:00' is not a time written like"),
        (",2026-05-10T09:00:00+02:00,18", "'' is no name of a sensor"),
        ("P,2026-05-10T09:00:00+02:00,warm", "'warm' is not a temperature written like 18.4"),
        ("P,2026-05-10T09:00:00+02:00,999999", "999999 is beyond what any logger tells"),
        ("P,2026-05-10T09:00:00+02:00", "2 cells where sensor,time,celsius are wanted"),
        ("Q,2026-05-10T07:00:00Z,17", "Q at 2026-05-10T07:00:00+00:00 was given before, on line 2"),
    ],
)
def test_csv_names_the_line_and_what_is_wrong(line: str, detail: str) -> None:
    with pytest.raises(NotRecordedError) as refused:
        parse_csv(f"sensor,time,celsius\nQ,2026-05-10T09:00:00+02:00,18\n\n{line}\n")
    (fault,) = refused.value.faults
    assert fault.line == 4
    assert fault.detail.startswith(detail)


@given(st.text(max_size=60))
def test_csv_refuses_rather_than_breaks(body: str) -> None:
    try:
        told: list[object] = list(parse_csv("sensor,time,celsius\n" + body))
    except NotRecordedError as refused:
        told = list(refused.faults)
    assert told


# --- Times ----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("time", "kind"),
    [
        ("2026-05-10T09:00:00+02:00", None),
        ("2026-01-10T09:00:00+01:00", None),
        # summer time ends: the hour from two to three comes twice
        ("2026-10-25T02:30:00+02:00", None),
        ("2026-10-25T02:30:00+01:00", None),
        ("2026-05-10T09:00:00+01:00", "other_zone"),
        ("2026-05-10T07:00:00+00:00", "other_zone"),
        # summer time begins: no clock at the site showed half past two
        ("2026-03-29T02:30:00+01:00", "other_zone"),
        ("2026-12-01T10:40:00+01:00", "in_the_future"),
        ("1776-07-04T09:00:00+01:00", "not_a_day"),
    ],
)
def test_times_are_of_the_sites_clocks(time: str, kind: str | None) -> None:
    given = [Reading(sensor="P", time=datetime.fromisoformat(time), celsius=18.0)]
    if kind is None:
        check(given, MADRID, AT)
        return
    with pytest.raises(NotRecordedError) as refused:
        check(given, MADRID, AT)
    (fault,) = refused.value.faults
    assert (fault.kind, fault.pointer) == (kind, "/readings/0/time")


def test_the_words_say_what_the_clock_showed() -> None:
    given = hours(DAY, [18.0], ZoneInfo("Europe/London"))
    with pytest.raises(NotRecordedError) as refused:
        check(given, MADRID, AT)
    assert refused.value.faults[0].detail == (
        "2026-05-10T00:00:00+01:00 is of another zone: by the clocks of the site (Europe/Madrid) "
        "it was 2026-05-10T01:00:00+02:00"
    )


# --- Versions -------------------------------------------------------------------------------------
async def test_readings_come_in_and_the_same_again_changes_nothing(writer: Connection) -> None:
    day = hours(DAY, swing())
    first = await put(writer, day)
    assert (first.version, first.readings_written, first.gaps, first.doubts) == (1, 24, [], [])
    assert (first.first, first.last) == (day[0].time, day[-1].time)
    again = await put(writer, list(reversed(day)))
    assert (again.version, again.readings_written, again.readings_unchanged) == (1, 0, 24)
    more = await put(writer, [*day[:3], *hours(DAY + timedelta(days=1), [14.0])])
    assert (more.version, more.readings_written) == (2, 1)


async def test_both_clocks(writer: Connection) -> None:
    """What was known at a moment stays known, corrected or withdrawn later as it may be."""
    day = hours(DAY, [20.0] * 23 + [30.0])
    await put(writer, day, at=AT)
    await put(writer, hours(DAY, [None] * 23 + [20.0]), at=AT + HOUR)
    gone = [Reading(sensor=one.sensor, time=one.time, celsius=None) for one in day[:8]]
    await put(writer, gone, at=AT + 2 * HOUR)
    told = []
    for shift in (-1, 0, 1, 2):
        version = await version_known_at(writer, "HOME", AT + shift * HOUR)
        told.append((await hourly_sums(writer, "HOME", MADRID, version, [CITRUS]))[0].get(DAY))
    assert told[0] is None
    assert told[1:3] == pytest.approx([(23 * 7 + 17) / 24, 7])
    assert told[3] is None


async def test_an_import_is_not_told_later_than_it_was_known(writer: Connection) -> None:
    await put(writer, hours(DAY, [18.0]), at=AT)
    with pytest.raises(NotRecordedError, match="version 1 was recorded at 2026-12-01") as refused:
        await put(writer, hours(DAY, [19.0]), at=AT - HOUR, told=True)
    assert refused.value.faults[0].parameter == "recorded_at"
    # a clock that runs behind is no fault of the reading
    assert (await put(writer, hours(DAY, [19.0]), at=AT - HOUR)).version == 2


@pytest.mark.parametrize("table", ["readings", "reading_versions", "forecast_versions"])
async def test_the_writer_cannot_rewrite_the_record(writer: Connection, table: str) -> None:
    for verb in (f"UPDATE {table} SET version = 9", f"DELETE FROM {table}"):
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await writer.execute(verb)


# --- What is doubtful -----------------------------------------------------------------------------
async def doubts(conn: Connection, readings: list[Reading]) -> list[tuple[int, str]]:
    """Each doubt of readings from a midnight on, with the hour since."""
    told = await put(conn, readings)
    start = readings[0].time
    return [(round((one.time - start) / HOUR), one.doubt) for one in told.doubts]


async def test_what_cannot_be_is_kept_and_never_counted(writer: Connection) -> None:
    """Signs of a fault as loggers write them: -127 and 85 C. Their neighbours are not doubted."""
    values = swing()
    values[5], values[6] = -127, 85
    assert await doubts(writer, hours(DAY, values)) == [(5, "impossible"), (6, "impossible")]
    (day,) = (await days_of(writer)).values()
    assert (day.hours, day.sensors[0].readings, day.sensors[0].not_counted) == (22, 24, 2)
    assert (day.sensors[0].min_c, day.sensors[0].max_c) == (10, 21.8)
    stored = "SELECT celsius FROM readings WHERE celsius < -60 OR celsius > 60"
    assert [row["celsius"] for row in await writer.fetch(stored)] == [-127, 85]


async def test_a_spike_is_not_counted_and_a_jump_is(writer: Connection) -> None:
    values = swing()
    values[5] += 11
    values[12:] = [value + 18 for value in values[12:]]
    assert await doubts(writer, hours(DAY, values)) == [(5, "spike"), (12, "jump")]
    kept = [value for hour, value in enumerate(values) if hour != 5]
    assert (await sums(writer))[0][DAY] == pytest.approx(
        sum(min(max(value, 13), 35) - 13 for value in kept) / 23
    )


async def test_a_last_reading_is_no_spike_until_the_next_one_says_so(writer: Connection) -> None:
    """In whatever order readings arrive, the same is doubted."""
    values = [*swing(6), 40.0]
    assert await doubts(writer, hours(DAY, values)) == [(6, "jump")]
    await put(writer, hours(DAY, [*[None] * 7, 20.0]))
    version = await version_known_at(writer, "HOME")
    (found,) = await doubts_between(writer, "HOME", MADRID, version, first=DAY, last=DAY)
    assert (found.celsius, found.doubt) == (40, "spike")


async def test_a_sensor_that_says_the_same_for_a_day_is_stuck(writer: Connection) -> None:
    values = [*swing(6), *[18.5] * 25, *swing(10)]
    told = await put(writer, hours(DAY, values))
    assert {one.doubt for one in told.doubts} == {"stuck"}
    assert len(told.doubts) == 25
    assert (await days_of(writer))[DAY].counted_by == "nothing"
    # half a day of the same is a still night
    other = hours(DAY, [*swing(6), *[18.5] * 12, *swing(6)], sensor="bench 4")
    assert (await put(writer, other)).doubts == []


async def test_a_hole_in_time_ends_a_run(writer: Connection) -> None:
    """The same value before and after three silent days is no day of the same."""
    before, after = hours(DAY, [18.5] * 4), hours(DAY + timedelta(days=3), [18.5] * 4)
    told = await put(writer, before + after)
    assert told.doubts == []
    (gap,) = told.gaps
    assert (gap.after, gap.before, gap.hours) == (before[-1].time, after[0].time, 69)


async def test_gaps_reach_back_to_what_was_there(writer: Connection) -> None:
    await put(writer, hours(DAY, swing(6)))
    told = await put(writer, hours(DAY, [*[None] * 9, *swing(3)]))
    assert [(one.sensor, one.hours) for one in told.gaps] == [("bench 3", 4)]
    other = await put(writer, hours(DAY, [*[None] * 9, *swing(3)], sensor="bench 4"))
    assert other.gaps == []


async def test_much_that_is_doubtful_is_told_up_to_a_limit(writer: Connection) -> None:
    told = await put(writer, hours(DAY, [-127.0] * 130))
    assert (len(told.doubts), told.more) == (100, 30)
    assert told.doubts[0] == Doubt(
        sensor="bench 3", time=midnight(DAY, MADRID), celsius=-127, doubt="impossible"
    )


# --- Days and sums --------------------------------------------------------------------------------
SPRING, AUTUMN = date(2026, 3, 29), date(2026, 10, 25)


@pytest.mark.parametrize(
    ("day", "zone", "long"),
    [
        (DAY, MADRID, 24),
        (SPRING, MADRID, 23),
        (AUTUMN, MADRID, 25),
        (date(2026, 10, 4), ADELAIDE, 23),
        (date(2026, 4, 5), ADELAIDE, 25),
    ],
)
async def test_a_day_is_as_long_as_the_clocks_make_it(
    writer: Connection, day: date, zone: ZoneInfo, long: int
) -> None:
    """Readings all round it belong to their own days; a still 20 C gives 7 Cd in 24 hours."""
    told = [20 + 0.01 * (n % 2) for n in range(long + 48)]
    await put(writer, hours(day - timedelta(days=1), told, zone), zone)
    found = await days_of(writer, zone)
    assert (found[day].hours, found[day].hours_of_day) == (long, long)
    got = (await sums(writer, zone=zone))[0]
    assert got[day] == pytest.approx(7 * long / 24, abs=0.01)
    assert got[day - timedelta(days=1)] == pytest.approx(7, abs=0.01)


@pytest.mark.parametrize(("day", "least"), [(DAY, 20), (SPRING, 19), (AUTUMN, 21)])
async def test_a_day_that_lacks_more_than_four_hours_is_not_summed(
    writer: Connection, day: date, least: int
) -> None:
    told: list[float | None] = [*swing(least + 4)]
    lacking = told.copy()
    lacking[9:14] = [None] * 5
    await put(writer, hours(day, lacking))
    assert (await sums(writer))[0] == {}
    assert (await days_of(writer))[day].hours == least - 1
    assert (await days_of(writer))[day].counted_by == "range_of_readings"
    assert (await days_of(writer, recorded={day}))[day].counted_by == "daily_record"
    await put(writer, hours(day, [*lacking[:9], told[9]]))
    assert list((await sums(writer))[0]) == [day]
    assert (await days_of(writer))[day].counted_by == "hourly_sum"


def test_what_a_day_counts_by() -> None:
    each_quarter = {1, 7, 13, 19}
    assert counted_by(each_quarter, 24, recorded=False) == "range_of_readings"
    assert counted_by(each_quarter - {13}, 24, recorded=False) == "nothing"
    assert counted_by({1, 7, 13, 24}, 25, recorded=False) == "range_of_readings"
    assert counted_by(set(), 24, recorded=True) == "daily_record"
    assert counted_by(set(range(20)), 24, recorded=True) == "hourly_sum"


async def test_sums_are_those_of_the_numerics(writer: Connection) -> None:
    """A fortnight with holes, every cutoff, against the plain sum over arrays."""
    draw = np.random.default_rng(4)
    table = np.round(draw.normal(20, 8, (14, 24)).clip(-5, 45), 2)
    # no spike, jump or run: what is doubted is another test's
    table = np.round(18 + (table - 18) / 5 + 12 * np.sin(np.arange(24) / 24 * 2 * np.pi), 2)
    table[draw.random((14, 24)) < 0.15] = np.nan
    for n, row in enumerate(table):
        day = DAY + timedelta(days=n)
        told = hours(day, [None if isnan(value) else float(value) for value in row])
        assert (await put(writer, told)).doubts == []
    ways = [Thresholds(13, 24, cutoff=cutoff) for cutoff in Cutoff] + [Thresholds(4, 60)]
    got = await sums(writer, *ways)
    assert 0 < len(got[0]) < 14
    for way, by_day in zip(ways, got, strict=True):
        expected = hourly_sum(table, way)
        for n, value in enumerate(expected):
            found = by_day.get(DAY + timedelta(days=n), np.nan)
            assert found == pytest.approx(value, abs=1e-9, nan_ok=True)


async def test_sensors_count_alike_whatever_they_are_read(writer: Connection) -> None:
    """One each quarter of an hour at 20 C, one each hour at 26 C: 10 Cd, the mean of both."""
    quarters = [
        Reading(sensor="quick", time=one.time + n * HOUR / 4, celsius=20 + 0.01 * n)
        for one in hours(DAY, [20.0] * 24)
        for n in range(4)
    ]
    slow = hours(DAY, [26 + 0.01 * (n % 2) for n in range(24)], sensor="slow")
    await put(writer, quarters + slow)
    assert (await sums(writer))[0][DAY] == pytest.approx(10, abs=0.02)
    # where one of them was silent the other counts for the hour
    await put(writer, [Reading(sensor="slow", time=one.time, celsius=None) for one in slow[:12]])
    assert (await sums(writer))[0][DAY] == pytest.approx((12 * 7 + 12 * 10) / 24, abs=0.02)


async def test_ranges_stand_in_where_each_quarter_was_seen(writer: Connection) -> None:
    await put(writer, hours(DAY, [10.0, *[None] * 6, 15.0, *[None] * 6, 24.0, *[None] * 6, 17.0]))
    await put(writer, hours(DAY + timedelta(days=1), [*swing(12)]))
    version = await version_known_at(writer, "HOME")
    assert await stand_ins(writer, "HOME", MADRID, version) == {DAY: (10, 24)}

"""A site's hourly readings by calendar day: how much of each was read, and what counts for it."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Meta

from service.forecast.records.readings import SQL, midnight
from service.forecast.requirements import Thresholds
from service.storage.pool import Connection

MISSING_HOURS = 4
"""A day is summed by hours when it lacks no more of them: 20 of 24, 19 of 23, 21 of 25."""

CountedBy = Literal["hourly_sum", "daily_record", "range_of_readings", "nothing"]


class SensorDay(msgspec.Struct, frozen=True, kw_only=True):
    """What one sensor read on a day; the range is of the readings that count."""

    sensor: str
    hours: Annotated[int, Meta(ge=0, description="Hours with a reading that counts.")]
    readings: int
    not_counted: Annotated[
        int, Meta(ge=0, description="Impossible, spikes, stuck, or of a cooler.")
    ]
    min_c: float | None
    max_c: float | None


class ReadingDay(msgspec.Struct, frozen=True, kw_only=True):
    """How much of a day was read.

    `hours` of `hours_of_day` (23 or 25 when the clocks change) have a reading of some sensor.
    `counted_by` says what a site that counts by hours takes of the day: the sum of its hours when
    at most four are missing; else the sine of the daily record; else, without one, the sine of the
    range of the readings, if each quarter of the day was seen; else nothing.
    """

    day: date
    hours_of_day: int
    hours: int
    counted_by: CountedBy
    sensors: list[SensorDay]


def counted_by(hours: set[int], hours_of_day: int, *, recorded: bool) -> CountedBy:
    """What a day counts by, from the hours of it that were read (0 the first)."""
    if len(hours) >= hours_of_day - MISSING_HOURS:
        return "hourly_sum"
    if recorded:
        return "daily_record"
    return "range_of_readings" if len({min(hour // 6, 3) for hour in hours}) == 4 else "nothing"


async def version_known_at(conn: Connection, site: str, known_at: datetime | None = None) -> int:
    """The version of a site's readings in force at a moment (None: now); 0 before the first."""
    version: int = await conn.fetchval(SQL.version_known_at, site, known_at)
    return version


async def reading_days(
    conn: Connection,
    site: str,
    zone: ZoneInfo,
    version: int,
    *,
    first: date,
    last: date,
    recorded: set[date],
) -> list[ReadingDay]:
    """The days from `first` to `last` with a reading, as known at a version.

    `recorded`: the days that the site's daily record has.
    """
    stretch = midnight(first, zone), midnight(last + timedelta(days=1), zone)
    rows = await conn.fetch(SQL.days, site, version, zone.key, *stretch)
    return [
        _day(day, list(sensors), recorded) for day, sensors in groupby(rows, lambda row: row["day"])
    ]


def _day(day: date, sensors: Sequence[Any], recorded: set[date]) -> ReadingDay:
    hours = {hour for row in sensors for hour in row["hours"]}
    hours_of_day = sensors[0]["hours_of_day"]
    return ReadingDay(
        day=day,
        hours_of_day=hours_of_day,
        hours=len(hours),
        counted_by=counted_by(hours, hours_of_day, recorded=day in recorded),
        sensors=[
            SensorDay(
                sensor=row["sensor"],
                hours=len(row["hours"]),
                readings=row["readings"],
                not_counted=row["not_counted"],
                min_c=row["min_c"],
                max_c=row["max_c"],
            )
            for row in sensors
        ],
    )


async def stand_ins(
    conn: Connection, site: str, zone: ZoneInfo, version: int
) -> dict[date, tuple[float, float]]:
    """Minimum and maximum (C) of each day whose four quarters were all read."""
    rows = await conn.fetch(SQL.stand_ins, site, version, zone.key)
    return {row["day"]: (row["min_c"], row["max_c"]) for row in rows}


async def hourly_sums(
    conn: Connection, site: str, zone: ZoneInfo, version: int, ways: Sequence[Thresholds]
) -> list[dict[date, float]]:
    """Degree-days (Cd) of each day by the sum of its hours, for each way of counting.

    The way's thresholds and cutoff hold; its method gives way to the hours. Days that lack more
    than `MISSING_HOURS` are left out.
    """
    columns = (
        [way.lower_c for way in ways],
        [way.upper_c for way in ways],
        [way.cutoff.value for way in ways],
    )
    sums: list[dict[date, float]] = [{} for _ in ways]
    for row in await conn.fetch(SQL.hourly_sums, site, version, zone.key, *columns):
        sums[row["place"] - 1][row["day"]] = row["degree_days"]
    return sums

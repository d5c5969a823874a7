"""A site's weather as the numerics are given it: whole, as known at a moment, days to come too."""

from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, timedelta
from math import isnan
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from service.forecast.records.ahead import AheadDay, AheadPut, put_ahead
from service.forecast.records.readings import Reading, midnight, record_readings
from service.forecast.records.site_weather import site_weather
from service.forecast.records.temperatures import TemperatureDay, put_temperatures
from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather
from service.log.append import Appender
from service.storage.pool import Connection, Database
from tests.support.bench_side import BenchSide, entry

DAY = timedelta(days=1)
TODAY = date(2026, 6, 10)
AT = datetime(2026, 6, 10, 4, tzinfo=UTC)
MADRID = ZoneInfo("Europe/Madrid")
CROPS = {"citrus": Thresholds(13, 35), "lemon": Thresholds(13, 35), "mango": Thresholds(15, 32)}
NORMAL = {
    "source": "invented normals",
    "min_c": [float(n) for n in range(12)],
    "max_c": [float(n + 10) for n in range(12)],
}


WHERE: dict[str, Any] = {"name": "Corin", "time_zone": "Europe/Madrid", "longitude": -0.4}


@pytest.fixture
async def clock() -> list[datetime]:
    """The one moment that the log's clock shows."""
    return [AT - 2 * DAY]


@pytest.fixture
async def bench(database: Database, clock: list[datetime]) -> AsyncIterator[BenchSide]:
    """A log that has the site CORIN, since two days before."""
    appender = Appender(database, clock=lambda: clock[0])
    await appender.start()
    side = BenchSide(appender, database)
    await side.given(entry("site", "CORIN", latitude=39.5, **WHERE))
    yield side
    await appender.stop()


@pytest.fixture
async def writer(bench: BenchSide) -> AsyncIterator[Connection]:
    """A connection of the writer's pool to it."""
    async with bench.database.writer.acquire() as conn:
        yield conn


async def weather(
    conn: Connection, known: datetime | None = None, today: date = TODAY, site: str = "CORIN"
) -> SiteWeather:
    return await site_weather(conn, site, today, known, CROPS)


async def temperatures(conn: Connection, *days: tuple[int, float, float]) -> None:
    """Days before today: how many, minimum, maximum."""
    told = [TemperatureDay(day=TODAY - n * DAY, min_c=low, max_c=high) for n, low, high in days]
    await put_temperatures(
        conn, site="CORIN", source="logger", days=told, today=TODAY, recorded_by="p-1",
        recorded_at=AT,
    )  # fmt: skip


async def hours(conn: Connection, days_ago: int, values: list[float]) -> None:
    """A reading on each hour of a day, so many days before today."""
    start = midnight(TODAY - days_ago * DAY, MADRID)
    told = [
        Reading(sensor="bench", time=start + timedelta(hours=n), celsius=value)
        for n, value in enumerate(values)
    ]
    await record_readings(
        conn, site="CORIN", zone=MADRID, readings=told, recorded_by="p-1",
        recorded_at=AT + timedelta(hours=1),
    )  # fmt: skip


async def forecast(conn: Connection, at: datetime, *days: tuple[date, float, float]) -> None:
    told = [AheadDay(day=day, min_c=low, max_c=high) for day, low, high in days]
    await put_ahead(
        conn, site="CORIN", given=AheadPut(source="local forecast", days=told),
        today=at.date(), recorded_by="p-1", recorded_at=at,
    )  # fmt: skip


def shown(values: list[float]) -> list[float | None]:
    return [None if isnan(value) else value for value in values]


async def test_a_site_of_which_nothing_is_known(writer: Connection) -> None:
    for site in ("CORIN", "NOWHERE"):
        got = await weather(writer, site=site)
        assert got == SiteWeather(site=site, today=TODAY.toordinal(), first=TODAY.toordinal())


async def test_the_record_is_whole_up_to_yesterday(writer: Connection) -> None:
    await temperatures(writer, (5, 8, 20), (3, 9, 21), (0, 10, 30))
    got = await weather(writer)
    assert (got.first, got.version) == (TODAY.toordinal() - 5, 1)
    assert shown(got.low) == [8, None, 9, None, None]
    assert shown(got.high) == [20, None, 21, None, None]
    assert got.hourly == {}
    assert (await weather(writer, AT - DAY)).low == []


async def test_hours_are_summed_for_every_crop_and_stand_in_for_days(writer: Connection) -> None:
    """Half a day each at 17 and 23 C: 4 and 10 Cd above 13, 2 and 8 above 15."""
    still = [17 + 0.01 * (n % 2) for n in range(12)] + [23 + 0.01 * (n % 2) for n in range(12)]
    await temperatures(writer, (3, 8, 20), (2, 9, 21))
    await hours(writer, 4, still)
    await hours(writer, 3, still)
    got = await weather(writer)
    assert got.first == TODAY.toordinal() - 4
    # the daily record goes before the range of the readings
    assert shown(got.low) == [17, 8, 9, None]
    assert shown(got.high) == [23.01, 20, 21, None]
    for crop, value in (("citrus", 7), ("lemon", 7), ("mango", 5)):
        assert got.hourly[crop][:2] == pytest.approx([value, value], abs=0.02)
        assert shown(got.hourly[crop])[2:] == [None, None]
    # the readings were told an hour later than the temperatures
    before = await weather(writer, AT)
    assert (before.hourly, shown(before.low)) == ({}, [8, 9, None])


async def test_days_to_come_begin_today(writer: Connection) -> None:
    await forecast(
        writer,
        AT - 2 * DAY,
        (TODAY - 2 * DAY, 1, 2),
        (TODAY, 8, 20),
        (TODAY + 2 * DAY, 9, 22),
    )
    got = await weather(writer)
    assert (shown(got.ahead_low), shown(got.ahead_high)) == ([8, None, 9], [20, None, 22])
    assert got.ahead_source == "local forecast"
    # three days on nothing of it is left, and before it was given there was nothing
    for gone in (
        await weather(writer, today=TODAY + 3 * DAY),
        await weather(writer, AT - 3 * DAY),
    ):
        assert (gone.ahead_low, gone.ahead_source) == ([], "")


async def test_the_catalogue_says_where_and_what_is_normal(
    bench: BenchSide, writer: Connection, clock: list[datetime]
) -> None:
    clock[0] = AT
    await bench.given(entry("site", "CORIN", latitude=-33.9, climate_normal=NORMAL, **WHERE))
    before, now = await weather(writer, AT - DAY), await weather(writer)
    assert (before.south, before.normal_low, before.normal_source) == (False, [], "")
    assert (now.south, now.normal_source) == (True, "invented normals")
    assert (now.normal_low, now.normal_high) == (NORMAL["min_c"], NORMAL["max_c"])

"""How loggers stand now: out of range for two readings, silent, always the same; a cooler is no
bench."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from service.forecast.records.loggers import LoggerNow, loggers_now, spells_of, watched
from service.forecast.records.reading_days import hourly_sums
from service.forecast.records.readings import Reading, record_readings
from service.forecast.requirements import Thresholds
from service.storage.pool import Database
from service.storage.walls import seeing
from service.trade.events.catalogue import TemperatureRange
from tests.support.nursery import nursery

MADRID = ZoneInfo("Europe/Madrid")
NOW = datetime(2026, 3, 30, 6, 20, tzinfo=MADRID)
ALLOWED = TemperatureRange(lowest_c=1, highest_c=13)


@pytest.mark.parametrize(
    ("celsius", "spells"),
    [
        ([5, 5, 5], []),
        ([5, 20, 5], []),  # a door that was open
        ([5, 14, 15, 5], [("warm", 1, 3, 15)]),
        ([5, 14, 15], [("warm", 1, None, 15)]),
        ([0, -2, 14, 15, 16], [("cold", 0, 2, -2), ("warm", 2, None, 16)]),
        ([1, 13], []),  # the borders are well
    ],
)
def test_stretches_out_of_range(
    celsius: list[float], spells: list[tuple[str, int, int | None, float]]
) -> None:
    told = [(NOW + timedelta(hours=n), warmth) for n, warmth in enumerate(celsius)]
    found = spells_of(told, ALLOWED)
    hours = [
        (one.side, _hours(one.since), one.until and _hours(one.until), one.worst_c) for one in found
    ]
    assert hours == spells
    assert spells_of(told, None) == []


def _hours(at: datetime) -> int:
    return round((at - NOW).total_seconds() / 3600)


class Loggers:
    """Loggers of a site, hour by hour up to some hours ago."""

    def __init__(self, database: Database) -> None:
        self.database = database

    async def told(self, sensor: str, celsius: Iterable[float], last: int = 0) -> None:
        values = list(celsius)
        begin = NOW.replace(minute=0).astimezone(ZoneInfo("UTC"))
        hours = range(last + len(values) - 1, last - 1, -1)
        times = [(begin - timedelta(hours=ago)).astimezone(MADRID) for ago in hours]
        async with self.database.writer.acquire() as connection:
            await record_readings(
                connection,
                site="CORIN",
                zone=MADRID,
                readings=[
                    Reading(sensor=sensor, time=at, celsius=warmth)
                    for at, warmth in zip(times, values, strict=True)
                ],
                recorded_by="loggers",
                recorded_at=NOW,
            )

    async def now(self) -> dict[str, LoggerNow]:
        async with seeing(self.database.reader, ["CORIN"]) as connection:
            by = await watched(connection, "CORIN")
            return {one.sensor: one for one in await loggers_now(connection, "CORIN", by, NOW)}


async def test_each_logger_goes_by_where_it_hangs(database: Database) -> None:
    book = await nursery(database.writer)
    cooler = {"site": "CORIN", "structure": "shed", "place_kind": "cooler"}
    await book.entry("place", "C-COOL", **cooler, sensors=["cold", "never"])
    loggers = Loggers(database)
    # 48 hours over the night in which the clocks change
    await loggers.told("cold", [4 + n % 3 * 0.1 for n in range(44)] + [13.5, 15, 18, 17])
    await loggers.told("bench", [15 + n % 5 for n in range(48)])
    await loggers.told("steady", [20.0] * 48)
    await loggers.told("quiet", [12 + n % 2 for n in range(20)], last=5)
    await loggers.told("long gone", [12, 13], last=24 * 15)
    found = await loggers.now()

    assert sorted(found) == ["bench", "cold", "never", "quiet", "steady"]
    cold = found["cold"]
    assert (cold.where, cold.place, cold.range_is_usual) == ("cooler", "C-COOL", True)
    assert cold.out is not None
    assert (cold.out.side, cold.out.worst_c) == ("warm", 18)
    assert cold.out.since.isoformat() == "2026-03-30T03:00:00+02:00"
    assert (found["bench"].where, found["bench"].spells) == ("bench", [])
    assert [name for name, one in found.items() if one.silent] == ["never", "quiet"]
    assert found["quiet"].newest_at == datetime(2026, 3, 30, 1, tzinfo=MADRID)
    assert found["never"].newest_at is None
    assert [name for name, one in found.items() if one.stuck] == ["steady"]
    assert found["steady"].newest_c == 20, "a steady cooler is well, and looked at"

    # a cooler's hours count in no degree-days; those of a box of wood in the house do
    async def sums() -> dict[date, float]:
        async with database.writer.acquire() as connection:
            ways = [Thresholds(4, 40)]
            return (await hourly_sums(connection, "CORIN", MADRID, 9, ways))[0]

    without = await sums()
    await book.entry("place", "C-COOL", **cooler | {"place_kind": "box"}, sensors=["cold"])
    with_it = await sums()
    assert without.keys() == with_it.keys()
    assert all(sum_ > with_it[day] + 1 for day, sum_ in without.items())


async def test_a_site_states_its_own_ranges(database: Database) -> None:
    book = await nursery(database.writer)
    watch = {"bench_c": None, "silent_hours": None}
    about = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 40, "longitude": 0.5}
    await book.entry("site", "CORIN", **about, norms={"watch": watch})
    loggers = Loggers(database)
    await loggers.told("field", [-4, -5, -6], last=8)
    found = (await loggers.now())["field"]
    assert (found.range_c, found.spells, found.silent) == (None, [], False)

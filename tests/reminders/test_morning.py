"""A site's morning round: the most urgent on top, how late in days and warmth, what ends alerts."""

from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from service.forecast.records.ahead import AheadDay, AheadPut, put_ahead
from service.forecast.records.readings import Reading, record_readings
from service.forecast.records.temperatures import TemperatureDay, put_temperatures
from service.log.append import Appender
from service.reminders.alerts import AlertRow, Alerts, AlertsQuery, alerts
from service.reminders.morning import morning
from service.reminders.morning_shapes import Morning
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database
from service.storage.walls import seeing
from service.views.budwood import BudwoodOnHand
from service.views.checks import Checks
from service.views.grafter_day import GrafterDay, grafter_day
from service.views.runner import Runner
from service.views.site_days import zone
from service.views.take import TakeView
from tests.support.bench_side import BenchSide, entry, event

MADRID = zone("Europe/Madrid")
TODAY = date(2026, 4, 1)
SIX = datetime(2026, 4, 1, 6, tzinfo=MADRID)


class Manager:
    """Somebody who stands outside at six."""

    def __init__(self, database: Database, bench: BenchSide) -> None:
        self.database, self.bench = database, bench
        self.runner = Runner(database, [Checks(), Alerts(), BudwoodOnHand(), TakeView()])

    async def looks(self, at: datetime = SIX, sites: list[str] | None = None) -> Morning | None:
        await self.runner.catch_up()
        async with seeing(self.database.reader, sites) as connection:
            return await morning(connection, "CORIN", at)

    async def grafts(self, who: str) -> GrafterDay:
        await self.runner.catch_up()
        async with seeing(self.database.reader, ["CORIN"]) as connection:
            return await grafter_day(connection, "CORIN", who, SIX)

    async def warmth(self, days: dict[date, tuple[float, float]]) -> None:
        async with self.database.writer.acquire() as connection:
            told = [TemperatureDay(day=day, min_c=a, max_c=b) for day, (a, b) in days.items()]
            about: dict[str, Any] = {"site": "CORIN", "recorded_by": "x", "recorded_at": SIX}
            await put_temperatures(connection, source="x", days=told, today=TODAY, **about)

    async def cooler(self, at: datetime, *celsius: float) -> None:
        """The last hours of the cooler's logger."""
        last = at.replace(minute=0)
        told = [
            Reading(sensor="cold", time=last - timedelta(hours=len(celsius) - 1 - n), celsius=c)
            for n, c in enumerate(celsius)
        ]
        async with self.database.writer.acquire() as connection:
            about: dict[str, Any] = {"site": "CORIN", "recorded_by": "x", "recorded_at": at}
            await record_readings(connection, zone=MADRID, readings=told, **about)

    async def frost(self, at: datetime, *days: tuple[date, float]) -> None:
        given = AheadPut(
            source="met", days=[AheadDay(day=day, min_c=low, max_c=low + 9) for day, low in days]
        )
        async with self.database.writer.acquire() as connection:
            about: dict[str, Any] = {"site": "CORIN", "recorded_by": "x", "recorded_at": at}
            await put_ahead(connection, given=given, today=at.date(), **about)

    async def told(self, at: datetime) -> dict[str, list[AlertRow]]:
        """Alerts by kind after a look at the calendar."""
        await self.runner.catch_up()
        await look_at_calendar(self.database.writer, lambda: at)
        found = await alerts(self.database.reader, AlertsQuery(), None, clock=lambda: at)
        kinds: dict[str, list[AlertRow]] = {}
        for row in found.rows:
            kinds.setdefault(row.kind, []).append(row)
        return kinds


@pytest.fixture
async def manager(database: Database) -> AsyncIterator[Manager]:
    appender = Appender(database, clock=lambda: datetime(2026, 6, 30, 12, tzinfo=UTC))
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.stocked()
    yield Manager(database, bench)
    await appender.stop()


async def test_ties_left_on_come_first_and_closed_houses_last(manager: Manager) -> None:
    given = manager.bench.given
    places = {"C-T3": "House 3", "C-T4": "House 3", "C-T5": "House 5"}
    await given(
        *(entry("place", code, site="CORIN", structure=house) for code, house in places.items())
    )
    graft = manager.bench.graft
    # grafted on 5 March: due after 12 days, overdue after 21, so on 27 March
    await given(
        graft(4, "2026-03-05", "T1", place="C-T3"), graft(4, "2026-03-12", "T2", place="C-T4")
    )
    await given(
        graft(4, "2026-03-19", "T3", place="C-T2"), graft(4, "2026-03-05", "T5", place="C-T5")
    )
    for place in ("C-T3", "C-T4", "C-T2", "C-T5"):
        await given(event("place.checked", "2026-03-25", place=place))
    closing = {"product": "sulphur", "re_entry_hours": 24, "places": ["C-T5"]}
    await given(event("treatment.applied", "2026-03-31", **closing))
    # Of citrus from 13 C on. Between the thresholds a day has its mean less the lower one, by any
    # way of counting: 19 - 13, fourteen times.
    days = {date(2026, 3, 17) + timedelta(days=n): (14.0, 24.0) for n in range(15)}
    del days[date(2026, 3, 20)]
    await manager.warmth(days)

    found = await manager.looks(sites=["CORIN"])
    assert found is not None
    assert [(one.place, one.state, one.closed) for one in found.tables] == [
        ("C-T3", "overdue", False),
        ("C-T4", "due", False),
        ("C-T2", "due", False),
        ("C-T5", "overdue", True),
    ]
    (check,) = found.tables[0].checks
    assert (check.check, check.lot, check.lots, check.trees) == ("read_take", "T1", 1, 4)
    assert (check.days_late, check.days_overdue, check.plan) == (15, 6, "TAKE-CITRUS")
    assert check.degree_days == pytest.approx(14 * 6)
    assert check.degree_days_missing == 1
    assert [one.structure for one in found.closed_houses] == ["House 5"]
    # a look that is due in a week is coming, and what was done is told by whom
    assert (date(2026, 4, 8), "look", 4) in {(c.day, c.check, c.places) for c in found.coming}
    assert [(one.day, one.type, one.entries) for one in found.done] == [
        (date(2026, 3, 31), "treatment.applied", 1)
    ]
    assert await manager.looks(sites=["TARNA"]) is None


async def test_a_double_way_counts_half_a_day_from_tomorrows_minimum(manager: Manager) -> None:
    counted = {"crop": "citrus", "lower_c": 13, "upper_c": 35, "method": "double_triangle"}
    await manager.bench.given(
        entry("rule", "HEAT", title="Degree-days", value="13 to 35 C", source="own trial of 2025",
              as_of="2026-01-01", degree_days=counted),
        manager.bench.graft(4, "2026-03-05", "T1", place="C-T2"),
    )  # fmt: skip
    await manager.warmth({date(2026, 3, 30): (14.0, 24.0), date(2026, 3, 31): (18.0, 24.0)})
    found = await manager.looks(sites=["CORIN"])
    assert found is not None
    # Between the thresholds halves have their means: 19 and 21 of the 30th, twice 21 of the 31st,
    # whose tomorrow is not over; less 13.
    (check,) = (one for one in found.tables[0].checks if one.check == "read_take")
    assert check.degree_days == pytest.approx((6 + 8) / 2 + 8)


async def test_what_is_told_once_ends_by_itself(manager: Manager) -> None:
    cooler = {"site": "CORIN", "structure": "shed", "place_kind": "cooler", "sensors": ["cold"]}
    await manager.bench.given(entry("place", "C-COOL", **cooler))
    await manager.cooler(SIX, 5, 6, 15, 16)
    await manager.frost(SIX, (TODAY, 6), (date(2026, 4, 2), 0.5), (date(2026, 4, 4), 2))
    first = await manager.told(SIX)
    (warm,) = first["temperature_out_of_range"]
    assert (warm.site, warm.place, warm.subject, warm.state) == ("CORIN", "C-COOL", "cold", "open")
    assert {row.due_on for row in first["frost_ahead"]} == {date(2026, 4, 2), date(2026, 4, 4)}
    assert "logger_silent" not in first

    # a day and more later it is the same alert; one night is over, and a newer forecast takes back
    later = SIX + timedelta(hours=30)
    await manager.cooler(later, *(16 + n % 4 * 0.5 for n in range(30)))
    await manager.frost(later, (date(2026, 4, 2), 5), (date(2026, 4, 4), 1))
    again = await manager.told(later)
    assert [row.id for row in again["temperature_out_of_range"]] == [warm.id]
    ends = {row.due_on: row.closed_because for row in again["frost_ahead"]}
    assert ends == {date(2026, 4, 4): None, date(2026, 4, 2): "no_longer_so"}

    # back in range it ends; the next time is another; and silence is told
    well = later + timedelta(hours=3)
    await manager.cooler(well, 8, 6, 5)
    assert [row.state for row in (await manager.told(well))["temperature_out_of_range"]] == [
        "closed"
    ]
    silent = await manager.told(well + timedelta(hours=4))
    assert [(row.subject, row.state) for row in silent["logger_silent"]] == [("cold", "open")]

    # wood of citrus keeps 90 days: cut on 1 March, told from three days before 30 May
    assert "budwood_expiring" not in await manager.told(datetime(2026, 5, 26, 6, tzinfo=MADRID))
    near = datetime(2026, 5, 27, 6, tzinfo=MADRID)
    (bag,) = (await manager.told(near))["budwood_expiring"]
    assert (bag.subject, bag.due_on, bag.numbers["buds"]) == ("B1", date(2026, 5, 30), 40)
    found = await manager.looks(near)
    assert found is not None
    assert [(one.bag, one.buds) for one in found.bags] == [("B1", 40)]
    assert "budwood_expiring" not in {one.kind for one in found.alerts}
    await manager.bench.given(
        event("budwood.discarded", "2026-05-28", lines=[{"bag": "B1"}], cause="left_over")
    )
    assert (await manager.told(near))["budwood_expiring"][0].state == "closed"


async def test_a_grafter_sees_their_list_and_how_theirs_took(manager: Manager) -> None:
    given, graft = manager.bench.given, manager.bench.graft
    alone = [{"person": "p-1", "count": 6}]
    both = [{"person": "p-1", "count": 2}, {"person": "p-2", "count": 2}]
    await given(
        graft(6, "2026-03-10", "T1", grafters=alone),
        graft(4, "2026-03-11", "T2", grafters=both),
        graft(6, "2026-03-20", "T0", grafters=alone),
        event("grafts.unwrapped", "2026-03-28", lot="T1", alive=5, failed=1),
    )
    order = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "count": 9, "needed_by": "2026-04-03"}
    await given(
        event("grafting.ordered", "2026-03-30", work_order="W1", **order, grafters=["p-2"]),
        event("grafting.ordered", "2026-03-30", work_order="W2", **order),
    )
    day = await manager.grafts("p-1")
    assert [(one.lot, one.by_hand, one.alone, one.take.hits, one.take.n) for one in day.took] == [
        ("T2", 2, False, 0, 0),
        ("T1", 6, True, 5, 6),
    ]
    assert [one.order.code for one in day.to_do.orders] == ["W2"]
    # the other's order has the first nine of the bag's buds: nobody is sent to buds twice
    assert sum(row.count for row in day.to_do.orders[0].rows if row.bag) == 9

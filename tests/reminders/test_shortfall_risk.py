"""The alert that what is promised may not all be there: raised past a limit, closed by itself."""

from collections.abc import AsyncIterator
from datetime import date

import pytest

from service.log.append import Appender
from service.reminders.alerts import AlertRow, AlertsQuery, alerts
from service.reminders.shortfalls import RiskLimits
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database
from tests.support.bench_side import NOW, BenchSide, event
from tests.support.foretold import tell_supplies, tell_supply

ITEM = ("NAVEL", "CARRIZO", "P9")
CLAIM = dict(zip(("cultivar", "rootstock", "size"), ITEM, strict=True))
FIRST = date(2026, 6, 30)


class Desk:
    """A nursery that promised 44 trees of one item at a site, and looks at its alerts."""

    def __init__(self, database: Database, bench: BenchSide) -> None:
        self.database, self.bench = database, bench

    async def promised(self, code: str, count: int, **more: object) -> None:
        data = {"customer": "c-1", "lines": [CLAIM | {"count": count}], "needed_by": "2026-07-20"}
        await self.bench.given(
            event("reservation.made", "2026-06-30", reservation=code, **(data | more))
        )

    async def told(self, middle: int, elsewhere: int = 0) -> None:
        """A newer forecast: as likely as not so many at CORIN."""
        await self.database.writer.execute("DELETE FROM supply")
        by_site = {"CORIN": [middle], "TARNA": [elsewhere]}
        await tell_supplies(self.database.writer, ITEM, FIRST, by_site)

    async def look(self, limits: RiskLimits) -> int:
        return await look_at_calendar(self.database.writer, lambda: NOW, limits)

    async def seen(self, sites: list[str] | None = None) -> list[AlertRow]:
        query = AlertsQuery(kind="shortfall_risk")
        pool = self.database.reader
        return (await alerts(pool, query, sites, clock=lambda: NOW)).rows


@pytest.fixture
async def desk(database: Database) -> AsyncIterator[Desk]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.nursery()
    desk = Desk(database, bench)
    await desk.told(50)
    await desk.promised("R-1", 44)
    yield desk
    await appender.stop()


async def test_it_is_raised_past_the_limit_once_and_says_how_many(desk: Desk) -> None:
    # 44 of 50 are there 8 in 10 sure: a risk of 0.2
    assert await desk.look(RiskLimits(risk=0.2)) == 0
    assert await desk.look(RiskLimits(risk=0.19)) == 1
    assert await desk.look(RiskLimits(risk=0.19)) == 0
    (found,) = await desk.seen()
    assert (found.site, found.state, found.subject) == ("CORIN", "open", "NAVEL/CARRIZO/P9")
    assert found.detail == (
        "NAVEL on CARRIZO, P9 at CORIN: About 20 in 100 that the 44 promised by 20 July 2026 "
        "will not all be there. It is an estimate."
    )
    assert found.numbers["probability"] == 0.2


async def test_it_closes_by_itself_and_comes_back_as_the_same(desk: Desk) -> None:
    await desk.told(40)
    assert await desk.look(RiskLimits()) == 1
    (raised,) = await desk.seen()
    await desk.told(80)
    assert await desk.look(RiskLimits()) == 0
    (closed,) = await desk.seen()
    assert (closed.state, closed.closed_because) == ("closed", "covered")
    await desk.told(30)
    assert await desk.look(RiskLimits()) == 1
    (again,) = await desk.seen()
    assert (again.id, again.state) == (raised.id, "open")


async def test_a_reservation_that_is_released_ends_it(desk: Desk) -> None:
    await desk.told(20)
    assert await desk.look(RiskLimits()) == 1
    await desk.bench.given(
        event("reservation.released", "2026-06-30", reservation="R-1", reason="cancelled")
    )
    await desk.look(RiskLimits())
    (found,) = await desk.seen()
    assert found.state == "closed"


async def test_what_all_sites_promise_together_is_told_to_who_sees_them_all(desk: Desk) -> None:
    await desk.told(60, elsewhere=60)
    await desk.promised("R-2", 56, any_site=True)
    # Drawn together it is worse than what the sum of the sites' own said.
    await desk.database.writer.execute("DELETE FROM supply WHERE site = ''")
    await tell_supply(desk.database.writer, ITEM, "", FIRST, [100])
    assert await desk.look(RiskLimits()) == 1
    (found,) = await desk.seen()
    assert (found.site, found.numbers["promised"]) == (None, 100)
    assert await desk.seen(["CORIN"]) == []


async def test_trees_that_are_lost_raise_it_without_any_forecast(desk: Desk) -> None:
    await desk.database.writer.execute("DELETE FROM supply")
    assert await desk.look(RiskLimits()) == 1
    (found,) = await desk.seen()
    assert (found.numbers["probability"], found.numbers["short_by"]) == (1.0, 44)


async def test_a_promised_lot_with_unknown_parts_is_no_item_at_risk(desk: Desk) -> None:
    await desk.told(80)
    line = {"kind": "trees", "lot": "OLD1", "cultivar": "NAVEL", "stage": "ready", "size": "L2"}
    await desk.bench.given(
        event("stock.opened", "2026-01-01", lines=[line | {"place": "C-T1", "count": 40}])
    )
    await desk.promised("R-2", 40, lines=[{"lot": "OLD1", "count": 40}])
    assert await desk.look(RiskLimits()) == 0

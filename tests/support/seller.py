"""Who sells: reservations, sales and overrides against a supply that is told by hand."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import date, timedelta
from typing import Any

from service.log.append import Appender
from service.log.refold import differences, refold
from service.storage.pool import Database
from service.trade.promising import LEVELS, STEP_DAYS
from tests.support.bench_side import NOW, BenchSide, event

# NOW is 30 June 2026, 14:00 at CORIN (Madrid), and 1 July, 00:00 at TARNA (Auckland).
TODAY = date(2026, 6, 30)
ITEM = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}


class Seller(BenchSide):
    """Who sells: with a supply told by hand in the place of a forecast."""

    async def told(
        self,
        *by_step: int,
        site: str = "CORIN",
        grade: str = "",
        first: date = TODAY,
        surer: float = 0.0,
    ) -> None:
        """A row of supply: quantities for `first` and each week after it, the last one to stay.

        The quantity is told for 8 in 10; `surer` of it less for each surer level, and as much more
        for each less sure one.
        """
        eight = LEVELS.index(0.8)
        flat = [max(int(q * (1 - surer * (n - eight))), 0) for q in by_step for n in range(10)]
        async with self.database.writer.acquire() as connection:
            went_out = await connection.fetchval(
                "SELECT coalesce(sum(total), 0)::bigint FROM item_out WHERE cultivar = 'NAVEL' "
                "AND rootstock = 'CARRIZO' AND size = 'L2' AND $1 IN ('', grade) "
                "AND $2 IN ('', site)",
                grade,
                site,
            )
            names = (*ITEM.values(), grade, site)
            await connection.execute(
                "DELETE FROM supply WHERE (cultivar, rootstock, size, grade, site) = "
                "($1, $2, $3, $4, $5)",
                *names,
            )
            await connection.execute(
                "INSERT INTO supply (cultivar, rootstock, size, grade, site, first, step_days, "
                "levels, quantities, mean, trees, went_out, position, made_at) "
                "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 0, $11, 0, $12)",
                *names,
                first,
                STEP_DAYS,
                list(LEVELS),
                flat,
                [float(q) for q in by_step],
                went_out,
                NOW,
            )

    async def grown_for_a_customer(self, count: int) -> None:
        """Lot T1 at C-T1 is the customer's own, and ready."""
        wood = {"lot": "BW1", "cultivar": "NAVEL", "source_tree": "ST-1"}
        bag = {"bag": "B1", "buds": 40, "place": "C-BOX"}
        liners = {"lot": "L1", "rootstock": "CARRIZO", "size": "L2", "supplier": "sup-1"}
        grown = {"lot": "T1", "stage": "grafted", "outcomes": [{"count": count, "stage": "ready"}]}
        await self.given(
            event("budwood.cut", "2026-03-01", **wood, bags=[bag]),
            event("liners.received", "2026-03-01", **liners, lines=[{"place": "C-T1", "count": 9}]),
            self.graft(count, grown_for="cust-1"),
            event("trees.graded", "2026-06-01", **grown),
        )

    async def sites_told(self, *by_step: int, first: date = TODAY) -> None:
        """One site has it all, so that all sites have as much."""
        await self.told(*by_step, first=first)
        await self.told(*by_step, site="", first=first)

    async def agrees(self) -> None:
        """The books are what the log alone makes of them: no supply is needed for that."""
        async with self.database.writer.acquire() as connection:
            anew = await refold(connection)
            assert anew.supply == {}
            assert await differences(connection, anew) == []


@asynccontextmanager
async def selling(database: Database) -> AsyncIterator[Seller]:
    """At CORIN, with fifty trees bought in."""
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    side = Seller(appender, database)
    await side.nursery()
    await side.given(bought())
    yield side
    await appender.stop()


def bought(lot: str = "R1", count: int = 50, **more: Any) -> Any:
    return event(
        "trees.received", "2026-03-01", lot=lot, **ITEM, supplier="sup-9", place="C-T2",
        count=count, **more,
    )  # fmt: skip


def wants(count: int, code: str | None = None, line: Any = None, **more: Any) -> Any:
    named = {"reservation": code} if code else {}
    return event(
        "reservation.made", "2026-06-20", **named, customer="cust-1",
        lines=[(line or ITEM) | {"count": count}], **more,
    )  # fmt: skip


def on(days: int) -> str:
    """So many days after today."""
    return str(TODAY + timedelta(days=days))


def sale(count: int, lot: str = "R1", **more: Any) -> Any:
    line = {"lot": lot, "place": "C-T2", "size": "L2", "count": count}
    return event("trees.sold", "2026-06-21", customer="cust-1", lines=[line], **more)


def ruled(quantity: int, code: str = "PO1", until: str = "2026-12-31", **more: Any) -> Any:
    return event(
        "promise.overridden", "2026-06-22", override=code, **ITEM, quantity=quantity, until=until,
        reason="bought in, on its way", **more,
    )  # fmt: skip


async def available(bench: Seller, **more: Any) -> int:
    """How many can still be promised, by what a much too large wish is told."""
    verdict = await bench.when(wants(1_000_000, **more), check=True)
    found: int = verdict.errors[0].numbers["available"]
    return found

"""Stock by day: the net change of each kind of stock on each site day, for history and charts."""

from datetime import date
from typing import Any, Literal

import asyncpg
import msgspec

from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.views.applying import Batch, Table
from service.views.positions import position
from service.views.stock import checked_words

SQL = load(__package__, "stock_by_day.sql")
NAME = "stock_by_day"
GROUPS = ("site", "cultivar", "rootstock", "size", "stage", "grade")
KINDS = ("bag", "liners", "trees", "transit", "lost", "customer", "used", "discarded")
# Of these there are sums, from which a question goes backward: its cost follows the days since.
SUMMED = KINDS[:4]
LONGEST_DAYS = 3_660


class StockByDay:
    """The additive view: legs summed by site, item, stage and day; and without the day."""

    name: str = NAME
    kind: Literal["additive"] = "additive"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("stock_by_day"), Table("stock_sums"))

    async def apply(self, conn: Connection, batch: Batch) -> None:
        await conn.execute(SQL.add, batch.after, batch.through)
        await conn.execute(SQL.sweep)
        await conn.execute(SQL.add_sums, batch.after, batch.through)
        await conn.execute(SQL.sweep_sums)

    async def outdated(self, conn: Connection, batch: Batch) -> bool:
        return bool(await conn.fetchval(SQL.outdated, batch.after, batch.through))


class StockByDayQuery(msgspec.Struct, frozen=True, kw_only=True):
    """From the end of day `first` to the end of day `last`, grouped and filtered."""

    first: date
    last: date
    group_by: tuple[str, ...] = ("site",)
    site: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    stage: str | None = None
    grade: str | None = None
    kind: str | None = None


class DayRow(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What there was at the end of `day`, and by how much the day changed it.

    What there was before the first day is told on the first day, with a `change` of 0 when that
    day changed nothing. For the kinds lost, customer, used and discarded the quantity is the sum
    since the books were opened.
    """

    day: date
    kind: str
    commodity: str
    quantity: int
    change: int
    site: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    stage: str | None = None
    grade: str | None = None


class StockByDayAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Rows in order of day; days without a change are left out. Reflects `position`."""

    position: int
    rows: list[DayRow]


async def stock_by_day(
    pool: Pool, query: StockByDayQuery, sites: list[str] | None
) -> StockByDayAnswer:
    """Stock by day at the sites that may be seen (None: all).

    Raises ValueError for an unknown group or kind, or days out of order or too many.
    """
    groups = checked_words(query.group_by, GROUPS, "group")
    kinds = checked_words((query.kind,), KINDS, "kind") if query.kind else list(SUMMED)
    span = (query.last - query.first).days
    if not 0 <= span <= LONGEST_DAYS:
        raise ValueError(f"the last day must be 0 to {LONGEST_DAYS} days after the first")
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        records = await conn.fetch(
            SQL.by_day_back if set(kinds) <= set(SUMMED) else SQL.by_day,
            groups,
            kinds,
            sites,
            query.site,
            query.cultivar,
            query.rootstock,
            query.size,
            query.stage,
            query.grade,
            query.first,
            query.last,
        )
    return StockByDayAnswer(position=reached, rows=[_row(record) for record in records])


def _row(record: asyncpg.Record) -> DayRow:
    parts: dict[str, Any] = {n: None if value == "" else value for n, value in record.items()}
    return DayRow(**parts)

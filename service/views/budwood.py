"""Budwood on hand: what is left in which bag, how old it is and until when it keeps."""

from datetime import date
from typing import Any, Literal

import msgspec

from service.clock import Clock
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.trade.keeping import KEEPING_DAYS
from service.views.applying import Batch, ByCode, Table
from service.views.clocks import Asked, Clocks, asking, lot_ids
from service.views.paging import cut_page, page_key, page_of

SQL = load(__package__, "budwood.sql")
NAME = "budwood"
KEEPING_SOURCE = (
    "Upper end of common keeping times for wood kept cold and moist in plastic: common practice, "
    "from memory; a look at the wood decides"
)
NO_DAY = date(9999, 12, 31)


class BudwoodOnHand(ByCode):
    """The per-subject view; subjects are budwood lots."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("budwood_on_hand"),)
    finding = SQL

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        if await conn.fetchval(SQL.cultivars_changed, batch.after, batch.through):
            return await self.everything(conn)
        return await super().touched(conn, batch)

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        await conn.execute(SQL.forget, subjects)
        rows = await _left(conn, Clocks(), await lot_ids(conn, subjects))
        if rows:
            await conn.execute(SQL.put, rows)


class BudwoodQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `past_use_by`: true for wood past its day only, false for the rest only."""

    site: str | None = None
    place: str | None = None
    cultivar: str | None = None
    lot: str | None = None
    bag: str | None = None
    past_use_by: bool | None = None
    asked: Asked = Asked()
    limit: int = 100
    after: list[Any] | None = None


class BudwoodRow(msgspec.Struct, frozen=True, kw_only=True):
    """Buds left of a bag at a place.

    `age_days` count from cutting, or from receipt where that is not known, to the site's today.
    `keep_days` and `use_by` are null for crops whose keeping time is not known.
    """

    bag: str
    place: str
    lot: str
    site: str
    cultivar: str | None
    crop: str | None
    source: str | None
    buds: int
    basis: str
    sticks: int | None
    pieces: int | None
    cut_on: date | None
    received_on: date
    age_days: int
    keep_days: int | None
    keep_days_source: str | None
    use_by: date | None
    past_use_by: bool


class BudwoodPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, the first to be used on top, at the moment of its clocks."""

    clocks: Clocks
    rows: list[BudwoodRow]
    next_after: list[Any] | None


async def budwood_on_hand(
    pool: Pool, query: BudwoodQuery, sites: list[str] | None, *, clock: Clock
) -> BudwoodPage:
    """Bags at the sites that may be seen (None: all).

    Raises ValueError for a bad `after`, ClockError for clocks that can't be. Now is answered from
    the view, and reflects what that does; another moment from the log.
    """
    key = page_key(query.after, (date, str, str))
    async with asking(pool, sites, query.asked, clock, view=NAME) as (conn, clocks):
        if clocks.are_now:
            rows = await _page_now(conn, clocks, query, sites, key)
        else:
            rows = await _page_then(conn, clocks, query, sites, key)
    rows, more = cut_page(rows, query.limit, _key)
    return BudwoodPage(clocks=clocks, rows=rows, next_after=more)


async def _page_now(
    conn: Connection, clocks: Clocks, query: BudwoodQuery, sites: list[str] | None, key: list[Any]
) -> list[BudwoodRow]:
    records = await conn.fetch(
        SQL.page,
        list(clocks.days),
        list(clocks.days.values()),
        sites,
        query.site,
        query.place,
        query.cultivar,
        query.lot,
        query.bag,
        query.past_use_by,
        *key,
        query.limit + 1,
    )
    return [BudwoodRow(**dict(record)) for record in records]


async def _page_then(
    conn: Connection, clocks: Clocks, query: BudwoodQuery, sites: list[str] | None, key: list[Any]
) -> list[BudwoodRow]:
    """Bags on hand are few at any moment: all are found, then put in order."""
    filters = (sites, query.site, query.place, query.cultivar, query.bag)
    lots = None if query.lot is None else await lot_ids(conn, [query.lot])
    rows = []
    for parts in await _left(conn, clocks, lots, filters):
        day = clocks.days[parts["site"]]
        age = (day - (parts["cut_on"] or parts["received_on"])).days
        past = parts["use_by"] is not None and day > parts["use_by"]
        if query.past_use_by in (None, past):
            rows.append(BudwoodRow(**parts, age_days=age, past_use_by=past))
    return page_of(rows, _key, key, query.limit + 1)


def _key(row: BudwoodRow) -> tuple[date, str, str]:
    return row.use_by or NO_DAY, row.bag, row.place


async def _left(
    conn: Connection,
    clocks: Clocks,
    lots: list[int] | None,
    filters: tuple[Any, ...] = (None,) * 5,
) -> list[dict[str, Any]]:
    """What was left in bags at the moment of `clocks`: rows of the view's table."""
    changed = clocks.changed
    keeping = (list(KEEPING_DAYS), list(KEEPING_DAYS.values()), KEEPING_SOURCE)
    records = await conn.fetch(
        SQL.left, lots, *clocks.legs, changed.lots, changed.bags, *keeping, *filters
    )
    return [dict(record) for record in records]

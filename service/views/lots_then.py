"""Lots as they were: at a past day, as known then. `service.log.read` answers what they are now.

A lot was there from the day of the first standing event that moved anything of it. What it is
(parents, cultivar) is told as known then, for every day.
"""

from typing import Any

import msgspec

from service.clock import Clock
from service.log import read
from service.log.stored import LotSummary, StoredEvent
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.views.clocks import Asked, Clocks, asking
from service.views.paging import page_key

SQL = load(__package__, "lots_then.sql")


class LotsQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Which lots are wanted: `on_hand` only those of which something stands. `after`: a code."""

    kind: str
    cultivar: str | None = None
    rootstock: str | None = None
    site: str | None = None
    on_hand: bool = False
    asked: Asked = Asked()
    limit: int = 100
    after: list[Any] | None = None


class LotsPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page in order of code, at the moment of its clocks."""

    clocks: Clocks
    rows: list[LotSummary]
    next_after: list[Any] | None


async def lots(pool: Pool, query: LotsQuery, sites: list[str] | None, *, clock: Clock) -> LotsPage:
    """Lots with what stands of them at the sites that may be seen (None: all).

    Raises ValueError for a bad `after`, ClockError for clocks that can't be.
    """
    (after,) = page_key(query.after, (str,))
    filters = (query.kind, after or "", sites, query.cultivar, query.rootstock, query.site)
    parts = (*filters, query.on_hand, query.limit + 1)
    async with asking(pool, sites, query.asked, clock) as (conn, clocks):
        if clocks.are_now:
            found = await conn.fetch(read.SQL.lots_page, *parts)
        else:
            found = await conn.fetch(SQL.page, *parts, *clocks.legs, clocks.changed.lots)
    rows = [LotSummary(**row) for row in found[: query.limit]]
    more = [rows[-1].code] if len(found) > query.limit else None
    return LotsPage(clocks=clocks, rows=rows, next_after=more)


async def lot(
    conn: Connection, clocks: Clocks, sites: list[str] | None, kind: str, code: str
) -> read.LotNow | None:
    """One lot with its bags or places at the moment of `clocks`; None when it was not there."""
    if clocks.are_now:
        return await read.lot(conn, sites, kind, code)
    changed = clocks.changed
    row = await conn.fetchrow(SQL.lot, kind, code, sites, *clocks.legs, changed.lots)
    if row is None:
        return None
    balances = await conn.fetch(SQL.balances_of, row["lot_id"], sites, *clocks.legs)
    bags = []
    if kind == "budwood":
        bags = await conn.fetch(SQL.bags_of, row["lot_id"], *clocks.events, changed.bags)
    return read.lot_of(row, balances, bags)


async def history(
    conn: Connection, clocks: Clocks, sites: list[str] | None, code: str
) -> list[StoredEvent]:
    """What had happened to the lot by then, voids as far as they were known."""
    if clocks.are_now:
        return await read.history(conn, sites, "lot", code)
    rows = await conn.fetch(SQL.history, code, sites, *clocks.events, read.HISTORY_LIMIT)
    return [read.event_of_row(row) for row in rows]

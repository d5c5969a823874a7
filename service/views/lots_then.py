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
from service.views.paging import cut_page, page_key

SQL = load(__package__, "lots_then.sql")
# The page, merged with the same question to the lots that were something else then.
_CHANGED = SQL.page.replace(
    "FROM lots l\n", "FROM jsonb_populate_recordset(NULL::lots, $14::jsonb) l\n"
).replace("l.lot_id <> ALL ($13)", "true")
_WITH_CHANGED = f"({SQL.page}) UNION ALL ({_CHANGED}) ORDER BY code LIMIT $8"


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
            found = [dict(row) for row in await conn.fetch(read.SQL.lots_page, *parts)]
        else:
            found = await _then(conn, clocks, parts, None)
    found, more = cut_page(found, query.limit, lambda row: (row["code"],))
    rows = [
        LotSummary(**{name: row[name] for name in LotSummary.__struct_fields__}) for row in found
    ]
    return LotsPage(clocks=clocks, rows=rows, next_after=more)


async def _then(
    conn: Connection, clocks: Clocks, parts: tuple[Any, ...], code: str | None
) -> list[dict[str, Any]]:
    changed = clocks.changed.lots
    if not changed:
        found = await conn.fetch(SQL.page, *parts, *clocks.legs, code, None)
    else:
        ids = [row["lot_id"] for row in changed]
        found = await conn.fetch(_WITH_CHANGED, *parts, *clocks.legs, code, ids, changed)
    return [dict(row) for row in found]


async def lot(
    conn: Connection, clocks: Clocks, sites: list[str] | None, kind: str, code: str
) -> read.LotNow | None:
    """One lot with its bags or places at the moment of `clocks`; None when it was not there."""
    if clocks.are_now:
        return await read.lot(conn, sites, kind, code)
    found = await _then(conn, clocks, (kind, "", sites, None, None, None, False, 1), code)
    if not found:
        return None
    (row,) = found
    balances = await conn.fetch(SQL.balances_of, row["lot_id"], sites, *clocks.legs)
    bags = []
    if kind == "budwood":
        changed = clocks.changed.bags
        bags = await conn.fetch(SQL.bags_of, row["lot_id"], *clocks.events, changed)
    for figure in ("on_hand", "failed", "in_transit"):
        del row[figure]
    return read.lot_of(row, balances, bags)


async def history(
    conn: Connection, clocks: Clocks, sites: list[str] | None, code: str
) -> list[StoredEvent]:
    """What had happened to the lot by then, voids as far as they were known."""
    if clocks.are_now:
        return await read.history(conn, sites, "lot", code)
    rows = await conn.fetch(SQL.history, code, sites, *clocks.events, read.HISTORY_LIMIT)
    return [read.event_of_row(row) for row in rows]

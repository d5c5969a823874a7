"""Checks: what is due for which lot at which place, and places that want a look.

The table holds days; whether a check is due or overdue is asked with the site's own calendar day,
so nothing has to run at midnight. Rows of a lot are computed from its history in order of
occurrence: late and voided events come out right.
"""

from datetime import date
from typing import Any, Literal

import msgspec

from service.clock import Clock
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.trade.check_plans import LOOK, LOOKS, state_on
from service.views import check_spells
from service.views.applying import Batch, Table
from service.views.clocks import Asked, Clocks, asking, lot_ids
from service.views.lot_checks import Row, looks_count, plans_at, rows_of_lots, rows_of_places
from service.views.paging import cut_page, page_key, page_of

SQL = load(__package__, "checks.sql")
NAME = "checks"


class Checks:
    """The per-subject view; subjects are lot:CODE and place:CODE (a look at the place)."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("checks_due"),)

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        if await conn.fetchval(SQL.plans_changed, batch.after, batch.through):
            return await self.everything(conn)
        whole_places = looks_count(await plans_at(conn, Clocks()))
        rows = await conn.fetch(SQL.touched, batch.after, batch.through, list(LOOKS), whole_places)
        return [row["subject"] for row in rows]

    async def everything(self, conn: Connection) -> list[str]:
        return [row["subject"] for row in await conn.fetch(SQL.everything)]

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        lots = [s.removeprefix("lot:") for s in subjects if s.startswith("lot:")]
        places = [s.removeprefix("place:") for s in subjects if s.startswith("place:")]
        rows: list[Row] = []
        if lots:
            rows += await rows_of_lots(conn, Clocks(), await lot_ids(conn, lots))
        rows += await rows_of_places(conn, Clocks(), places) if places else []
        await conn.execute(SQL.forget, lots, places)
        if rows:
            await conn.execute(SQL.put, rows)


class ChecksQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters; `check` is a check's name (`look` for looks at places). `after`: `next_after` of
    the page before."""

    site: str | None = None
    place: str | None = None
    lot: str | None = None
    check: str | None = None
    state: Literal["due", "overdue", "upcoming"] | None = None
    asked: Asked = Asked()
    limit: int = 100
    after: list[Any] | None = None


class CheckRow(msgspec.Struct, frozen=True, kw_only=True):
    """One check and its state on the site's day `today`.

    `lot` is null for a look at the whole place. `due_on` is the first day due, `overdue_on` the
    first day overdue. `trees` are those of the plan's stage at the place. `counted_from` is the
    day of what the plan counts `after`. `source` says where the plan's days are from.
    """

    site: str
    place: str
    lot: str | None
    cultivar: str | None
    rootstock: str | None
    check: str
    state: Literal["due", "overdue", "upcoming"]
    due_on: date
    overdue_on: date
    days_overdue: int
    trees: int
    last_done: date | None
    counted_from: date
    after: str
    plan: str
    source: str
    today: date


class ChecksPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page in order of the due day, at the moment of its clocks."""

    clocks: Clocks
    rows: list[CheckRow]
    next_after: list[Any] | None


async def checks(
    pool: Pool, query: ChecksQuery, sites: list[str] | None, *, clock: Clock
) -> ChecksPage:
    """Checks at the sites that may be seen (None: all).

    Raises ValueError for a bad `after`, ClockError for clocks that can't be. Now is answered from
    the view, and reflects what that does; another moment from the log.
    """
    key = page_key(query.after, (date, str, str, str, str))
    async with asking(pool, sites, query.asked, clock, view=NAME) as (conn, clocks):
        if clocks.are_now:
            rows = await _page_now(conn, clocks, query, sites, key)
        else:
            rows = await _page_then(conn, clocks, query, sites, key)
    rows, more = cut_page(rows, query.limit, _key)
    return ChecksPage(clocks=clocks, rows=rows, next_after=more)


async def _page_now(
    conn: Connection, clocks: Clocks, query: ChecksQuery, sites: list[str] | None, key: list[Any]
) -> list[CheckRow]:
    records = await conn.fetch(
        SQL.page,
        list(clocks.days),
        list(clocks.days.values()),
        sites,
        query.site,
        query.place,
        query.lot,
        query.check,
        query.state,
        *key,
        query.limit + 1,
    )
    return [_check_row(dict(record)) for record in records]


async def _page_then(
    conn: Connection, clocks: Clocks, query: ChecksQuery, sites: list[str] | None, key: list[Any]
) -> list[CheckRow]:
    """Rows of lots as they stood, those of lots told of later worked out anew; and looks."""
    where = (sites, query.site, query.place)
    found: list[Row] = []
    if query.lot is not None:
        found += await rows_of_lots(conn, clocks, await lot_ids(conn, [query.lot]), where)
    elif query.check != LOOK:
        told_later = await check_spells.told_later(conn, clocks)
        lots = None if told_later is None else await lot_ids(conn, told_later)
        if lots is None or lots:
            found += await rows_of_lots(conn, clocks, lots, where)
        if told_later is not None:
            filters = (*where, query.check, query.state)
            found += await check_spells.stood(
                conn, clocks, told_later, filters, key, query.limit + 1
            )
    if query.lot is None and query.check in (None, LOOK):
        found += await rows_of_places(conn, clocks, None, where)
    rows = []
    for one in found:
        today = clocks.days[one["site"]]
        state, days_overdue = state_on(today, one["due_on"], one["overdue_on"])
        if query.check in (None, one["check_name"]) and query.state in (None, state):
            one |= {"today": today, "state": state, "days_overdue": days_overdue}
            rows.append(_check_row(one))
    return page_of(rows, _key, key, query.limit + 1)


def _key(row: CheckRow) -> tuple[Any, ...]:
    return row.due_on, row.site, row.place, row.lot or "", row.check


def _check_row(parts: dict[str, Any]) -> CheckRow:
    parts["check"] = parts.pop("check_name")
    parts["lot"] = parts["lot"] or None
    return CheckRow(**parts)

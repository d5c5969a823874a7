"""Checks: what is due for which lot at which place, and places that want a look.

The table holds days; whether a check is due or overdue is asked with the site's own calendar day,
so nothing has to run at midnight. Rows of a lot are computed from its history in order of
occurrence: late and voided events come out right.
"""

from collections import defaultdict
from datetime import date
from typing import Any, Literal

import asyncpg
import msgspec

from service.clock import Clock
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.trade.check_plans import (
    LOOK,
    LOOK_SOURCE,
    LOOKS,
    CheckedLot,
    DueCheck,
    due_checks,
    look_due,
    plans_in_force,
    state_on,
)
from service.trade.events import EVENT_TYPES
from service.trade.events.catalogue import CheckPlan
from service.trade.events.envelope import Envelope
from service.trade.events.stock import StockOpened
from service.trade.events.trees import TreesReceived
from service.views.applying import Batch, Table
from service.views.clocks import Asked, Clocks, asking, lot_ids
from service.views.paging import page_key, page_of
from service.views.positions import position

SQL = load(__package__, "checks.sql")
NAME = "checks"
COLUMNS = (
    "lot",
    "place",
    "check_name",
    "site",
    "cultivar",
    "rootstock",
    "plan",
    "after",
    "counted_from",
    "due_on",
    "overdue_on",
    "last_done",
    "trees",
    "source",
)


class Checks:
    """The per-subject view; subjects are lot:CODE and place:CODE (a look at the place)."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("checks_due"),)

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        if await conn.fetchval(SQL.plans_changed, batch.after, batch.through):
            return await self.everything(conn)
        whole_places = _looks_count(await _plans(conn, Clocks()))
        rows = await conn.fetch(SQL.touched, batch.after, batch.through, list(LOOKS), whole_places)
        return [row["subject"] for row in rows]

    async def everything(self, conn: Connection) -> list[str]:
        return [row["subject"] for row in await conn.fetch(SQL.everything)]

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        lots = [s.removeprefix("lot:") for s in subjects if s.startswith("lot:")]
        places = [s.removeprefix("place:") for s in subjects if s.startswith("place:")]
        rows = []
        if lots:
            rows += await _rows_of_lots(conn, Clocks(), await lot_ids(conn, lots))
        rows += await _rows_of_places(conn, Clocks(), places) if places else []
        await conn.execute(SQL.forget, lots, places)
        if rows:
            await conn.execute(SQL.put, [dict(zip(COLUMNS, row, strict=True)) for row in rows])


async def _rows_of_lots(
    conn: Connection,
    clocks: Clocks,
    lots: list[int] | None,
    filters: tuple[Any, ...] = (None,) * 3,
) -> list[tuple[Any, ...]]:
    """Rows of lots by id (None: all) at the moment of `clocks`; filters as `standing` has them."""
    live: dict[str, dict[str, dict[str, int]]] = defaultdict(lambda: defaultdict(dict))
    sites: dict[str, str] = {}
    changed = clocks.changed.lots
    for row in await conn.fetch(SQL.standing, lots, *clocks.legs, changed, *filters):
        live[row["lot"]][row["place"]][row["stage"]] = row["trees"]
        sites[row["place"]] = row["site"]
    if not live:
        return []
    plans = await _plans(conn, clocks)
    histories: dict[str, list[asyncpg.Record]] = defaultdict(list)
    told = await conn.fetch(SQL.history, list(live), _looks_count(plans), *clocks.events, changed)
    for row in told:
        histories[row["lot"]].append(row)
    rows: list[tuple[Any, ...]] = []
    for lot in await conn.fetch(SQL.lots, list(live), clocks.known, changed):
        code = lot["code"]
        events = [decoded(row) for row in histories[code]]
        days = {index: row["occurred_day"] for index, row in enumerate(histories[code])}
        checked = CheckedLot(
            lot=code,
            crop=lot["crop"],
            method=lot["method"],
            grafted_on=lot["day"],
            opened_on=_opened_on(code, events, days),
        )
        for check in due_checks(checked, events, plans, live[code], days):
            rows.append(_row(check, sites[check.place], lot["cultivar"], lot["rootstock"]))
    return rows


async def _rows_of_places(
    conn: Connection,
    clocks: Clocks,
    places: list[str] | None,
    filters: tuple[Any, ...] = (None,) * 3,
) -> list[tuple[Any, ...]]:
    """Rows of looks at these places (None: all) at the moment of `clocks`."""
    rows = []
    parts = (places, *clocks.legs, list(LOOKS), clocks.behind, *filters)
    for row in await conn.fetch(SQL.looks, *parts):
        start, due_on, overdue_on = look_due(row["last_look"], row["since"], row["every_days"])
        check = DueCheck(
            lot="",
            place=row["place"],
            check=LOOK,
            plan=LOOK,
            after="last",
            counted_from=start,
            due_on=due_on,
            overdue_on=overdue_on,
            last_done=row["last_look"],
            trees=row["trees"],
            source=f"{LOOK_SOURCE}: every {row['every_days']} days",
        )
        rows.append(_row(check, row["site"], None, None))
    return rows


def _row(
    check: DueCheck, site: str, cultivar: str | None, rootstock: str | None
) -> tuple[Any, ...]:
    return (
        check.lot,
        check.place,
        check.check,
        site,
        cultivar,
        rootstock,
        check.plan,
        check.after,
        check.counted_from,
        check.due_on,
        check.overdue_on,
        check.last_done,
        check.trees,
        check.source,
    )


async def _plans(conn: Connection, clocks: Clocks) -> list[CheckPlan]:
    rows = await conn.fetch(SQL.plans, clocks.known)
    return plans_in_force([msgspec.convert(row["body"], CheckPlan) for row in rows])


def _looks_count(plans: list[CheckPlan]) -> bool:
    """Whether a look at a whole place is a check of the lots that stand there."""
    return any("place.checked" in plan.done_by for plan in plans)


def decoded(row: asyncpg.Record) -> Envelope:
    """The event of a row with type, site, occurred and data."""
    whole = {name: row[name] for name in ("type", "site", "occurred", "data")}
    return msgspec.convert(whole, EVENT_TYPES[row["type"]])


def _opened_on(lot: str, events: list[Envelope], days: dict[int, date]) -> date | None:
    """The day the lot's books were opened, or it was bought in; None when it was grafted here."""
    for index, event in enumerate(events):
        if isinstance(event, StockOpened) and any(line.lot == lot for line in event.data.lines):
            return days[index]
        if isinstance(event, TreesReceived) and event.data.lot == lot:
            return days[index]
    return None


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
    async with asking(pool, sites, query.asked, clock) as (conn, clocks):
        if clocks.are_now:
            clocks = clocks.reflecting(await position(conn, NAME))
            rows = await _page_now(conn, clocks, query, sites, key)
        else:
            rows = await _page_then(conn, clocks, query, sites, key)
    more = None
    if len(rows) > query.limit:
        day, *rest = _key(rows[query.limit - 1])
        more = [day.isoformat(), *rest]
    return ChecksPage(clocks=clocks, rows=rows[: query.limit], next_after=more)


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
    where = (sites, query.site, query.place)
    found: list[tuple[Any, ...]] = []
    if query.check != LOOK:
        lots = None if query.lot is None else await lot_ids(conn, [query.lot])
        found += await _rows_of_lots(conn, clocks, lots, where)
    if query.lot is None and query.check in (None, LOOK):
        found += await _rows_of_places(conn, clocks, None, where)
    rows = []
    for parts in found:
        one = dict(zip(COLUMNS, parts, strict=True))
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

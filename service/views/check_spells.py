"""Checks over time: how those of each lot stood at the end of each day, as is known now.

A question about a past day finds its rows here, and works out anew only the lots that were told of
later: late, voided, or after what was known then. It saves work and decides nothing: where it lags
or can't serve, more lots are worked out.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any, Literal

import asyncpg

from service.log.incoming import FUTURE_TOLERANCE
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.check_days import check_spells
from service.trade.check_history import DONE
from service.trade.events.catalogue import CheckPlan
from service.views.applying import Batch, Table
from service.views.clocks import SQL as CLOCKS
from service.views.clocks import Clocks, lot_ids
from service.views.lot_checks import Row, looks_count, plans_at, row_of, told_of
from service.views.positions import position
from service.views.site_days import site_days

SQL = load(__package__, "check_spells.sql")
NAME = "check_spells"
NOW = Clocks()
COLUMNS = (
    *("lot", "place", "check_name", "from_day", "until_day", "site", "cultivar", "rootstock"),
    *("plan", "after", "counted_from", "due_on", "overdue_on", "last_done", "trees", "source"),
)


class CheckSpells:
    """The per-subject view; subjects are codes of tree lots."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("check_spells"),)

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        if await conn.fetchval(SQL.plans_changed, batch.after, batch.through):
            return await self.everything(conn)
        plans = await plans_at(conn, NOW)
        rows = await _touched(conn, batch.after, batch.through, None, plans)
        rows += await conn.fetch(SQL.heirs, batch.after, batch.through)
        return sorted({row["code"] for row in rows})

    async def everything(self, conn: Connection) -> list[str]:
        return [row["code"] for row in await conn.fetch(SQL.everything)]

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        """Only rows that differ are written: a day more changes little of a lot's past."""
        anew = {tuple(row.values()) for row in await _rows(conn, subjects)}
        kept = {tuple(row.values()) for row in await conn.fetch(SQL.kept, subjects)}
        if gone := kept - anew:
            keys = [list(part) for part in zip(*(row[:4] for row in gone), strict=True)]
            await conn.execute(SQL.forget, *keys)
        if new := anew - kept:
            rows = [dict(zip(COLUMNS, row, strict=True)) for row in new]
            await conn.execute(SQL.put, rows)


async def _rows(conn: Connection, lots: list[str]) -> list[Row]:
    nets: dict[str, dict[date, dict[tuple[str, str], int]]] = defaultdict(lambda: defaultdict(dict))
    sites: dict[str, str] = {}
    for row in await conn.fetch(SQL.nets, await lot_ids(conn, lots)):
        nets[row["lot"]][row["day"]][row["place"], row["stage"]] = row["net"]
        sites[row["place"]] = row["site"]
    plans = await plans_at(conn, NOW)
    rows = []
    for lot in await told_of(conn, NOW, list(nets), plans):
        days = nets[lot.checked.lot]
        for spell in check_spells(lot.checked, lot.history, lot.opened, days, plans):
            made = row_of(spell.check, sites[spell.check.place], lot.cultivar, lot.rootstock)
            made |= {"from_day": spell.from_day, "until_day": spell.until_day}
            rows.append({name: made[name] for name in COLUMNS})
    return rows


async def told_later(conn: Connection, clocks: Clocks) -> list[str] | None:
    """Codes of the lots whose rows can't be taken from the view for the moment of `clocks`.

    None: the view can't serve, since the check plans were others then.
    """
    head = clocks.position
    reached = await position(conn, NAME)
    if clocks.known is not None and await plans_at(conn, clocks) != await plans_at(conn, NOW):
        return None
    plans = await plans_at(conn, NOW)
    since = min(reached, head, clocks.known_at)
    day = await _last_day(conn, clocks)
    codes = {row["code"] for row in await conn.fetch(SQL.set_aside, NAME)}
    codes |= {row["code"] for row in clocks.changed.lots or []}
    if since < head:
        rows = await _touched(conn, since, head, day, plans)
        codes |= {row["code"] for row in rows}
    if reached < head:
        codes |= {row["code"] for row in await conn.fetch(SQL.heirs, reached, head)}
    if clocks.behind:
        # On the last day only some sites' events count.
        codes |= {row["code"] for row in await conn.fetch(SQL.at_the_borders, day)}
    return sorted(codes)


async def _touched(
    conn: Connection, after: int, through: int, day: date | None, plans: Sequence[CheckPlan]
) -> list[asyncpg.Record]:
    """Rows with the codes of lots that events may have changed, by the plans in force."""
    asked = {name for plan in plans for name in plan.done_by}
    types = [*DONE, *asked.intersection(("work.done", "place.checked"))]
    return await conn.fetch(SQL.touched, after, through, day, looks_count(plans), types)


async def _last_day(conn: Connection, clocks: Clocks) -> date:
    """The last day that any known event can be of: none was told of a day to come."""
    if clocks.known is None:
        assert clocks.last_day is not None, "the question is not about now"
        return clocks.last_day
    recorded = await conn.fetchval(CLOCKS.recorded_at, clocks.known)
    if recorded is None:
        return date.min
    days = await site_days(conn, recorded + FUTURE_TOLERANCE)
    newest = max(days.values(), default=recorded.date())
    return newest if clocks.last_day is None else min(newest, clocks.last_day)


async def stood(
    conn: Connection,
    clocks: Clocks,
    but: list[str],
    filters: tuple[Any, ...],
    key: list[Any],
    limit: int,
) -> list[Row]:
    """Rows by due day at the moment of `clocks`, of all lots but the codes `but`."""
    day = await _last_day(conn, clocks)
    days = (list(clocks.days), list(clocks.days.values()))
    rows = [dict(row) for row in await conn.fetch(SQL.page, day, but, *days, *filters, *key, limit)]
    for row in rows:
        del row["from_day"], row["until_day"]
    return rows

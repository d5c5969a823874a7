"""What the checks of lots and the looks at places are at a moment, worked out from the log."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

import asyncpg
import msgspec

from service.storage.pool import Connection
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
)
from service.trade.events import EVENT_TYPES
from service.trade.events.catalogue import CheckPlan
from service.trade.events.envelope import Envelope
from service.trade.events.stock import StockOpened
from service.trade.events.trees import TreesReceived
from service.views.clocks import Clocks

SQL = load(__package__, "lot_checks.sql")
# What neither moves trees nor counts as done to them.
SILENT = ("event.voided", "treatment.applied", "tools.disinfected", "papers.printed")
SILENT_GROUPS = ("hold.", "reservation.", "alert.", "catalogue.", "grafting.")
Row = dict[str, Any]
"""A row of `checks_due`."""


class LotTold(NamedTuple):
    """A lot with its unvoided events in order of occurrence, each with its day, and the days of
    those that opened its books or brought it in."""

    checked: CheckedLot
    cultivar: str | None
    rootstock: str | None
    history: list[tuple[date, Envelope]]
    opened: list[date]


async def plans_at(conn: Connection, clocks: Clocks) -> list[CheckPlan]:
    """The plans in force as known then."""
    rows = await conn.fetch(SQL.plans, clocks.known)
    return plans_in_force([msgspec.convert(row["body"], CheckPlan) for row in rows])


def looks_count(plans: Sequence[CheckPlan]) -> bool:
    """Whether a look at a whole place is a check of the lots that stand there."""
    return any("place.checked" in plan.done_by for plan in plans)


async def told_of(
    conn: Connection, clocks: Clocks, lots: list[str], plans: Sequence[CheckPlan]
) -> list[LotTold]:
    """What had been told of these lots by the moment of `clocks`."""
    changed = clocks.changed.lots
    silent = _silent(plans)
    histories: dict[str, list[asyncpg.Record]] = defaultdict(list)
    parts = (lots, looks_count(plans), *clocks.events, changed, silent)
    for row in await conn.fetch(SQL.history, *parts):
        histories[row["lot"]].append(row)
    found = []
    for lot in await conn.fetch(SQL.lots, lots, clocks.known, changed):
        code = lot["code"]
        history = [(row["occurred_day"], decoded(row)) for row in histories[code]]
        opened = [day for day, event in history if _opens(code, event)]
        checked = CheckedLot(
            lot=code,
            crop=lot["crop"],
            method=lot["method"],
            grafted_on=lot["day"],
            opened_on=opened[0] if opened else None,
        )
        found.append(LotTold(checked, lot["cultivar"], lot["rootstock"], history, opened))
    return found


def _silent(plans: Sequence[CheckPlan]) -> list[str]:
    """Types of events that change no check; work is one while no plan asks for it."""
    asked = any("work.done" in plan.done_by for plan in plans)
    types = [name for name in EVENT_TYPES if name.startswith(SILENT_GROUPS)]
    return [*types, *SILENT, *(() if asked else ("work.done",))]


async def rows_of_lots(
    conn: Connection,
    clocks: Clocks,
    lots: list[int] | None,
    filters: tuple[Any, ...] = (None,) * 3,
) -> list[Row]:
    """Rows of lots by id (None: all) at the moment of `clocks`; filters as `standing` has them."""
    live: dict[str, dict[str, dict[str, int]]] = defaultdict(lambda: defaultdict(dict))
    sites: dict[str, str] = {}
    changed = clocks.changed.lots
    for row in await conn.fetch(SQL.standing, lots, *clocks.legs, changed, *filters):
        live[row["lot"]][row["place"]][row["stage"]] = row["trees"]
        sites[row["place"]] = row["site"]
    if not live:
        return []
    plans = await plans_at(conn, clocks)
    rows = []
    for lot in await told_of(conn, clocks, list(live), plans):
        events = [event for _, event in lot.history]
        days = {index: day for index, (day, _) in enumerate(lot.history)}
        for check in due_checks(lot.checked, events, plans, live[lot.checked.lot], days):
            rows.append(row_of(check, sites[check.place], lot.cultivar, lot.rootstock))
    return rows


async def rows_of_places(
    conn: Connection,
    clocks: Clocks,
    places: list[str] | None,
    filters: tuple[Any, ...] = (None,) * 3,
) -> list[Row]:
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
        rows.append(row_of(check, row["site"], None, None))
    return rows


def row_of(check: DueCheck, site: str, cultivar: str | None, rootstock: str | None) -> Row:
    """A check as a row."""
    row = msgspec.structs.asdict(check)
    row["check_name"] = row.pop("check")
    return row | {"site": site, "cultivar": cultivar, "rootstock": rootstock}


def decoded(row: asyncpg.Record) -> Envelope:
    """The event of a row with type, site, occurred and data."""
    whole = {name: row[name] for name in ("type", "site", "occurred", "data")}
    return msgspec.convert(whole, EVENT_TYPES[row["type"]])


def _opens(lot: str, event: Envelope) -> bool:
    """Whether the event opened the lot's books, or bought it in: it was not grafted here."""
    if isinstance(event, StockOpened):
        return any(line.lot == lot for line in event.data.lines)
    return isinstance(event, TreesReceived) and event.data.lot == lot

"""Alerts: the view that follows the log, and the answer.

From the log: remarks that want somebody (a breach, a count that differs …), their end when the
event is voided, what people said (acknowledged, remind on), and the end of alerts about checks
that have been recorded. What the calendar raises is in `watch`.
"""

from datetime import date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

import asyncpg
import msgspec
from msgspec import Meta

from service.clock import Clock
from service.reminders.raising import ALERT_REMARKS, SQL, Raised, raise_alerts
from service.storage.pool import Connection, Pool
from service.storage.walls import seeing
from service.trade.words import understand_occurred
from service.views.applying import Batch, Table
from service.views.paging import cut_page, page_key
from service.views.positions import position
from service.views.site_days import site_days, today_at, zone

NAME = "alerts"


class Alerts:
    """The additive view. It follows `checks`, so that a recorded check ends its alert at once."""

    name: str = NAME
    kind: Literal["additive"] = "additive"
    follows: tuple[str, ...] = ("checks",)
    # What the calendar raised is kept: the log alone could not tell it again.
    tables: tuple[Table, ...] = (Table("alerts", only="origin = 'event'"), Table("alert_words"))

    async def apply(self, conn: Connection, batch: Batch) -> None:
        span = (batch.after, batch.through)
        raised: list[Raised] = []
        for row in await conn.fetch(SQL.remarked, *span, list(ALERT_REMARKS)):
            raised += _of_remarks(row)
        await raise_alerts(conn, raised)
        await conn.execute(SQL.close_voided, *span)
        await conn.execute(SQL.close_counted, *span)
        words = [_word(row) for row in await conn.fetch(SQL.said, *span)]
        if words:
            await conn.executemany(SQL.add_word, words)
        await conn.execute(SQL.close_done, None)

    async def outdated(self, conn: Connection, batch: Batch) -> bool:
        """Never: what was remarked stays remarked."""
        return False


def _of_remarks(row: asyncpg.Record) -> list[Raised]:
    raised = []
    for number, remark in enumerate(row["remarks"]):
        if remark["kind"] not in ALERT_REMARKS:
            continue
        numbers = remark.get("numbers", {})
        raised.append(
            Raised(
                key=f"remark/{row['id']}/{number}",
                kind=remark["kind"],
                origin="event",
                site=row["site"],
                sites=list(row["sites"]),
                detail=remark["detail"],
                raised_at=row["recorded_at"],
                numbers=numbers,
                lot=_text(numbers.get("lot")) or row["lot"],
                place=_text(numbers.get("place")) or row["place"],
                event_position=row["position"],
                subject=_text(numbers.get("bag") or numbers.get("item")),
            )
        )
    return raised


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _word(row: asyncpg.Record) -> tuple[Any, ...]:
    word = row["type"].removeprefix("alert.")
    on = understand_occurred(row["on"], zone(row["time_zone"])).day if row["on"] else None
    return row["alert"], row["position"], word, row["occurred_at"], on, row["actor"], row["note"]


State = Literal["open", "acknowledged", "remind_on", "closed"]


class AlertsQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `after`: `next_after` of the page before."""

    site: str | None = None
    lot: str | None = None
    place: str | None = None
    kind: str | None = None
    state: State | None = None
    limit: int = 100
    after: list[Any] | None = None


class AlertRow(msgspec.Struct, frozen=True, kw_only=True):
    """An alert.

    `level` 2 is the louder one of a check that is long overdue. `event`: the id of the event whose
    remark it is. `acknowledged_by`, `remind_on` and `note` are from the newest word said of it; its
    state is open again once the day to be reminded has come.
    """

    id: str
    kind: str
    state: State
    site: str | None
    lot: str | None
    place: str | None
    check: str | None
    due_on: date | None
    level: int
    event: str | None
    subject: str | None
    detail: str
    numbers: dict[str, Any]
    raised_at: datetime
    closed_at: datetime | None
    closed_because: Annotated[
        str | None,
        Meta(
            description="`done` or `no_longer_due` (of a check), `louder_one_raised`, `voided`, "
            "`counted`, `put_right`, `covered` (what is promised), `no_longer_so`."
        ),
    ]
    acknowledged_by: str | None
    remind_on: date | None
    note: str | None


class AlertsPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, the newest alerts first. Reflects the log up to `position`."""

    position: int
    rows: list[AlertRow]
    next_after: list[Any] | None


async def alerts(
    pool: Pool, query: AlertsQuery, sites: list[str] | None, *, clock: Clock
) -> AlertsPage:
    """Alerts that touch the sites that may be seen (None: all). ValueError for a bad `after`."""
    key = page_key(query.after, (datetime, UUID))
    if key[0] is not None and key[0].tzinfo is None:
        raise ValueError("this is no key of a page of this list")
    reached, rows = await _fetch(pool, None, query, sites, key, clock)
    rows, more = cut_page(rows, query.limit, lambda row: (row.raised_at, row.id))
    return AlertsPage(position=reached, rows=rows, next_after=more)


async def alert(
    pool: Pool, alert_id: str, sites: list[str] | None, *, clock: Clock
) -> AlertRow | None:
    """One alert, or None when there is none or it is another site's."""
    try:
        UUID(alert_id)
    except ValueError:
        return None
    _, rows = await _fetch(pool, alert_id, AlertsQuery(limit=1), sites, [None, None], clock)
    return rows[0] if rows else None


async def _fetch(
    pool: Pool,
    alert_id: str | None,
    query: AlertsQuery,
    sites: list[str] | None,
    key: list[Any],
    clock: Clock,
) -> tuple[int, list[AlertRow]]:
    now = clock()
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        days = await site_days(conn, now)
        records = await conn.fetch(
            SQL.page,
            list(days),
            list(days.values()),
            today_at(days, None, now),
            sites,
            alert_id,
            query.site,
            query.lot,
            query.place,
            query.kind,
            query.state,
            key[0],
            None if key[1] is None else str(key[1]),
            query.limit + 1,
        )
    return reached, [_row(record) for record in records]


async def acting_site(conn: Connection, alert_id: str, sites: list[str] | None) -> str | None:
    """A site that can say something of an alert for who sees `sites`; None when it is of none."""
    site: str | None = await conn.fetchval(SQL.acting_site, alert_id, sites)
    return site


def _row(record: asyncpg.Record) -> AlertRow:
    parts: dict[str, Any] = dict(record)
    word, actor = parts.pop("word"), parts.pop("actor")
    parts["check"] = parts.pop("check_name")
    parts["acknowledged_by"] = (actor or "unnamed") if word == "acknowledged" else None
    return AlertRow(**parts)

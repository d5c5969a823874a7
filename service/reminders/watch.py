"""What the calendar raises: overdue checks, places nobody looked at; and what waits for a person.

Idempotent: each alert is named by what it is about, the due day and its level, so that looking
twice, or by two processes, changes nothing.
"""

from collections.abc import Awaitable, Callable
from datetime import date, datetime
from functools import partial

import asyncpg
import structlog

from service.clock import Clock
from service.reminders.conditions import tell_conditions
from service.reminders.raising import (
    FAULT,
    NOT_LOOKED_AT,
    OVERDUE,
    PUT_RIGHT,
    SQL,
    WEBHOOK_STOPPED,
    Raised,
    by_watch,
    keep,
    raise_alerts,
)
from service.reminders.shortfalls import USUAL, RiskLimits, tell_risks
from service.storage.pool import Connection, Pool
from service.trade.check_plans import LOOK
from service.views.site_days import site_days

_log = structlog.get_logger(__name__)
# Overdue by more days than this, the alert is raised anew as the louder level 2.
LOUDER_AFTER_DAYS = 7


async def look_at_calendar(pool: Pool, clock: Clock, limits: RiskLimits = USUAL) -> int:
    """Raise what is overdue on each site's own day and close what has been done.

    Also raises and closes alerts about views' faults, about what was refused and waits to be put
    right, about webhooks that nobody stopped and are, about loggers, frost and wood that will not
    keep, and about promises that may not be kept. Returns how many alerts were raised.
    """
    now = clock()
    async with pool.acquire() as conn, conn.transaction():
        days = await site_days(conn, now)
        await conn.execute(SQL.close_done, now)
        raised = await _overdue(conn, days, now)
        raised += await _to_put_right(conn, now)
        raised += await _webhooks_stopped(conn, now)
        raised += await tell_faults(conn, clock=clock)
        raised += await _apart(conn, "conditions", partial(tell_conditions, conn, now))
        raised += await _apart(conn, "risks", partial(tell_risks, conn, limits, now))
    return raised


async def _apart(conn: Connection, what: str, tell: Callable[[], Awaitable[int]]) -> int:
    """In a transaction of their own: what is overdue is raised whatever becomes of these."""
    try:
        async with conn.transaction():
            return await tell()
    except Exception as error:
        _log.error("not_told", what=what, error=repr(error))
        return 0


async def _overdue(conn: Connection, days: dict[str, date], now: datetime) -> int:
    rows = await conn.fetch(SQL.overdue, list(days), list(days.values()), LOUDER_AFTER_DAYS)
    raised = await raise_alerts(conn, [_late(row, now) for row in rows])
    await conn.execute(SQL.close_lower_levels, now)
    return raised


def _late(row: asyncpg.Record, now: datetime) -> Raised:
    place, check, due_on = row["place"], row["check_name"], row["due_on"]
    since = f"since {row['last_done']}" if row["last_done"] else "yet"
    if check == LOOK:
        kind, about = NOT_LOOKED_AT, place
        detail = f"Nobody has looked at {place} {since}; a look was due on {due_on}."
    else:
        kind, about = OVERDUE, f"{row['lot']}/{place}/{check}"
        words = check.replace("_", " ")
        detail = f"{words} of lot {row['lot']} at {place} was due on {due_on}, not done {since}."
        detail = detail[0].upper() + detail[1:]
    return by_watch(
        kind,
        f"{about}/{due_on}/{row['level']}",
        [row["site"]],
        detail,
        now,
        # The days overdue change every day: they are asked of the checks, not kept here.
        numbers={"overdue_on": str(row["overdue_on"]), "trees": row["trees"]},
        lot=row["lot"] or None,
        place=place,
        check=check,
        due_on=due_on,
        level=row["level"],
        subject=place if check == LOOK else row["lot"],
    )


async def tell_faults(conn: Connection, *, clock: Clock) -> int:
    """Have an alert open for each subject that a view has set aside, and for no other.

    Returns how many were raised. Called as soon as a view meets a fault, and by the calendar.
    """
    now = clock()
    # Two at once would each not see the other's, and take it for mended.
    await conn.execute(SQL.lock_faults)
    wanted = [
        Raised(
            key=f"{FAULT}/{row['view']}/{row['subject']}",
            kind=FAULT,
            origin="watch",
            site=row["site"],
            sites=row["sites"],
            detail=_fault_in_words(row["view"], row["subject"]),
            raised_at=now,
            numbers={"position": row["position"], "error": row["error"][:500]},
            subject=row["subject"],
        )
        for row in await conn.fetch(SQL.faults)
    ]
    return await keep(conn, FAULT, wanted, now)


def _fault_in_words(view: str, subject: str) -> str:
    what, _, number = subject.partition(":")
    if what == "position":
        return (
            f"The event at position {number} could not be taken into {view}, which lacks it; all "
            f"else is there. Once the cause is gone, `graftlog rebuild {view}` takes it in."
        )
    return f"{view} could not be computed for {subject}; what it shows of it may be old."


async def _to_put_right(conn: Connection, now: datetime) -> int:
    wanted = [
        Raised(
            key=f"{PUT_RIGHT}/{row['id']}",
            kind=PUT_RIGHT,
            origin="watch",
            site=row["site"] if row["site"] in row["sites"] else None,
            sites=row["sites"],
            detail="Something was sent that the log refused; it waits to be put right.",
            raised_at=now,
            numbers={"to_put_right": row["id"], "attempts": row["attempts"]},
            subject=str(row["id"]),
        )
        for row in await conn.fetch(SQL.to_put_right)
    ]
    return await keep(conn, PUT_RIGHT, wanted, now)


_WHY_STOPPED = {
    "gone": "its receiver wants no more",
    "exhausted": "a message did not arrive in three days",
    "key_gone": "no live key of its owner sees its sites",
    "secret_unreadable": "the key that its secret was kept with is lost",
}


async def _webhooks_stopped(conn: Connection, now: datetime) -> int:
    wanted = [
        by_watch(
            WEBHOOK_STOPPED,
            f"{row['code']}/{row['version']}",
            row["sites"],
            f"The webhook {row['code']} is stopped: {_WHY_STOPPED[row['because']]}. What is "
            "recorded waits for it until it is resumed.",
            now,
            numbers={"because": row["because"], "position": row["position"]},
            subject=row["code"],
        )
        for row in await conn.fetch(SQL.webhooks_stopped)
    ]
    return await keep(conn, WEBHOOK_STOPPED, wanted, now)

"""What an alert is and how it gets its name: the same thing always has the same id."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID, uuid5

import msgspec

from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "alerts.sql")
# Ids hang on this: it never changes.
NAMESPACE = UUID("6f0b7c1e-3c52-5b0e-9a55-0d4b5e5c2f10")

# Remarks of events that somebody should act on, beside those that only inform.
ALERT_REMARKS = (
    "breach",
    "shortfall",
    "count_differs",
    "consignment_differs",
    "old_budwood",
    "short_bag",
    "sold_meanwhile",
    "unusual_take",
    "outside_reservation",
)
OVERDUE, NOT_LOOKED_AT = "overdue_check", "place_not_looked_at"
FAULT, PUT_RIGHT = "view_fault", "to_put_right"
SHORTFALL_RISK = "shortfall_risk"
WEBHOOK_STOPPED, MAIL_FAILED = "webhook_stopped", "mail_failed"
OUT_OF_RANGE, FROST = "temperature_out_of_range", "frost_ahead"
EXPIRING, SILENT = "budwood_expiring", "logger_silent"
# What the morning round tells in full, beside its count of other alerts.
TOLD_BY_THE_ROUND = (OVERDUE, NOT_LOOKED_AT, OUT_OF_RANGE, FROST, EXPIRING, SILENT)
ALERT_KINDS = (
    *ALERT_REMARKS,
    OVERDUE,
    NOT_LOOKED_AT,
    FAULT,
    PUT_RIGHT,
    SHORTFALL_RISK,
    WEBHOOK_STOPPED,
    MAIL_FAILED,
    OUT_OF_RANGE,
    FROST,
    EXPIRING,
    SILENT,
)


class Raised(msgspec.Struct, frozen=True, kw_only=True):
    """An alert to be raised; its id follows from `key`."""

    key: str
    kind: str
    origin: Literal["event", "watch"]
    site: str | None
    sites: list[str]
    detail: str
    raised_at: datetime
    numbers: dict[str, Any] = {}
    lot: str | None = None
    place: str | None = None
    check: str | None = None
    due_on: date | None = None
    level: int = 1
    event_position: int | None = None
    subject: str | None = None


def by_watch(
    kind: str, about: str, sites: list[str], detail: str, now: datetime, **more: Any
) -> Raised:
    """An alert that no event raised. `about` names it among its kind; `site` is said of a single
    one; `more` are other fields of `Raised`."""
    return Raised(
        key=f"{kind}/{about}",
        kind=kind,
        origin="watch",
        site=sites[0] if len(sites) == 1 else None,
        sites=sites,
        detail=detail,
        raised_at=now,
        **more,
    )


def alert_id(key: str) -> str:
    """The id of the alert with that key: a UUID of version 5 (RFC 9562)."""
    return str(uuid5(NAMESPACE, key))


async def raise_alerts(conn: Connection, alerts: Iterable[Raised]) -> int:
    """Write alerts that are not there yet, or not open any more. Returns how many were given."""
    rows = [{"id": alert_id(one.key), **msgspec.to_builtins(one)} for one in alerts]
    if rows:
        await conn.execute(SQL.raise_, rows)
    return len(rows)


async def keep(
    conn: Connection, kind: str, wanted: list[Raised], now: datetime, because: str = "put_right"
) -> int:
    """Have exactly the wanted alerts of a kind open; others close for that reason.

    Returns how many were raised.
    """
    await conn.execute(SQL.close_missing, kind, [one.key for one in wanted], now, because)
    there = {row["key"] for row in await conn.fetch(SQL.open_keys, [kind])}
    return await raise_alerts(conn, [one for one in wanted if one.key not in there])

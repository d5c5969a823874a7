"""How everything stands: the log, the views behind it, what is set aside, open or waiting.

Counts of the whole nursery, for whoever runs the service: ask on a connection that sees all sites.
"""

from datetime import datetime

import msgspec

from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "standing.sql")


class Lag(msgspec.Struct, frozen=True):
    """How far a view is behind the log: `seconds` is the age of the oldest event not yet seen."""

    view: str
    events: int
    seconds: float


class LastTick(msgspec.Struct, frozen=True):
    """The newest ended tick of a kind of job."""

    job: str
    tick: datetime
    seconds: float
    failed: bool


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """How everything stands at one moment."""

    position: int
    recorded_at: datetime
    lags: list[Lag]
    faults: dict[str, int]
    alerts: dict[tuple[str, int], int]
    to_put_right: int
    ticks: list[LastTick]


async def standing(conn: Connection, now: datetime, *, timeout: float = 5.0) -> Standing:
    """How everything stands at `now`. Raises TimeoutError after `timeout` seconds a question."""
    async with conn.transaction(isolation="repeatable_read", readonly=True):
        head = await conn.fetchrow(SQL.head, timeout=timeout)
        assert head is not None, "the log has one head"
        lags = await conn.fetch(SQL.lag, now, timeout=timeout)
        faults = await conn.fetch(SQL.faults, timeout=timeout)
        alerts = await conn.fetch(SQL.open_alerts, timeout=timeout)
        ticks = await conn.fetch(SQL.ticks, timeout=timeout)
        waiting = await conn.fetchval(SQL.to_put_right, timeout=timeout)
    return Standing(
        position=head["position"],
        recorded_at=head["recorded_at"],
        lags=[Lag(row["view"], row["events"], max(0.0, row["seconds"])) for row in lags],
        faults={row["view"]: row["subjects"] for row in faults},
        alerts={(row["kind"], row["level"]): row["alerts"] for row in alerts},
        to_put_right=waiting,
        ticks=[LastTick(r["job"], r["tick"], r["seconds"], bool(r["failed"])) for r in ticks],
    )

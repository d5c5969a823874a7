"""How far each view has come, and waiting until it is far enough (RFC 7240 `Prefer: wait`)."""

import asyncio
import time

from service.storage.pool import Connection, Pool
from service.storage.sql import load

SQL = load(__package__, "runner.sql")

# NOTIFY by every view would queue up with the log's own commits, so a waiter asks instead; the
# steps grow from the usual lag of a view to a rate that costs nothing.
_FIRST_PAUSE, _LONGEST_PAUSE = 0.004, 0.1


async def position(conn: Pool | Connection, view: str) -> int:
    """The log position that a view reflects; 0 before its first event."""
    return int(await conn.fetchval(SQL.reached, [view]))


async def wait_for(pool: Pool, view: str, wanted: int, timeout: float) -> int:
    """Wait until `view` reflects position `wanted`, at most `timeout` seconds.

    Returns the position that it reflects then, which is lower than `wanted` when the time ran out.
    """
    end = time.monotonic() + timeout
    pause = _FIRST_PAUSE
    while True:
        reached = await position(pool, view)
        left = end - time.monotonic()
        if reached >= wanted or left <= 0:
            return reached
        await asyncio.sleep(min(pause, left))
        pause = min(pause * 1.6, _LONGEST_PAUSE)

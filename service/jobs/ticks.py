"""Each tick of a job is run by one process: the one that inserts its row."""

from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta

import structlog

from service.storage.pool import Pool
from service.storage.sql import load

SQL = load(__package__, "jobs.sql")
_log = structlog.get_logger(__name__)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def tick_of(now: datetime, every: timedelta) -> datetime:
    """The scheduled time that `now` belongs to: the last whole multiple of `every`."""
    return now - (now - _EPOCH) % every


async def once(pool: Pool, job: str, tick: datetime, work: Callable[[], Awaitable[str]]) -> bool:
    """Run `work` unless this tick of the job was taken already. True when it ran here.

    `work` returns what it did, in a few words. A failure is kept with the tick and logged, not
    raised: the next tick does the same work.
    """
    if await pool.fetchval(SQL.take_tick, job, tick) is None:
        return False
    try:
        outcome = await work()
    except Exception as error:
        outcome = f"failed: {type(error).__name__}: {error}".replace("\x00", "")[:500]
        _log.error("job_failed", job=job, tick=tick.isoformat(), error=outcome)
    await pool.execute(SQL.end_tick, job, tick, outcome)
    return True

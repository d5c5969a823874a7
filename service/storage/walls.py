"""The second wall: the database itself shows a reader only the rows of the sites it was told.

Row-level security (migration 0009) goes by two settings that last as long as a transaction. A
reader that says nothing sees nothing, so every question goes through ``seeing``. Questions keep
their own filters too: those give the answer its meaning, this catches the one that was forgotten.
"""

from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager, suppress
from time import perf_counter

import asyncpg

from service.measures import READER_WAIT
from service.storage.pool import Connection, Pool
from service.storage.sql import load

SQL = load(__package__, "walls.sql")
EVERY_SITE = "*"


@asynccontextmanager
async def seeing(
    pool: Pool, sites: Iterable[str] | None, asker: str = "", *, timeout: float | None = None
) -> AsyncIterator[Connection]:
    """A reader's connection that sees one moment, and rows of ``sites`` alone (None: all).

    ``asker`` is the principal's name: what somebody sent and the log refused is theirs to see.
    ``timeout`` in seconds: how long to wait for a connection, else TimeoutError. It is a
    transaction; inside, don't begin another.
    """
    told = EVERY_SITE if sites is None else ",".join(sites)
    begin = SQL.begin.format(sites=_quoted(told), asker=_quoted(asker))
    asked = perf_counter()
    async with pool.acquire(timeout=timeout) as connection:
        READER_WAIT.observe(perf_counter() - asked)
        await connection.execute(begin)
        try:
            yield connection
        except BaseException:
            # What went wrong is worth more than that the connection is gone too.
            with suppress(OSError, asyncpg.PostgresError, asyncpg.InterfaceError):
                await connection.execute(SQL.give_up)
            raise
        await connection.execute(SQL.end)


@asynccontextmanager
async def past_the_wall(connection: Connection) -> AsyncIterator[None]:
    """Inside, ``connection`` sees rows of every site.

    For the few questions whose answer is the same for everybody, such as what a lot descends from;
    say so where it is used.
    """
    told = await connection.fetchval(SQL.told_sites)
    if told == EVERY_SITE:
        yield
        return
    await connection.execute(SQL.tell_sites, EVERY_SITE)
    try:
        yield
    finally:
        # After an error the transaction is over, and the setting with it.
        with suppress(asyncpg.PostgresError, asyncpg.InterfaceError):
            await connection.execute(SQL.tell_sites, told)


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"

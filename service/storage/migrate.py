"""Brings the database's tables to what this version of the service needs.

Revisions are plain SQL in ``migrations/sql``, run in order by Alembic, which needs no file of
settings here. They only go forward: to go back, restore a backup. ``migrate`` may be called by
any number of processes at once; one works, the others wait and find it done.

A revision waits for a lock on a table only briefly: while it waits, everything that comes after it
on that table waits too. It then gives way, is undone, and is tried again a little later; so it does
when it and somebody at work have locked each other up.
"""

import asyncio
from importlib.resources import files
from pathlib import Path

import asyncpg
import structlog
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection as SyncConnection
from sqlalchemy.ext.asyncio import create_async_engine
from sqlalchemy.pool import NullPool

from service.storage.pool import Connection, Database
from service.storage.roles import DatabaseError, Roles
from service.storage.sql import load

SQL = load(__package__, "migrate.sql")
_log = structlog.get_logger(__name__)
# Any number that nobody else uses in this database; the log's own lock has another.
_LOCK = 4_726_130_951
_LOCK_POLL = 0.05
# For how long a revision may stand in the way while it waits for a table, how often it tries, and
# how long it lets the others go on in between: a good minute in all.
LOCK_TIMEOUT = "2s"
TRIES = 20
PAUSE_S = 2.0
# Somebody has a table for too long; or waits for one that the revision has already, while it waits
# for theirs: then the server ends one of the two.
_BUSY = (asyncpg.LockNotAvailableError, asyncpg.DeadlockDetectedError)


def _config(roles: Roles) -> Config:
    config = Config()
    config.set_main_option(
        "script_location", str(Path(str(files("migrations")))).replace("%", "%%")
    )
    config.set_main_option("path_separator", "os")
    config.attributes["roles"] = roles
    config.attributes["lock_timeout"] = LOCK_TIMEOUT
    return config


def head() -> str:
    """The newest revision that this version of the service knows."""
    revision = ScriptDirectory.from_config(_config(Roles())).get_current_head()
    assert revision is not None, "the service ships at least one revision"
    return revision


def revisions() -> list[str]:
    """All revisions that this version of the service knows, oldest first."""
    walked = ScriptDirectory.from_config(_config(Roles())).walk_revisions()
    return [script.revision for script in walked][::-1]


async def current(connection: Connection) -> str | None:
    """The revision that the database is at; None for an empty one."""
    if await connection.fetchval(SQL.version_table) is None:
        return None
    revision: str | None = await connection.fetchval(SQL.current)
    return revision


async def migrate(database: Database, to: str = "head") -> list[str]:
    """Run the revisions that are missing, as the owner; answers which were run, oldest first.

    Raises ``DatabaseError`` when the database is newer than this version of the service, or when
    a revision fails (then it is undone as a whole, and those before it stay).
    """
    connection = await database.connect("owner")
    try:
        # Tried again and again, not waited for: a statement that waits holds a snapshot, and
        # could lock up with an index that is being built concurrently.
        while not await connection.fetchval(SQL.try_lock, _LOCK):
            await asyncio.sleep(_LOCK_POLL)
        before = await current(connection)
        known = revisions()
        if before is not None and before not in known:
            raise DatabaseError(
                f"the database is at revision {before}, which this version does not know "
                f"(it knows up to {known[-1]}): run a newer version"
            )
        if before != (known[-1] if to == "head" else to):
            await _give_way_and_try_again(database, to)
        after = await current(connection)
        for statement in await connection.fetchval(SQL.grant_version, database.roles.all()):
            await connection.execute(statement)
    finally:
        await connection.close()
    start = 0 if before is None else known.index(before) + 1
    return known[start : known.index(after) + 1 if after is not None else start]


async def _give_way_and_try_again(database: Database, to: str) -> None:
    """Run the revisions; one that can't have its lock in time lets others pass and comes back.

    Revisions that were done stay done, so each try goes on from the one that failed.
    """
    for left in range(TRIES - 1, -1, -1):
        try:
            await _upgrade(database, to)
            return
        except _BUSY as error:
            if not left:
                raise DatabaseError(
                    f"a migration gave up after {TRIES} tries: {error}. Something holds a table "
                    "for long; end it (pg_stat_activity lists who is at work), then try again"
                ) from error
            _log.info("a table is busy; the migration gives way and tries again", tries_left=left)
            await asyncio.sleep(PAUSE_S)


async def _upgrade(database: Database, to: str) -> None:
    async def creator() -> "asyncpg.Connection[asyncpg.Record]":
        return await database.connect("owner")

    engine = create_async_engine("postgresql+asyncpg://", async_creator=creator, poolclass=NullPool)
    config = _config(database.roles)

    def run(connection: SyncConnection) -> None:
        config.attributes["connection"] = connection
        command.upgrade(config, to)

    try:
        async with engine.connect() as connection:
            await connection.run_sync(run)
            await connection.commit()
    except _BUSY:
        raise
    except asyncpg.PostgresError as error:
        raise DatabaseError(f"a migration failed and was undone: {error}") from error
    finally:
        await engine.dispose()

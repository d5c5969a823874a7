"""What became of attempts, written for all webhooks together: fifty told of one event cost one
transaction, not fifty."""

import asyncio
from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

import asyncpg
import structlog

from service.measures import WEBHOOK_ATTEMPTS
from service.storage.pool import Connection, Database
from service.storage.sql import load
from service.webhooks.topics import Message

SQL = load(__package__, "webhooks.sql")
_log = structlog.get_logger(__name__)
_RETRY_SECONDS = 1.0
_GATHER_SECONDS = 0.005
_AWAY = (OSError, TimeoutError, asyncpg.PostgresError, asyncpg.InterfaceError)
# What the database does not take, however often: a mistake of the service's own.
_UNFIT = (asyncpg.DataError, asyncpg.IntegrityConstraintViolationError, ValueError, TypeError)


class Attempt(NamedTuple):
    """An attempt, as it is listed."""

    message: str
    type: str
    position: int | None
    attempt: int
    at: datetime
    outcome: str
    status: int | None
    milliseconds: int
    detail: str | None
    next_at: datetime | None


class Standing(NamedTuple):
    """How far a webhook has come, and by what attempt. It counts at that version alone."""

    code: str
    version: int
    position: int
    attempts: int = 0
    next_at: datetime | None = None
    failing_since: datetime | None = None
    told_at: datetime | None = None
    # A message about a topic that is on its way; `said` is one that has arrived, or is not wanted.
    message: Message | None = None
    said: Message | None = None
    attempt: Attempt | None = None
    stopped_because: str | None = None
    at: datetime | None = None


class Ledger:
    """Writes what is handed to it, in groups. `run` is its task."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._waiting: list[tuple[Standing, asyncio.Future[bool]]] = []
        self._wake = asyncio.Event()

    async def write(self, standing: Standing) -> bool:
        """Write it. False, and nothing was written, when it is at another version by now."""
        written: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiting.append((standing, written))
        self._wake.set()
        return await written

    async def tested(self, code: str, asked: UUID, made: Attempt) -> None:
        """A test message was sent: note it, and that none is asked for any more."""
        async with self._database.writer.acquire(timeout=10) as connection:
            await connection.execute(SQL.tested, code, asked)
            await _note(connection, [Standing(code, 0, 0, attempt=made)])

    async def told(self, code: str, topic: str) -> dict[str, str]:
        """What was said last of each subject of a topic."""
        async with self._database.writer.acquire(timeout=10) as connection:
            rows = await connection.fetch(SQL.told, code, topic)
        return {row["subject"]: row["said"] for row in rows}

    async def run(self) -> None:
        """Write until cancelled. While the database is away, those who wait go on waiting."""
        while True:
            await self._wake.wait()
            # Those who were told of one event answer one after the other, and are written together.
            await asyncio.sleep(_GATHER_SECONDS)
            self._wake.clear()
            if not await self._write_waiting():
                await asyncio.sleep(_RETRY_SECONDS)
                self._wake.set()

    async def close(self) -> None:
        """Write what waits, if that can be, once `run` has ended."""
        await self._write_waiting()
        for _, written in self._waiting:
            written.cancel()

    async def _write_waiting(self) -> bool:
        """Write what waits. False when the database is away: then it goes on waiting."""
        group = [one for one in self._waiting if not one[1].done()]
        self._waiting = []
        if not group:
            return True
        try:
            async with (
                self._database.writer.acquire(timeout=10) as connection,
                connection.transaction(),
            ):
                current = await write_all(connection, [one for one, _ in group])
        except asyncio.CancelledError:
            self._waiting = group + self._waiting
            raise
        except _UNFIT as error:
            # It will not be taken another time either: those who wait are told, and the others
            # are written. Each is read anew and goes on from what is written.
            for _, written in group:
                if not written.done():
                    written.set_exception(error)
            return True
        except _AWAY as error:
            _log.warning("webhooks_not_written", error=repr(error))
            self._waiting = group + self._waiting
            return False
        for standing, written in group:
            if not written.done():
                written.set_result(standing.code in current)
        return True


async def write_all(connection: Connection, group: Sequence[Standing]) -> set[str]:
    """Write a group, one a webhook, in the transaction at hand. Gives those at their version."""
    on = [one for one in group if one.stopped_because is None]
    rows = await connection.fetch(
        SQL.advance,
        [one.code for one in on],
        [one.version for one in on],
        [one.position for one in on],
        [one.attempts for one in on],
        [one.next_at for one in on],
        [one.failing_since for one in on],
        [one.told_at for one in on],
        [one.message for one in on],
    )
    current = {row["code"] for row in rows}
    for one in group:
        if one.stopped_because is not None:
            stopped = (one.code, one.version, one.stopped_because, one.at)
            if await connection.fetchval(SQL.stop, *stopped) is not None:
                current.add(one.code)
        elif one.said is not None and one.code in current:
            await _say(connection, one.code, one.said)
    await _note(connection, [one for one in group if one.attempt is not None])
    return current


async def _say(connection: Connection, code: str, said: Message) -> None:
    if said.says:
        await connection.execute(
            SQL.say, code, said.topic, list(said.says), list(said.says.values())
        )
    if said.unsays:
        await connection.execute(SQL.unsay, code, said.topic, said.unsays)


async def _note(connection: Connection, made: Sequence[Standing]) -> None:
    if not made:
        return
    attempts = [one.attempt for one in made if one.attempt is not None]
    await connection.execute(
        SQL.note_deliveries, [one.code for one in made], *map(list, zip(*attempts, strict=True))
    )
    for attempt in attempts:
        WEBHOOK_ATTEMPTS.labels(attempt.outcome).inc()

"""Hearing that the log has grown: one connection that listens, made anew whenever it is lost."""

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any

import asyncpg
import structlog

from service.storage.pool import Database
from service.storage.roles import DatabaseError

CHANNEL = "graftlog_log"
_log = structlog.get_logger(__name__)


class Listener:
    """Calls `heard` with the newest position whenever the log says that it has grown.

    `heard` gets None when listening begins, for what came before is not told: look at the log then.
    Notices can be lost with the connection, so whoever must not miss any also looks by the clock.
    """

    def __init__(
        self, database: Database, heard: Callable[[int | None], None], *, retry_seconds: float = 1.0
    ) -> None:
        self._database, self._heard, self._retry = database, heard, retry_seconds
        # Set while the log's notices are heard.
        self.listening = asyncio.Event()

    async def run(self, stopping: asyncio.Event) -> None:
        """Listen until `stopping` is set."""
        while not stopping.is_set():
            try:
                await self._once(stopping)
            except (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, DatabaseError) as error:
                _log.warning("listening_failed", error=repr(error))
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(self._retry):
                        await stopping.wait()

    async def _once(self, stopping: asyncio.Event) -> None:
        def notice(*told: Any) -> None:
            self._heard(int(told[-1]))

        lost = asyncio.Event()

        def gone(*_: Any) -> None:
            lost.set()

        conn = await self._database.connect("reader")
        try:
            conn.add_termination_listener(gone)
            await conn.add_listener(CHANNEL, notice)
            self.listening.set()
            self._heard(None)
            waits = [asyncio.create_task(lost.wait()), asyncio.create_task(stopping.wait())]
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
            for task in waits:
                task.cancel()
        finally:
            self.listening.clear()
            conn.terminate()

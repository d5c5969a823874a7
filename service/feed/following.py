"""How far the log is, known to a process at all times without asking for it."""

import asyncio
import contextlib
from collections.abc import Callable

import asyncpg
import structlog

from service.log.listening import Listener
from service.log.read import head
from service.storage.pool import Database

_log = structlog.get_logger(__name__)


class Follower:
    """Knows the log's newest position; one for each process.

    It listens to the log's notices on one connection, and looks by itself every `poll_seconds` as
    a safety net. Everything is to be used on the event loop that it was started on.
    """

    def __init__(self, database: Database, *, poll_seconds: float = 1.0) -> None:
        self._database, self._poll_seconds = database, poll_seconds
        self._position = 0
        self._moved = asyncio.Event()
        self._look = asyncio.Event()
        self._stopping = asyncio.Event()
        self._listener = Listener(database, self._heard, retry_seconds=poll_seconds)
        self._tasks: list[asyncio.Task[None]] = []
        self._subscribed: dict[object, Callable[[int], None]] = {}

    @property
    def position(self) -> int:
        """The newest position known; never goes back."""
        return self._position

    @property
    def listening(self) -> asyncio.Event:
        """Set while the log's notices are heard."""
        return self._listener.listening

    async def start(self) -> None:
        """Begin to follow; `position` is the log's head when this returns."""
        async with self._database.reader.acquire() as connection:
            self._reach(await head(connection))
        self._tasks = [
            asyncio.create_task(self._listener.run(self._stopping), name="follower listens"),
            asyncio.create_task(self._poll(), name="follower looks"),
        ]

    async def stop(self) -> None:
        """End; who waits for something beyond is let go."""
        self._stopping.set()
        self._look.set()
        self._moved.set()
        for task in self._tasks:
            await task
        self._tasks = []

    async def beyond(self, position: int, timeout: float) -> int:
        """Wait, at most `timeout` seconds, until something after `position` is in the log.

        Returns the newest position known then: not beyond `position` when the time ran out, or
        when the process stops.
        """
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(timeout):
                while self._position <= position and not self._stopping.is_set():
                    await self._moved.wait()
        return self._position

    def subscribe(self, told: Callable[[int], None]) -> Callable[[], None]:
        """Have `told` called with the newest position each time the log has grown.

        It is called on the event loop and must be quick; groups written close together are told as
        one. Returns what ends it.
        """
        mark = object()
        self._subscribed[mark] = told
        return lambda: self._subscribed.pop(mark, None) and None

    def _heard(self, position: int | None) -> None:
        if position is None:
            self._look.set()
        else:
            self._reach(position)

    def _reach(self, position: int) -> None:
        if position <= self._position:
            return
        self._position = position
        # Those who wait now are woken; those who come later wait for the next time.
        self._moved.set()
        self._moved = asyncio.Event()
        for told in list(self._subscribed.values()):
            try:
                told(position)
            except Exception as error:
                _log.warning("subscriber_failed", error=repr(error))

    async def _poll(self) -> None:
        while not self._stopping.is_set():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self._poll_seconds):
                    await self._look.wait()
            if self._stopping.is_set():
                return
            self._look.clear()
            try:
                async with self._database.reader.acquire(timeout=10) as connection:
                    self._reach(await head(connection))
            except (OSError, asyncpg.PostgresError, asyncpg.InterfaceError) as error:
                _log.warning("look_failed", error=repr(error))

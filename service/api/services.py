"""What the handlers are handed: the database, the log's writer, keys, and who waits for what."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import asyncpg

from service.api.answers import Answers
from service.api.limits import Limits
from service.api.open_streams import Streams
from service.api.problems import Problem
from service.clock import Clock, system_clock
from service.feed.following import Follower
from service.feed.newest import Newest
from service.log.keys import KeyRing
from service.log.reservations import Unconfirmed
from service.log.rights import NOBODY, Principal
from service.log.sessions import Sessions
from service.log.submission import Answer, Submission
from service.settings import Settings
from service.storage.pool import Connection, Database
from service.storage.walls import seeing
from service.views.availability_now import AvailabilityNow


class Writer(Protocol):
    """The part of the log's appender that the handlers use."""

    async def append(self, submission: Submission) -> Answer:
        """Record, or raise Busy, OutcomeUnknown, KeyInFlight, KeyReused."""
        ...

    @property
    def running(self) -> bool:
        """Whether it takes requests."""
        ...

    @property
    def newest(self) -> int:
        """The newest position that this process recorded."""
        ...


@dataclass
class Services:
    """Everything a handler may use; one for each process."""

    settings: Settings
    database: Database
    appender: Writer
    keys: KeyRing
    sessions: Sessions
    follower: Follower
    newest: Newest
    availability: AvailabilityNow
    clock: Clock = system_clock
    # True when the process is to be sent no more requests.
    stopping: bool = False
    ready_checks: dict[str, Callable[[], Awaitable[str | None]]] = field(default_factory=dict)
    limits: Limits = field(default_factory=Limits)
    # Requests whose lines are being recorded as they come.
    in_lines: set[int] = field(default_factory=set)
    streams: Streams = field(default_factory=Streams)
    unconfirmed: Unconfirmed = field(default_factory=lambda: Unconfirmed(1000))
    # What was answered of availability, until it changes.
    answers: Answers = field(default_factory=Answers)
    # Who asks: `reading` shows what may be seen by them, and nothing while nobody asks.
    asker: Principal = NOBODY

    def asked_by(self, principal: Principal) -> "Services":
        """The same for one request of `principal`."""
        return replace(self, asker=principal)

    @asynccontextmanager
    async def reading(self) -> AsyncIterator[Connection]:
        """A connection to ask with; all questions see the same state, of the asker's sites.

        Raises a 503 problem when the database can't be reached.
        """
        asker = self.asker
        try:
            async with seeing(
                self.database.reader, asker.site_list, asker.name, timeout=10
            ) as connection:
                yield connection
        except UNREACHABLE as error:
            raise unreachable() from error

    @asynccontextmanager
    async def writing(self) -> AsyncIterator[Connection]:
        """A connection to write with what is no event. Raises a 503 problem when there is none."""
        try:
            async with self.database.writer.acquire(timeout=10) as connection:
                yield connection
        except UNREACHABLE as error:
            raise unreachable() from error


UNREACHABLE: tuple[type[Exception], ...] = (
    OSError,
    TimeoutError,
    asyncio.TimeoutError,
    asyncpg.InterfaceError,
    asyncpg.PostgresConnectionError,
    asyncpg.CannotConnectNowError,
    asyncpg.AdminShutdownError,
    asyncpg.CrashShutdownError,
    asyncpg.TooManyConnectionsError,
    asyncpg.QueryCanceledError,
)


def unreachable(**members: Any) -> Problem:
    return Problem(
        "not-ready",
        "The database can't be reached, or took too long.",
        headers={"Retry-After": "2"},
        **members,
    )

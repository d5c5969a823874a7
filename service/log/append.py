"""The writer: concurrent requests become groups, each decided under one lock and written at once.

A request waits in a bounded queue. The appender takes all that wait, opens one transaction, takes
the lock as its own first statement, loads what the group touches, judges request by request in
memory, writes what was accepted, commits, and answers each request with its own verdicts. A
lonely request is a group of one and waits for nobody.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import Iterator
from time import perf_counter

import asyncpg
import structlog

from service import measures
from service.clock import Clock, system_clock
from service.log.deciding import Group, Kept, Pending
from service.log.incoming import parts_of
from service.log.loading import SQL
from service.log.submission import (
    Answer,
    Busy,
    KeyInFlight,
    OutcomeUnknown,
    Submission,
    Verdict,
)
from service.storage.pool import Database, OwnConnection
from service.trade.promising import PROMISED_AT

log = structlog.get_logger(__name__)

# With a steady stream of groups, listeners are told at most this often.
NOTIFY_EVERY_S = 0.01


class Appender:
    """The log's writer in this process. Start it, append, stop it."""

    def __init__(
        self,
        database: Database,
        *,
        clock: Clock = system_clock,
        queue_limit: int = 20_000,
        group_limit: int = 1024,
        confidence: float = PROMISED_AT,
    ) -> None:
        """`queue_limit`: events that may wait; a request finding an empty queue always may.
        `group_limit`: events after which a group is closed, so that the lock is never held for
        long; one larger request is a group of its own. `confidence`: how sure it wants to be of
        what it promises, from 0.5 to 0.99.
        """
        self._database = database
        self._clock = clock
        self._queue_limit = queue_limit
        self._group_limit = group_limit
        self._confidence = confidence
        self._queue: deque[Pending] = deque()
        self._waiting_events = 0
        self._woken = asyncio.Event()
        self._stopping = False
        self._task: asyncio.Task[None] | None = None
        self._keys_in_flight: set[tuple[str, str]] = set()
        self._kept = Kept()
        self._notified_at = 0.0
        self._notify_task: asyncio.Task[None] | None = None
        self._newest = 0
        self._connection: OwnConnection | None = None

    @property
    def newest(self) -> int:
        """The newest position that this process recorded; 0 before it recorded any."""
        return self._newest

    @property
    def running(self) -> bool:
        """Whether it takes requests."""
        return self._task is not None and not self._task.done()

    async def start(self) -> None:
        """Begin to take requests."""
        self._stopping = False
        measures.QUEUE_EVENTS.set_function(lambda: self._waiting_events)
        self._task = asyncio.create_task(self._run(), name="appender")

    async def stop(self) -> None:
        """Take nothing more, finish what waits and what is at work, then end."""
        if self._task is None:
            return
        self._stopping = True
        self._woken.set()
        await self._task
        self._task = None
        if self._notify_task is not None:
            with contextlib.suppress(Exception):
                await self._notify_task
        if self._connection is not None:
            await self._connection.close(timeout=5)
            self._connection = None

    async def append(self, submission: Submission) -> Answer:
        """Record, or say exactly why not.

        Raises Busy, KeyInFlight, KeyReused, OutcomeUnknown. A caller that goes away does not take
        its request with it: what was queued is decided.
        """
        if not self.running or self._stopping:
            raise Busy
        count = len(submission.elements)
        if self._queue and self._waiting_events + count > self._queue_limit:
            raise Busy
        key = submission.key
        flight = (submission.principal.name, key.key) if key else None
        if flight is not None:
            if flight in self._keys_in_flight:
                raise KeyInFlight
            self._keys_in_flight.add(flight)
        pending = Pending(
            submission, parts_of(submission), asyncio.get_running_loop().create_future()
        )
        if flight is not None:
            pending.answered.add_done_callback(
                lambda _, flight=flight: self._keys_in_flight.discard(flight)  # type: ignore[misc]
            )
        self._queue.append(pending)
        self._waiting_events += count
        self._woken.set()
        return await asyncio.shield(pending.answered)

    # -- groups --------------------------------------------------------------------

    async def _run(self) -> None:
        while not self._stopping:
            await self._woken.wait()
            self._woken.clear()
            while self._queue:
                group: list[Pending] = []
                events = 0
                while self._queue and events < self._group_limit:
                    pending = self._queue.popleft()
                    events += len(pending.parts)
                    group.append(pending)
                self._waiting_events -= events
                try:
                    await self._decide(group)
                except Exception:
                    # Nobody may wait for ever, and the next group must have its turn.
                    log.exception("a group was not decided")
                    for pending in group:
                        _settle(pending, OutcomeUnknown())

    async def _decide(self, group: list[Pending]) -> None:
        """Decide a group; a data error makes it run again request by request."""
        try:
            answers = await self._transaction(group)
        except Exception as error:
            # Whatever was half applied in memory is of no use any more.
            self._kept = Kept()
            if _went_away(error):
                log.warning("the database went away", error=str(error), requests=len(group))
                await self._look_up(group)
                return
            if len(group) > 1:
                for pending in group:
                    await self._decide([pending])
                return
            log.exception("a request could not be decided", error=str(error))
            _settle(group[0], error)
            return
        for pending, answer in zip(group, answers, strict=True):
            _settle(pending, answer)
        _count(group, answers)

    async def _transaction(self, group: list[Pending]) -> list[Answer | Exception]:
        connection = await self._session()
        session: Group | None = None
        begun = perf_counter()
        try:
            await connection.execute(SQL.begin)
            session = Group(connection, self._kept, self._clock, self._confidence)
            answers = await session.decide(group)
            told = bool(session.entered) and self._may_notify()
            if told:
                await connection.execute(SQL.notify, str(session.books.position))
            await connection.execute(SQL.commit)
        except BaseException:
            await self._roll_back(connection)
            raise
        finally:
            if session is not None:
                session.books.let_go()
        measures.GROUP_SECONDS.observe(perf_counter() - begun)
        measures.GROUP_EVENTS.observe(sum(len(pending.parts) for pending in group))
        if session.entered:
            self._newest = session.books.position
            if not told:
                self._tell_later()
        return answers

    async def _session(self) -> OwnConnection:
        """The writer's own connection: a pool would reset it after every group."""
        if self._connection is None or self._connection.is_closed():
            self._connection = await self._database.connect("writer")
        return self._connection

    async def _roll_back(self, connection: OwnConnection) -> None:
        try:
            await connection.execute(SQL.roll_back, timeout=5)
        except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError, TimeoutError):
            connection.terminate()
            self._connection = None

    # -- telling listeners -------------------------------------------------------------

    def _may_notify(self) -> bool:
        now = asyncio.get_running_loop().time()
        if now - self._notified_at < NOTIFY_EVERY_S:
            return False
        self._notified_at = now
        return True

    def _tell_later(self) -> None:
        """The throttle kept a group from being told of: tell a little later."""
        if self._notify_task is None or self._notify_task.done():
            self._notify_task = asyncio.create_task(self._trailing_notify())

    async def _trailing_notify(self) -> None:
        await asyncio.sleep(NOTIFY_EVERY_S)
        self._notified_at = asyncio.get_running_loop().time()
        try:
            await self._database.writer.execute(SQL.notify, str(self._newest))
        except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError) as error:
            # Readers poll as a safety net; the next group tells again.
            log.warning("listeners were not told", error=str(error))

    # -- unknown outcomes ------------------------------------------------------------------

    async def _look_up(self, group: list[Pending]) -> None:
        """After a lost connection ask by id whether the group got in; never say 'refused'."""
        ids = [p.event.id for one in group for p in one.parts if p.event is not None]
        found: dict[str, int] | None = None
        for attempt in range(3):
            try:
                rows = await self._database.writer.fetch(SQL.outcome, ids, timeout=5)
                found = {row["id"]: row["position"] for row in rows}
                break
            except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError, TimeoutError):
                await asyncio.sleep(0.1 * (attempt + 1))
        for pending in group:
            mine = [p.event.id for p in pending.parts if p.event is not None]
            if found and mine and all(event_id in found for event_id in mine):
                verdicts = [
                    Verdict(id=event_id, verdict="accepted", position=found[event_id or ""])
                    for event_id in mine
                ]
                newest = max(found[event_id or ""] for event_id in mine)
                _settle(pending, Answer(status=201, verdicts=verdicts, position=newest))
            else:
                _settle(pending, OutcomeUnknown())


def _went_away(error: Exception) -> bool:
    """Whether the fault is the database's being away or full, not the data's."""
    if isinstance(error, asyncpg.InterfaceError):
        # asyncpg's own word for an argument that it can't encode is an InterfaceError too
        return not isinstance(error, ValueError)
    return isinstance(
        error,
        asyncpg.PostgresConnectionError
        | asyncpg.OperatorInterventionError
        | asyncpg.InsufficientResourcesError
        | OSError
        | TimeoutError,
    )


def _settle(pending: Pending, outcome: Answer | Exception) -> None:
    if pending.answered.done():
        return
    if isinstance(outcome, Exception):
        pending.answered.set_exception(outcome)
    else:
        pending.answered.set_result(outcome)


def _count(group: list[Pending], answers: list[Answer | Exception]) -> None:
    """Count what became of a group's events."""
    told = [
        (pending, answer)
        for pending, answer in zip(group, answers, strict=True)
        if isinstance(answer, Answer) and not pending.submission.check
    ]
    fresh = [one for one in told if not one[1].replayed]
    measures.count_verdicts(pair for one in fresh for pair in _verdicts(*one))
    if replays := len(told) - len(fresh):
        measures.REPLAYS.inc(replays)


def _verdicts(pending: Pending, answer: Answer) -> Iterator[tuple[str, str]]:
    # Refused whole: what was well in itself was not recorded either.
    whole = answer.status in (409, 412)
    for part, verdict in zip(pending.parts, answer.verdicts, strict=False):
        kind = str(part.event.__struct_config__.tag) if part.event is not None else "none"
        yield kind, "refused" if whole else verdict.verdict

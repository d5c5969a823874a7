"""One background runner for every view.

A view follows the log by position in batches. Its checkpoint row is locked, `SKIP LOCKED`, in the
transaction that writes its rows: that makes every event count exactly once, elects one process at
a time and lets any number of processes run. The log's NOTIFY wakes it; polling is the safety net.

What a view cannot apply is set aside in `view_faults` and the view goes on.
"""

import asyncio
import contextlib
from typing import Any, Literal, Protocol

import asyncpg
import msgspec
import structlog

from service.storage.pool import Connection, Database
from service.storage.roles import DatabaseError
from service.storage.sql import load

SQL = load(__package__, "runner.sql")
CHANNEL = "graftlog_log"
BATCH = 2_000
SUBJECTS_AT_ONCE = 200
_log = structlog.get_logger(__name__)
# The database or the way to it is at fault, not an event: nothing is set aside, it is tried again.
_NOT_THE_EVENT = (
    OSError,
    asyncio.TimeoutError,
    asyncpg.InterfaceError,
    asyncpg.PostgresConnectionError,
    asyncpg.OperatorInterventionError,
    asyncpg.InsufficientResourcesError,
    asyncpg.TransactionRollbackError,
    asyncpg.InsufficientPrivilegeError,
    asyncpg.ReadOnlySQLTransactionError,
)


class Batch(msgspec.Struct, frozen=True):
    """The events with `after` < position <= `through`."""

    after: int
    through: int


class AdditiveView(Protocol):
    """Sums over events: each batch is added once."""

    name: str
    kind: Literal["additive"]
    follows: tuple[str, ...]

    async def apply(self, conn: Connection, batch: Batch) -> None:
        """Add what the batch's events change. Read no event past `batch.through`."""

    async def clear(self, conn: Connection) -> None:
        """Empty the view, before all events are applied again."""


class PerSubjectView(Protocol):
    """Rows per subject (a lot), deleted and computed again from the subject's whole history."""

    name: str
    kind: Literal["per_subject"]
    follows: tuple[str, ...]

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        """The subjects that the batch's events may have changed."""

    async def everything(self, conn: Connection) -> list[str]:
        """All subjects there are."""

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        """Compute the rows of these subjects anew; doing it twice changes nothing."""

    async def clear(self, conn: Connection) -> None:
        """Empty the view."""


View = AdditiveView | PerSubjectView


class Runner:
    """Keeps `views` up with the log. `start` returns at once; `stop` ends after the step at hand.

    `follows` of a view names views that must have seen an event before it does.
    """

    def __init__(self, database: Database, views: list[View], *, poll_seconds: float = 1.0) -> None:
        self.database = database
        self.views = {view.name: view for view in views}
        self.poll_seconds = poll_seconds
        self._wake = {name: asyncio.Event() for name in self.views}
        # Set while the log's notices are heard.
        self.listening = asyncio.Event()
        self._stopping = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        # Views together take at most this many connections of the writer's pool.
        self._turns = asyncio.Semaphore(2)
        self._stepped = asyncio.Condition()
        self._reached: dict[str, int] = {}

    async def start(self) -> None:
        """Begin to follow the log, from where each view stopped."""
        await self._ensure()
        self._tasks = [asyncio.create_task(self._listen(), name="views listen")]
        for name in self.views:
            self._tasks.append(asyncio.create_task(self._follow(name), name=f"view {name}"))

    async def stop(self) -> None:
        """End after the step at hand; what was committed stays."""
        self._stopping.set()
        self.wake()
        for task in self._tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task
        self._tasks = []

    def wake(self) -> None:
        """Have every view look at the log now."""
        for event in self._wake.values():
            event.set()

    async def caught_up(self, position: int, timeout: float) -> None:
        """Return when every view reflects `position`; TimeoutError after `timeout` seconds."""

        def reached() -> bool:
            return all(self._reached.get(name, 0) >= position for name in self.views)

        self.wake()
        async with asyncio.timeout(timeout), self._stepped:
            await self._stepped.wait_for(reached)

    async def step(self, name: str) -> bool:
        """Apply one batch of one view. True when there may be more to do at once."""
        view = self.views[name]
        async with self.database.writer.acquire() as conn, conn.transaction():
            row = await conn.fetchrow(SQL.take_checkpoint, name)
            if row is None:
                return False
            head = await _limit(conn, view)
            batch = Batch(row["position"], min(head, row["position"] + BATCH))
            if batch.through > batch.after:
                await _apply(conn, view, row["generation"], batch)
                await conn.execute(SQL.advance, name, batch.through)
        await self._note(name, max(batch.through, batch.after))
        return batch.through < head

    async def catch_up(self) -> None:
        """Apply everything that is in the log now, in this task (for commands and tests)."""
        await self._ensure()
        for name in _in_order(self.views):
            while await self.step(name):
                pass

    async def rebuild(self, name: str) -> int:
        """Compute a view from nothing in one transaction and put it in place; returns its position.

        Readers see the old rows until it commits.
        """
        view = self.views[name]
        await self._ensure()
        async with self.database.writer.acquire() as conn, conn.transaction():
            row = await conn.fetchrow(SQL.hold_checkpoint, name)
            assert row is not None
            generation = row["generation"] + 1
            head = await _limit(conn, view)
            await conn.execute(SQL.forget_faults, name)
            await _anew(conn, view, generation, head)
            await conn.execute(SQL.new_generation, name, head)
        await self._note(name, head)
        return head

    async def differences(self, name: str, tables: tuple[str, ...]) -> list[str]:
        """Compute a view from nothing beside what is kept, and say how the two differ.

        Lines begin with `kept` or `anew`, then the table and the row. Nothing is changed: all is
        rolled back. Empty when the view is right. Raises asyncpg.SerializationError when another
        process moved the view at that moment: ask again.
        """
        view = self.views[name]
        await self._ensure()
        async with self.database.writer.acquire() as conn:
            # One snapshot, or events recorded meanwhile would look like differences.
            change = conn.transaction(isolation="repeatable_read")
            await change.start()
            try:
                row = await conn.fetchrow(SQL.hold_checkpoint, name)
                assert row is not None
                head, generation = await _limit(conn, view), row["generation"]
                for after in range(row["position"], head, BATCH):
                    await _apply(conn, view, generation, Batch(after, min(after + BATCH, head)))
                kept = {table: await _lines(conn, table) for table in tables}
                await _anew(conn, view, generation, head)
                anew = {table: await _lines(conn, table) for table in tables}
            finally:
                await change.rollback()
        return [
            f"{side} {table} {line}"
            for table in tables
            for side, lines in (
                ("kept", kept[table] - anew[table]),
                ("anew", anew[table] - kept[table]),
            )
            for line in sorted(lines)
        ]

    async def _ensure(self) -> None:
        async with self.database.writer.acquire() as conn:
            for name in self.views:
                await conn.execute(SQL.ensure_checkpoint, name)

    async def _note(self, name: str, position: int) -> None:
        before = self._reached.get(name, -1)
        self._reached[name] = position
        if position == before:
            return
        for other, view in self.views.items():
            if name in view.follows:
                self._wake[other].set()
        async with self._stepped:
            self._stepped.notify_all()

    async def _follow(self, name: str) -> None:
        pause = self.poll_seconds
        while not self._stopping.is_set():
            self._wake[name].clear()
            try:
                async with self._turns:
                    again = await self.step(name)
                pause = self.poll_seconds
            except Exception as error:
                _log.warning("view_step_failed", view=name, error=repr(error))
                again, pause = False, min(pause * 2, 30.0)
            if not again and not self._stopping.is_set():
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(pause):
                        await self._wake[name].wait()

    async def _listen(self) -> None:
        while not self._stopping.is_set():
            try:
                await self._listen_once()
            except (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, DatabaseError) as error:
                _log.warning("views_listen_failed", error=repr(error))
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(self.poll_seconds):
                        await self._stopping.wait()

    async def _listen_once(self) -> None:
        def heard(*_: Any) -> None:
            self.wake()

        lost = asyncio.Event()

        def gone(*_: Any) -> None:
            lost.set()

        conn = await self.database.connect("reader")
        try:
            conn.add_termination_listener(gone)
            await conn.add_listener(CHANNEL, heard)
            self.listening.set()
            self.wake()
            waits = [
                asyncio.create_task(lost.wait()),
                asyncio.create_task(self._stopping.wait()),
            ]
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
            for task in waits:
                task.cancel()
        finally:
            self.listening.clear()
            conn.terminate()


def _in_order(views: dict[str, View]) -> list[str]:
    """Names, with those that follow others after them."""
    return sorted(views, key=lambda name: len(views[name].follows))


async def _limit(conn: Connection, view: View) -> int:
    """How far the view may go now: to the head, but not past the views it follows."""
    head = int(await conn.fetchval(SQL.head))
    if view.follows:
        head = min(head, int(await conn.fetchval(SQL.reached, list(view.follows))))
    return head


async def _anew(conn: Connection, view: View, generation: int, head: int) -> None:
    """Empty the view and compute it up to `head`."""
    await view.clear(conn)
    if view.kind == "additive":
        for after in range(0, head, BATCH):
            await _apply(conn, view, generation, Batch(after, min(after + BATCH, head)))
    else:
        await _recompute(conn, view, generation, head, await view.everything(conn))


async def _lines(conn: Connection, table: str) -> set[str]:
    # The name comes from the program's own list of tables, never from outside.
    rows = await conn.fetch(f'SELECT t::text AS line FROM "{table}" AS t')  # noqa: S608
    return {row["line"] for row in rows}


async def _apply(conn: Connection, view: View, generation: int, batch: Batch) -> None:
    if view.kind == "additive":
        await _add(conn, view, generation, batch)
    else:
        subjects = await view.touched(conn, batch)
        await _recompute(conn, view, generation, batch.through, subjects)


async def _add(conn: Connection, view: AdditiveView, generation: int, batch: Batch) -> None:
    """Apply; when that fails, halve until the one event that cannot be applied stands alone."""
    try:
        async with conn.transaction():
            await view.apply(conn, batch)
    except _NOT_THE_EVENT:
        raise
    except Exception as error:
        if batch.through - batch.after == 1:
            subject = f"position:{batch.through}"
            await _set_aside(conn, view.name, generation, subject, batch.through, error)
            return
        middle = (batch.after + batch.through) // 2
        await _add(conn, view, generation, Batch(batch.after, middle))
        await _add(conn, view, generation, Batch(middle, batch.through))


async def _recompute(
    conn: Connection, view: PerSubjectView, generation: int, position: int, subjects: list[str]
) -> None:
    for start in range(0, len(subjects), SUBJECTS_AT_ONCE):
        part = subjects[start : start + SUBJECTS_AT_ONCE]
        await _recompute_part(conn, view, generation, position, part)


async def _recompute_part(
    conn: Connection, view: PerSubjectView, generation: int, position: int, subjects: list[str]
) -> None:
    """Recompute; when that fails, halve until the one bad subject stands alone."""
    try:
        async with conn.transaction():
            await view.recompute(conn, subjects)
    except _NOT_THE_EVENT:
        raise
    except Exception as error:
        if len(subjects) == 1:
            await _set_aside(conn, view.name, generation, subjects[0], position, error)
            return
        middle = len(subjects) // 2
        await _recompute_part(conn, view, generation, position, subjects[:middle])
        await _recompute_part(conn, view, generation, position, subjects[middle:])
    else:
        await conn.execute(SQL.mend, view.name, subjects)


async def _set_aside(
    conn: Connection, view: str, generation: int, subject: str, position: int, error: Exception
) -> None:
    text = f"{type(error).__name__}: {error}".replace("\x00", "")[:2000]
    _log.error("view_set_aside", view=view, subject=subject, position=position, error=text)
    await conn.execute(SQL.set_aside, view, generation, subject, position, text)

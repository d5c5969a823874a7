"""What a view is, and how events are applied to it: what it cannot apply is set aside.

One failure never stops a view: a batch that fails is halved until the one event, or the one
subject, that cannot be applied stands alone. It is noted in `view_faults`, and the rest goes on.
"""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Literal, Protocol

import asyncpg
import msgspec
import structlog

from service.storage.pool import Connection
from service.storage.sql import Queries, load

SQL = load(__package__, "runner.sql")
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

    def halves(self) -> "tuple[Batch, Batch]":
        middle = (self.after + self.through) // 2
        return Batch(self.after, middle), Batch(middle, self.through)


class Table(msgspec.Struct, frozen=True):
    """A table of a view. It has a primary key.

    `only` (SQL): the rows that the view writes; others are left alone by a rebuild. `apart`:
    columns that say when a row was computed, not what; they make no difference.
    """

    name: str
    only: str = "true"
    apart: tuple[str, ...] = ()


class AdditiveView(Protocol):
    """Sums over events: each batch is added once. `tables` hold nothing before the first."""

    name: str
    kind: Literal["additive"]
    follows: tuple[str, ...]
    tables: tuple[Table, ...]

    async def apply(self, conn: Connection, batch: Batch) -> None:
        """Add what the batch's events change. Read no event past `batch.through`."""

    async def outdated(self, conn: Connection, batch: Batch) -> bool:
        """Whether the batch's events change what was added before: then all is built anew."""


class PerSubjectView(Protocol):
    """Rows per subject (a lot), deleted and computed again from the subject's whole history."""

    name: str
    kind: Literal["per_subject"]
    follows: tuple[str, ...]
    tables: tuple[Table, ...]

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        """The subjects that the batch's events may have changed."""

    async def everything(self, conn: Connection) -> list[str]:
        """All subjects there are."""

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        """Compute the rows of these subjects anew; doing it twice changes nothing."""


class ByCode:
    """The subjects of a view that two statements find, as `code`.

    `touched`: those that the events after $1 up to $2 may have changed; `everything`: all.
    """

    finding: Queries

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        """The subjects that the batch's events may have changed."""
        rows = await conn.fetch(self.finding.touched, batch.after, batch.through)
        return [row["code"] for row in rows]

    async def everything(self, conn: Connection) -> list[str]:
        """All subjects there are."""
        return [row["code"] for row in await conn.fetch(self.finding.everything)]


View = AdditiveView | PerSubjectView
# Called in the transaction that set something aside, or mended it.
OnFaults = Callable[[Connection], Awaitable[object]]


async def limit(conn: Connection, view: View) -> int:
    """How far the view may go now: to the head, but not past the views it follows."""
    head = int(await conn.fetchval(SQL.head))
    if view.follows:
        head = min(head, int(await conn.fetchval(SQL.reached, list(view.follows))))
    return head


class Applying:
    """Applies events to one view in the transaction of `conn`, as its `generation`.

    `faults_changed` is true once something was set aside, or came right again.
    """

    def __init__(self, conn: Connection, view: View, generation: int) -> None:
        self.conn, self.view, self.generation = conn, view, generation
        self.faults_changed = False

    async def batch(self, batch: Batch) -> None:
        """Apply the events of a batch; those that can't be are set aside."""
        if self.view.kind == "additive":
            await self._add(self.view, batch)
            return
        subjects = await self._touched(self.view, batch)
        await self.subjects(batch.through, subjects)

    async def subjects(self, position: int, subjects: list[str]) -> None:
        """Compute subjects of a per-subject view anew, as of `position`."""
        assert self.view.kind == "per_subject"
        for start in range(0, len(subjects), SUBJECTS_AT_ONCE):
            part = subjects[start : start + SUBJECTS_AT_ONCE]
            await self._recompute(self.view, position, part)

    async def _add(self, view: AdditiveView, batch: Batch) -> None:
        try:
            async with self.conn.transaction():
                await view.apply(self.conn, batch)
        except _NOT_THE_EVENT:
            raise
        except Exception as error:
            if batch.through - batch.after == 1:
                await self._set_aside(f"position:{batch.through}", batch.through, error)
                return
            for half in batch.halves():
                await self._add(view, half)

    async def _touched(self, view: PerSubjectView, batch: Batch) -> list[str]:
        try:
            async with self.conn.transaction():
                return await view.touched(self.conn, batch)
        except _NOT_THE_EVENT:
            raise
        except Exception as error:
            if batch.through - batch.after == 1:
                await self._set_aside(f"position:{batch.through}", batch.through, error)
                return []
            one, other = batch.halves()
            found = await self._touched(view, one) + await self._touched(view, other)
            return list(dict.fromkeys(found))

    async def _recompute(self, view: PerSubjectView, position: int, subjects: list[str]) -> None:
        try:
            async with self.conn.transaction():
                await view.recompute(self.conn, subjects)
        except _NOT_THE_EVENT:
            raise
        except Exception as error:
            if len(subjects) == 1:
                await self._set_aside(subjects[0], position, error)
                return
            middle = len(subjects) // 2
            await self._recompute(view, position, subjects[:middle])
            await self._recompute(view, position, subjects[middle:])
        else:
            mended = await self.conn.fetchval(SQL.mend, view.name, subjects)
            self.faults_changed |= mended > 0

    async def _set_aside(self, subject: str, position: int, error: Exception) -> None:
        name = self.view.name
        text = f"{type(error).__name__}: {error}".replace("\x00", "")[:2000]
        _log.error("view_set_aside", view=name, subject=subject, position=position, error=text)
        await self.conn.execute(SQL.set_aside, name, self.generation, subject, position, text)
        self.faults_changed = True

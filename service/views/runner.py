"""One background runner for every view.

A view follows the log by position in batches. Its checkpoint row is locked, `SKIP LOCKED`, in the
transaction that writes its rows: that makes every event count exactly once, elects one process at
a time and lets any number of processes run. The log's NOTIFY wakes it; polling is the safety net.
"""

import asyncio
import contextlib

import structlog

from service.log.listening import Listener
from service.storage.pool import Connection, Database
from service.views.applying import SQL, Applying, Batch, OnFaults, View, limit
from service.views.rebuild import BeingBuilt, Rebuilt, rebuild

BATCH = 2_000
_log = structlog.get_logger(__name__)


class Runner:
    """Keeps `views` up with the log. `start` returns at once; `stop` ends after the step at hand.

    `follows` of a view names views that must have seen an event before it does. `on_faults` is
    called in the transaction that set something aside, or mended it.
    """

    def __init__(
        self,
        database: Database,
        views: list[View],
        *,
        poll_seconds: float = 1.0,
        on_faults: OnFaults | None = None,
    ) -> None:
        self.database = database
        self.on_faults = on_faults
        self.views = {view.name: view for view in views}
        self.poll_seconds = poll_seconds
        self._wake = {name: asyncio.Event() for name in self.views}
        self._listener = Listener(database, lambda _: self.wake(), retry_seconds=poll_seconds)
        self._stopping = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        # Views together take at most this many connections of the writer's pool.
        self._turns = asyncio.Semaphore(2)
        self._stepped = asyncio.Condition()
        self._reached: dict[str, int] = {}

    @property
    def listening(self) -> asyncio.Event:
        """Set while the log's notices are heard."""
        return self._listener.listening

    async def start(self) -> None:
        """Begin to follow the log, from where each view stopped."""
        await self._ensure()
        listening = self._listener.run(self._stopping)
        self._tasks = [asyncio.create_task(listening, name="views listen")]
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
            head = await limit(conn, view)
            batch = Batch(row["position"], min(head, row["position"] + BATCH))
            anew = view.kind == "additive" and await view.outdated(conn, batch)
            if batch.through > batch.after and not anew:
                applying = Applying(conn, view, row["generation"])
                await applying.batch(batch)
                await conn.execute(SQL.advance, name, batch.through)
                if applying.faults_changed:
                    await self._tell_faults(conn)
        # Rare: a lot was made anew and is another than it was, and what it was is not kept; or the
        # view is computed in another way now, and has come to the head in the old one.
        if anew or (row["outdated"] and batch.through == head):
            _log.info("view_built_anew", view=name, position=batch.through)
            try:
                await self.rebuild(name)
            except BeingBuilt:
                return False
            return True
        await self._note(name, max(batch.through, batch.after))
        return batch.through < head

    async def catch_up(self) -> None:
        """Apply everything that is in the log now, in this task (for commands and tests)."""
        await self._ensure()
        for name in _in_order(self.views):
            while await self.step(name):
                pass

    async def rebuild(self, name: str) -> Rebuilt:
        """Build a view beside what is kept, compare and swap; see `service.views.rebuild`."""
        done = await rebuild(self.database, self.views[name], on_faults=self.on_faults)
        await self._note(name, done.position)
        return done

    async def _ensure(self) -> None:
        async with self.database.writer.acquire() as conn:
            for name in self.views:
                await conn.execute(SQL.ensure_checkpoint, name)

    async def _tell_faults(self, conn: Connection) -> None:
        if self.on_faults is None:
            return
        try:
            async with conn.transaction():
                await self.on_faults(conn)
        except Exception as error:
            # It may be the alerts themselves that are at fault: the view goes on all the same.
            _log.warning("faults_not_told", error=repr(error))

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


def _in_order(views: dict[str, View]) -> list[str]:
    """Names, with those that follow others after them."""
    return sorted(views, key=lambda name: len(views[name].follows))

"""Delivers all webhooks, in one process at a time.

The process that holds an advisory lock delivers; the others look every few seconds whether it is
free. The lock ends with its connection, so another goes on from what is written when a process is
killed. What the killed one had sent and not written comes once more, under the same id.
"""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Sequence
from datetime import datetime
from random import random
from typing import Any

import asyncpg
import structlog

from service.clock import Clock, system_clock
from service.feed.newest import Newest
from service.storage.pool import Database, OwnConnection
from service.storage.roles import DatabaseError
from service.storage.sql import load
from service.webhooks.duty import Duty, load_duties, seal_all_anew
from service.webhooks.ledger import Ledger, Standing
from service.webhooks.sealing import Sealer
from service.webhooks.sending import Sender
from service.webhooks.tail import Tail
from service.webhooks.telling import Means, Telling, Timer
from service.webhooks.topics import Topic

SQL = load(__package__, "webhooks.sql")
CHANNEL = "graftlog_webhooks"
_log = structlog.get_logger(__name__)
_AWAY = (OSError, TimeoutError, asyncpg.PostgresError, asyncpg.InterfaceError, DatabaseError)
# Long waits are cut, for a clock may be set meanwhile.
_LONGEST_WAIT = 30.0


class SystemTimer:
    """Waits by the clock of the process."""

    def __init__(self, clock: Clock = system_clock) -> None:
        self.now = clock

    async def until(self, moment: datetime) -> None:
        """Return once it is `moment`."""
        while (left := (moment - self.now()).total_seconds()) > 0:
            await asyncio.sleep(min(left, _LONGEST_WAIT))


class Deliverer:
    """Runs beside the requests: `start` returns at once, `stop` ends what is being sent.

    `poll_seconds`: how often it looks for webhooks that were changed, beside being told so;
    `look_seconds`: how often for what changed without an event.
    """

    def __init__(
        self,
        database: Database,
        newest: Newest,
        sealer: Sealer,
        sender: Sender,
        *,
        base: str,
        topics: Sequence[Topic] = (),
        timer: Timer | None = None,
        chance: Callable[[], float] = random,
        poll_seconds: float = 2.0,
        look_seconds: float = 2.0,
    ) -> None:
        self._database, self._newest, self._sealer = database, newest, sealer
        self._sender, self._base, self._topics = sender, base, topics
        self._timer, self._chance = timer or SystemTimer(), chance
        self._poll_seconds, self._look_seconds = poll_seconds, look_seconds
        self._look = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        # Set while this is the process that delivers.
        self.leading = asyncio.Event()

    async def start(self) -> None:
        """Begin, here or as soon as no other process does it."""
        self._task = asyncio.create_task(self._run(), name="webhooks")

    async def stop(self) -> None:
        """End at once: what was being sent comes again from another process, under the same id."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task

    async def _run(self) -> None:
        while True:
            try:
                await self._once()
            except _AWAY as error:
                _log.warning("webhooks_paused", error=repr(error))
            except Exception:
                # A mistake of the service's own must not end what tells everybody.
                _log.exception("webhooks_failed")
            await asyncio.sleep(self._poll_seconds)

    async def _once(self) -> None:
        """Wait to be the one that delivers, and deliver until the connection is lost."""
        connection = await self._database.connect("writer")
        try:
            lost = asyncio.Event()

            def gone(*_: Any) -> None:
                lost.set()
                self._look.set()

            connection.add_termination_listener(gone)
            while not await connection.fetchval(SQL.try_lead):
                await asyncio.sleep(self._poll_seconds)
            await connection.add_listener(CHANNEL, lambda *_: self._look.set())
            self.leading.set()
            await self._deliver(connection, lost)
        finally:
            self.leading.clear()
            connection.terminate()

    async def _deliver(self, connection: OwnConnection, lost: asyncio.Event) -> None:
        ledger = Ledger(self._database)
        await seal_all_anew(connection, self._sealer)
        duties = await load_duties(connection, self._sealer, self._timer.now())
        means = Means(
            base=self._base,
            tail=Tail(self._database, self._newest),
            topics=self._topics,
            sender=self._sender,
            ledger=ledger,
            timer=self._timer,
            chance=self._chance,
            look_seconds=self._look_seconds,
        )
        crew = Crew(means)
        writing = asyncio.create_task(ledger.run(), name="webhooks written")
        try:
            while not lost.is_set():
                self._look.clear()
                await crew.keep_to(duties)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(self._poll_seconds):
                        await self._look.wait()
                if lost.is_set():
                    break
                duties = await load_duties(connection, self._sealer, self._timer.now())
        finally:
            await crew.end()
            writing.cancel()
            await asyncio.gather(writing, return_exceptions=True)
            await ledger.close()


class Crew:
    """A task for each webhook that is at work, so that none waits for another's receiver."""

    def __init__(self, means: Means) -> None:
        self._means = means
        self._at_work: dict[str, tuple[Telling, asyncio.Task[None]]] = {}
        self._tests: dict[str, asyncio.Task[None]] = {}

    async def keep_to(self, duties: Sequence[Duty]) -> None:
        """Have exactly these told, by the terms that they have now."""
        await self._end_others({one.code: one for one in duties if one.active})
        for duty in duties:
            if duty.test is not None and duty.secrets and duty.code not in self._tests:
                self._test(duty)
            if not duty.active:
                continue
            if duty.stop_for is not None:
                await self._means.ledger.write(
                    Standing(
                        duty.code,
                        duty.version,
                        duty.position,
                        stopped_because=duty.stop_for,
                        at=self._means.timer.now(),
                    )
                )
            elif duty.code in self._at_work:
                self._at_work[duty.code][0].duty.secrets = duty.secrets
            else:
                telling = Telling(duty, self._means)
                task = asyncio.create_task(
                    _guarded(telling.run, duty.code), name=f"webhook {duty.code}"
                )
                self._at_work[duty.code] = telling, task

    async def end(self) -> None:
        """End all at once."""
        tasks = [task for _, task in self._at_work.values()] + list(self._tests.values())
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _end_others(self, wanted: dict[str, Duty]) -> None:
        for code, (telling, task) in list(self._at_work.items()):
            now = wanted.get(code)
            as_it_was = now is not None and now.terms == telling.duty.terms
            if as_it_was and now is not None and now.stop_for is None and not task.done():
                continue
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            del self._at_work[code]

    def _test(self, duty: Duty) -> None:
        task = asyncio.create_task(
            _guarded(Telling(duty, self._means).test, duty.code),
            name=f"webhook test {duty.code}",
        )
        self._tests[duty.code] = task
        task.add_done_callback(lambda _: self._tests.pop(duty.code, None))


async def _guarded(work: Callable[[], Awaitable[None]], webhook: str) -> None:
    """What goes wrong with one webhook ends nothing else: it is read anew, and goes on from what is
    written."""
    try:
        await work()
    except _AWAY as error:
        _log.warning("webhook_paused", webhook=webhook, error=repr(error))
    except Exception:
        # A mistake of the service's own.
        _log.exception("webhook_failed", webhook=webhook)

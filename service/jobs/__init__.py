"""What runs without being asked: the views' runner and the timed work.

Any number of processes may run all of it. The scheduler only says when; the tick ledger sees to it
that each tick is run once, and a view's checkpoint that each event counts once.
"""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta

import structlog
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.interval import IntervalTrigger

from service.clock import Clock, system_clock
from service.jobs.every_view import every_view, telling_faults
from service.jobs.ticks import tick_of
from service.jobs.work import (
    ALERTS_EVERY,
    CALENDAR_EVERY,
    EXPIRIES_EVERY,
    FORECAST_EVERY,
    MAILS_EVERY,
    SWEEP_EVERY,
    Work,
)
from service.reminders.mail.mailing import Mailing
from service.reminders.shortfalls import USUAL, RiskLimits
from service.storage.pool import Database
from service.views.runner import Runner

__all__ = ["Jobs", "every_view", "start"]
_log = structlog.get_logger(__name__)
_STOP_WITHIN = 20.0


class Jobs:
    """What runs in the background: `runner` keeps the views, the scheduler calls the timed work.

    `run_views` and `run_jobs` say which of the two this process does. `limits`: what the alerts
    about promises go by. `mailing`: what writes and sends reminders, where there is a mail server.
    """

    def __init__(
        self,
        database: Database,
        clock: Clock = system_clock,
        *,
        run_views: bool = True,
        run_jobs: bool = True,
        limits: RiskLimits = USUAL,
        mailing: Mailing | None = None,
    ) -> None:
        self.runner = Runner(database, every_view(), on_faults=telling_faults(clock))
        self.run_views, self.run_jobs = run_views, run_jobs
        self.work = Work(database, clock, limits, mailing)
        self.scheduler = AsyncIOScheduler(
            timezone=UTC,
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": 60},
        )
        self._running: set[asyncio.Task[None]] = set()
        self._ended = asyncio.Condition()
        self._runs: dict[str, int] = {}

    async def start(self) -> None:
        """Begin; each job runs at once, and then at its times."""
        if self.run_views:
            await self.runner.start()
        if not self.run_jobs:
            return
        work = self.work
        for job, every in (
            (work.overdue_alerts, ALERTS_EVERY),
            (work.forecast, FORECAST_EVERY),
            (work.calendar, CALENDAR_EVERY),
            (work.expiries, EXPIRIES_EVERY),
            (work.sweep, SWEEP_EVERY),
            (work.mails, MAILS_EVERY),
        ):
            self._add(job, every)
        self.scheduler.start()

    async def stop(self) -> None:
        """End: nothing new begins, what runs is let end for some seconds."""
        if self.scheduler.running:
            self.scheduler.pause()
            self.work.stop()
            if self._running:
                await asyncio.wait(self._running, timeout=_STOP_WITHIN)
            self.scheduler.shutdown(wait=False)
        await self.runner.stop()

    async def ended(self, name: str, timeout: float) -> None:
        """Return once the named job has run, or left its tick to another process, since the start.

        Raises TimeoutError after `timeout` seconds.
        """
        async with asyncio.timeout(timeout), self._ended:
            await self._ended.wait_for(lambda: self._runs.get(name, 0) > 0)

    def _add(self, job: Callable[[], Awaitable[None]], every: timedelta) -> None:
        name = getattr(job, "__name__", "job")

        async def run() -> None:
            task = asyncio.current_task()
            assert task is not None
            self._running.add(task)
            try:
                await job()
            except Exception as error:
                # The database may be away for a while: the next time does the same work.
                _log.warning("job_not_run", job=name, error=repr(error))
            finally:
                self._running.discard(task)
                with contextlib.suppress(asyncio.CancelledError):
                    async with self._ended:
                        self._runs[name] = self._runs.get(name, 0) + 1
                        self._ended.notify_all()

        now = datetime.now(UTC)
        self.scheduler.add_job(
            run,
            # Times that are whole multiples of the interval, the same for every process.
            IntervalTrigger(seconds=int(every.total_seconds()), start_date=tick_of(now, every)),
            id=name,
            next_run_time=now,
        )


async def start(database: Database, clock: Clock = system_clock) -> Jobs:
    """Begin to keep the views and to run the timed work; `await jobs.stop()` before closing."""
    jobs = Jobs(database, clock)
    await jobs.start()
    return jobs

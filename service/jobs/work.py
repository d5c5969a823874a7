"""The timed work itself. Each piece may run twice without harm."""

import asyncio
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.clock import Clock
from service.forecast import refresh
from service.jobs.ticks import SQL, once, tick_of
from service.log.expiring import record_expired
from service.log.sessions import sweep as sweep_sessions
from service.reminders.calendar.days import bring_up
from service.reminders.mail.mailing import Mailing, sweep_mails
from service.reminders.shortfalls import USUAL, RiskLimits
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database
from service.views.site_days import zone

ALERTS_EVERY = timedelta(minutes=5)
FORECAST_EVERY = timedelta(minutes=3)
# A forecast that failed would most likely fail again.
FORECAST_AFTER_FAILURE = timedelta(minutes=15)
EXPIRIES_EVERY = timedelta(minutes=1)
MAILS_EVERY = timedelta(minutes=1)
CALENDAR_EVERY = timedelta(minutes=2)
SWEEP_EVERY = timedelta(hours=6)
# A site's day begins before its people do.
MORNING = time(5)
# A log whose newest record is older than this is quiet, or one into which old records are brought;
# the latter pauses for less than that.
LIVE, IMPORT_PAUSE = timedelta(hours=1), timedelta(minutes=10)
KEEP_KEYS = timedelta(days=7)
KEEP_TICKS = timedelta(days=30)
KEEP_DELIVERIES = timedelta(days=7)


def last_morning(now: datetime, site_zone: ZoneInfo) -> datetime:
    """The newest morning that has come at a site, in UTC."""
    day = now.astimezone(site_zone).date()
    morning = datetime.combine(day, MORNING, site_zone)
    if morning > now:
        morning = datetime.combine(day - timedelta(days=1), MORNING, site_zone)
    return morning.astimezone(UTC)


class Work:
    """Jobs over one database and clock. Each method is called at its times, by every process."""

    def __init__(
        self,
        database: Database,
        clock: Clock,
        limits: RiskLimits = USUAL,
        mailing: Mailing | None = None,
    ) -> None:
        self.database, self.clock, self.limits = database, clock, limits
        self.mailing = mailing
        self._no_forecast_before = datetime.min.replace(tzinfo=UTC)
        self._forecast: asyncio.Task[refresh.Done] | None = None
        self._stopping = False
        # how far the log and its views were when the calendars' days were brought up last
        self._calendar_reflects: str | None = None
        # the log's head as it was seen, and when it was first seen there
        self._seen = (-1, datetime.min.replace(tzinfo=UTC))

    async def overdue_alerts(self) -> None:
        """Raise what is overdue on each site's own day."""

        async def work() -> str:
            raised = await look_at_calendar(self.database.writer, self.clock, self.limits)
            return f"{raised} alerts raised"

        tick = tick_of(self.clock(), ALERTS_EVERY)
        await once(self.database.writer, "overdue_alerts", tick, work)

    async def mails(self) -> None:
        """Write reminders that are due, and send what is on its way."""
        if self.mailing is not None:
            tick = tick_of(self.clock(), MAILS_EVERY)
            await once(self.database.writer, "mails", tick, self.mailing.run)

    async def forecast(self) -> None:
        """A forecast each morning, and when trees or temperatures were recorded since the last."""
        now, pool = self.clock(), self.database.writer
        if now < self._no_forecast_before:
            return
        zones = await pool.fetch(SQL.zones)
        if not zones:
            return
        morning = max(last_morning(now, zone(row["time_zone"])) for row in zones)

        async def work() -> str:
            async with pool.acquire() as conn:
                wanted = await refresh.wanted(conn, morning)
            if not wanted.now:
                return wanted.words
            self._forecast = asyncio.create_task(refresh.refresh(self.database, self.clock))
            try:
                done = await self._forecast
            except asyncio.CancelledError:
                self._forecast.cancel()
                if not self._stopping:
                    raise
                return "cut off, since the process ends"
            except Exception:
                self._no_forecast_before = now + FORECAST_AFTER_FAILURE
                raise
            return f"{wanted.words}; {done.words}"

        await once(pool, "forecast", tick_of(now, FORECAST_EVERY), work)

    def stop(self) -> None:
        """Cut a forecast off: the next process makes it, and it may be long."""
        self._stopping = True
        if self._forecast is not None:
            self._forecast.cancel()

    async def calendar(self) -> None:
        """Bring up to date what calendars show."""

        async def work() -> str:
            reached = await self.database.writer.fetchval(SQL.reached)
            if reached == self._calendar_reflects:
                return "nothing moved"
            told, gone = await bring_up(self.database.writer, self.clock)
            self._calendar_reflects = reached
            return f"{told} told, {gone} gone"

        await once(self.database.writer, "calendar", tick_of(self.clock(), CALENDAR_EVERY), work)

    async def expiries(self) -> None:
        """Record which reservations have expired."""

        async def work() -> str:
            if await self._is_imported_into():
                return "waits: old records come in"
            return f"{await record_expired(self.database, self.clock)} recorded"

        await once(self.database.writer, "expiries", tick_of(self.clock(), EXPIRIES_EVERY), work)

    async def _is_imported_into(self) -> bool:
        """Whether records of long ago may be coming in: each says when it was first recorded, and
        none may come after one of now."""
        now = self.clock()
        head = await self.database.writer.fetchrow(SQL.head)
        assert head is not None, "the log has one head"
        if head["position"] != self._seen[0]:
            self._seen = (head["position"], now)
        return now - head["recorded_at"] > LIVE and now - self._seen[1] < IMPORT_PAUSE

    async def sweep(self) -> None:
        """Forget idempotency keys and attempts of webhooks after 7 days, old ticks and mails, and
        devices and links to sign in that are over."""
        now, pool = self.clock(), self.database.writer

        async def work() -> str:
            keys = await pool.execute(SQL.sweep_keys, now - KEEP_KEYS)
            ticks = await pool.execute(SQL.sweep_ticks, now - KEEP_TICKS)
            tried = await pool.execute(SQL.sweep_deliveries, now - KEEP_DELIVERIES)
            await sweep_mails(pool, now)
            async with pool.acquire() as conn:
                await sweep_sessions(conn, now)
            return f"keys {keys}, ticks {ticks}, deliveries {tried}"

        await once(pool, "sweep", tick_of(now, SWEEP_EVERY), work)

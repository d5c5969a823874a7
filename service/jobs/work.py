"""The timed work itself. Each piece may run twice without harm."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.clock import Clock
from service.forecast import ready_view
from service.jobs.ticks import SQL, once, tick_of
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database
from service.views.site_days import site_days, zone

ALERTS_EVERY = timedelta(minutes=5)
READY_EVERY = timedelta(minutes=1)
SWEEP_EVERY = timedelta(hours=6)
# A site's day begins before its people do.
MORNING = time(5)
KEEP_KEYS = timedelta(days=7)
KEEP_TICKS = timedelta(days=30)


def last_morning(now: datetime, site_zone: ZoneInfo) -> datetime:
    """The newest morning that has come at a site, in UTC."""
    day = now.astimezone(site_zone).date()
    morning = datetime.combine(day, MORNING, site_zone)
    if morning > now:
        morning = datetime.combine(day - timedelta(days=1), MORNING, site_zone)
    return morning.astimezone(UTC)


class Work:
    """Jobs over one database and clock. Each method is called at its times, by every process."""

    def __init__(self, database: Database, clock: Clock) -> None:
        self.database, self.clock = database, clock
        self._outlooks = ready_view.Outlooks()

    async def overdue_alerts(self) -> None:
        """Raise what is overdue on each site's own day."""

        async def work() -> str:
            raised = await look_at_calendar(self.database.writer, self.clock)
            return f"{raised} alerts raised"

        tick = tick_of(self.clock(), ALERTS_EVERY)
        await once(self.database.writer, "overdue_alerts", tick, work)

    async def ready_dates(self) -> None:
        """Each site's ready dates once each morning, and when its temperatures changed."""
        now, pool = self.clock(), self.database.writer
        for row in await pool.fetch(SQL.zones):
            morning = last_morning(now, zone(row["time_zone"]))
            await self._ready_at(row["code"], "morning", morning)
        for row in await pool.fetch(SQL.newer_temperatures):
            await self._ready_at(row["site"], f"temperatures/{row['version']}", row["recorded_at"])

    async def sweep(self) -> None:
        """Forget idempotency keys after 7 days, and old ticks."""
        now, pool = self.clock(), self.database.writer

        async def work() -> str:
            keys = await pool.execute(SQL.sweep_keys, now - KEEP_KEYS)
            ticks = await pool.execute(SQL.sweep_ticks, now - KEEP_TICKS)
            return f"keys {keys}, ticks {ticks}"

        await once(pool, "sweep", tick_of(now, SWEEP_EVERY), work)

    async def _ready_at(self, site: str, why: str, tick: datetime) -> None:
        pool = self.database.writer

        async def work() -> str:
            now = self.clock()
            async with pool.acquire() as conn:
                today = await site_days(conn, now)
                written = await ready_view.recompute(
                    conn,
                    None,
                    {site: today[site]},
                    outlooks=self._outlooks,
                    computed_at=now,
                )
            return f"{written} ready dates"

        await once(pool, f"ready_dates/{site}/{why}", tick, work)

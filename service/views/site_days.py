"""The calendar day of each site: its own zone, summer time and all."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.storage.pool import Connection, Pool
from service.storage.sql import load

SQL = load(__package__, "site_days.sql")


async def site_days(conn: Pool | Connection, now: datetime) -> dict[str, date]:
    """Each site's day at the moment `now` (aware). A zone that is not known counts as UTC."""
    rows = await conn.fetch(SQL.zones)
    return {row["code"]: now.astimezone(zone(row["time_zone"])).date() for row in rows}


def zone(name: str | None) -> ZoneInfo:
    """The time zone of that IANA name; UTC when there is none."""
    try:
        return ZoneInfo(name or "UTC")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


def today_at(days: dict[str, date], site: str | None, now: datetime) -> date:
    """A site's day, or the day by UTC of what belongs to no site."""
    return days.get(site or "") or now.astimezone(UTC).date()

"""A site's weather as the numerics want it: record, hours, days to come and normals, as columns."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from math import nan

from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather
from service.forecast.temperatures import load_version, version_known_at
from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "site_weather.sql")


async def site_weather(
    conn: Connection,
    site: str,
    today: date,
    known_until: datetime | None,
    crops: Mapping[str, Thresholds],
) -> SiteWeather:
    """What was known of a site's weather at a moment (None: now); `today` is the site's day then.

    The record runs from its first day to yesterday, whole. `crops` says how the hours of each crop
    are summed. A site that is not known has an empty record.
    """
    about = await conn.fetchrow(SQL.site, site, known_until)
    version = await version_known_at(conn, site, known_until)
    history = await load_version(conn, site, version)
    past = {day: pair for day, pair in history.items() if day < today}
    first = min(past, default=today)
    days = [first + timedelta(days=step) for step in range((today - first).days)]
    pairs = [past.get(day, (nan, nan)) for day in days]
    return SiteWeather(
        site=site,
        today=today.toordinal(),
        south=about is not None and about["latitude"] < 0,
        version=version,
        first=first.toordinal(),
        low=[low for low, _ in pairs],
        high=[high for _, high in pairs],
    )

"""A site's weather as the numerics want it: record, hours, days to come and normals, as columns."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from math import nan
from typing import Any
from zoneinfo import ZoneInfo

from service.forecast.records import ahead, reading_days
from service.forecast.records.temperatures import load_version, version_known_at
from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather
from service.storage.pool import Connection
from service.storage.sql import load
from service.views.site_days import zone

SQL = load(__package__, "site_weather.sql")

Pair = tuple[float, float]
_NOTHING: Pair = (nan, nan)


async def site_weather(
    conn: Connection,
    site: str,
    today: date,
    known_until: datetime | None,
    crops: Mapping[str, Thresholds],
) -> SiteWeather:
    """What was known of a site's weather at a moment (None: now); `today` is the site's day then.

    The record runs from its first day to yesterday, whole; where it lacks a day the range of the
    loggers' readings stands in, if they saw each quarter of it. `crops` says how the hours of each
    crop are summed. Of the forecast that was given last the days from today on are left. A site
    that is not known has an empty record.
    """
    about = await conn.fetchrow(SQL.site, site, known_until)
    version = await version_known_at(conn, site, known_until)
    there = zone(about["time_zone"] if about is not None else None)
    ranges, sums = await _by_hours(conn, site, there, known_until, crops)
    record = {**ranges, **await load_version(conn, site, version)}
    first = min((day for day in _days_in(record, sums) if day < today), default=today)
    days = [first + timedelta(days=step) for step in range((today - first).days)]
    given = await ahead.in_force(conn, site, known_until)
    expected = _ahead(given, today)
    normal: dict[str, Any] = (about and about["climate_normal"]) or {}
    return SiteWeather(
        site=site,
        today=today.toordinal(),
        south=about is not None and about["latitude"] < 0,
        version=version,
        first=first.toordinal(),
        low=[record.get(day, _NOTHING)[0] for day in days],
        high=[record.get(day, _NOTHING)[1] for day in days],
        hourly={crop: [by_day.get(day, nan) for day in days] for crop, by_day in sums.items()},
        ahead_low=[low for low, _ in expected],
        ahead_high=[high for _, high in expected],
        ahead_source=given["source"] if expected else "",
        normal_low=normal.get("min_c", []),
        normal_high=normal.get("max_c", []),
        normal_source=normal.get("source", ""),
    )


async def _by_hours(
    conn: Connection,
    site: str,
    there: ZoneInfo,
    known_until: datetime | None,
    crops: Mapping[str, Thresholds],
) -> tuple[dict[date, Pair], dict[str, dict[date, float]]]:
    """What loggers say of each day: its range, and each crop's degree-days by the sum of hours."""
    version = await reading_days.version_known_at(conn, site, known_until)
    if version == 0:
        return {}, {}
    ranges = await reading_days.stand_ins(conn, site, there, version)
    # Crops that are counted alike are summed once.
    different = list(dict.fromkeys(crops.values()))
    sums = await reading_days.hourly_sums(conn, site, there, version, different)
    by_way = dict(zip(different, sums, strict=True))
    return ranges, {crop: by_way[way] for crop, way in crops.items()}


def _days_in(
    record: Mapping[date, Pair], sums: Mapping[str, Mapping[date, float]]
) -> Iterable[date]:
    yield from record
    for by_day in sums.values():
        yield from by_day


def _ahead(given: Any, today: date) -> list[Pair]:
    """Minimum and maximum expected of each day from today to the last one given, NaN between."""
    days = {one.day: (one.min_c, one.max_c) for one in ahead.days_of(given) if one.day >= today}
    if not days:
        return []
    steps = range((max(days) - today).days + 1)
    return [days.get(today + timedelta(days=step), _NOTHING) for step in steps]

"""What is due when, as calendars show it: found in the books and views, remembered once shown.

A calendar program knows an entry by its UID and takes a change by its SEQUENCE, and must be told
for a while that an entry is no more; so what was shown is kept, in `calendar_days`.
"""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import NamedTuple

import asyncpg

from service.clock import Clock
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.views.site_days import zone

SQL = load(__package__, "calendar.sql")
# Programs that ask once a day must hear of what is gone.
SHOWN_WHEN_GONE = timedelta(days=14)
DAYS_BACK, DAYS_AHEAD = 31, 120
MOST = 2000
KINDS = {"checks": ["check"], "orders": ["work_order", "reservation"], "bags": ["bag"]}


class Late(NamedTuple):
    """Checks that are overdue at a site on its day, and at how many places.

    `days_late`, `due_on`: of the one that is overdue for longest.
    """

    site: str
    day: date
    checks: int
    places: int
    days_late: int
    due_on: date


class Days(NamedTuple):
    """What a calendar shows: sites by name, entries the nearest first, what is overdue by site."""

    names: dict[str, str]
    zones: dict[str, str]
    rows: list[asyncpg.Record]
    late: list[Late]


async def bring_up(pool: Pool, clock: Clock) -> tuple[int, int]:
    """Bring the days up to date: how many are new or changed, and how many are gone."""
    now = clock()
    async with pool.acquire() as connection, connection.transaction():
        await connection.execute(SQL.lock_days)
        await connection.execute(SQL.forget, now - SHOWN_WHEN_GONE)
        row = await connection.fetchrow(SQL.bring_up, now)
    assert row is not None, "it counts"
    return row["told"], row["gone"]


async def days(
    connection: Connection, sites: list[str] | None, shows: Collection[str], now: datetime
) -> Days:
    """What is shown of these sites (None: all that the connection sees) on their own days."""
    there = await connection.fetch(SQL.names, sites)
    today = {row["code"]: now.astimezone(zone(row["time_zone"])).date() for row in there}
    asked = (list(today), list(today.values()))
    kinds = [kind for one in shows for kind in KINDS[one]]
    rows = await connection.fetch(SQL.days, *asked, kinds, DAYS_BACK, DAYS_AHEAD, MOST)
    late = await connection.fetch(SQL.late, *asked) if "checks" in shows else []
    return Days(
        names={row["code"]: row["name"] for row in there},
        zones={row["code"]: row["time_zone"] for row in there},
        rows=rows,
        late=[Late(*row) for row in late],
    )

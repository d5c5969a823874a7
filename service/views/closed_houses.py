"""Houses that a treatment closes: nobody goes in before the re-entry interval has passed.

The interval runs from the end of the application and closes the whole house, not only the places
that were treated. Nothing here ever says that a house is safe: a house that is not listed is one of
which nothing was recorded, and the label and local rules decide.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import asyncpg
import msgspec
from msgspec import Meta

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.completing.other import LONGEST_APPLICATION
from service.trade.words import understand_occurred
from service.views.site_days import zone

SQL = load(__package__, "closed_houses.sql")
LONGEST = timedelta(days=91) + LONGEST_APPLICATION
"""No re-entry interval that can be recorded is longer (90 days), with a day for clocks, after an
application whose end may have been told when it began."""
UNSAID_FOR = timedelta(days=7)
"""So long a treatment without a recorded interval is told of: common practice, no source."""
_PORTION = 200


class Treatment(msgspec.Struct, frozen=True, kw_only=True):
    """A treatment that closes a house, or whose interval nobody recorded."""

    event: str
    product: str
    places: list[str]
    actor: str | None
    document: str | None
    occurred: str
    counted_from: Annotated[
        datetime,
        Meta(
            description="The end of the application as it was recorded, else the end of the day "
            "that was told, since it can't have ended later."
        ),
    ]
    end_recorded: bool
    re_entry_hours: int | None
    until: Annotated[
        datetime | None,
        Meta(description="null: no interval was recorded, so nobody can say until when."),
    ]


class ClosedHouse(msgspec.Struct, frozen=True, kw_only=True):
    """A house that nobody may enter, or of which it is not known.

    `until` is the latest moment that any of its treatments asks for, with the site's offset; null
    when none of them had an interval recorded: then the label and whoever applied it say. `unsaid`:
    at least one was recorded without an interval. `closed_places`: all places in the house.
    """

    site: str
    structure: str
    until: datetime | None
    unsaid: bool
    closed_places: list[str]
    treatments: list[Treatment]


async def closed_houses(conn: Connection, site: str, now: datetime) -> list[ClosedHouse]:
    """Houses of a site that are closed at the moment `now` (aware), the longest closed first.

    A house that is not among them is none that is known to be safe: nothing was recorded of it.
    """
    treatments = await _treatments(conn, site, now)
    if not treatments:
        return []
    there = zone(await conn.fetchval(SQL.zone, site))
    houses: dict[str, list[str]] = defaultdict(list)
    for row in await conn.fetch(SQL.places, site):
        houses[row["structure"]].append(row["code"])
    treated: dict[str, list[Treatment]] = defaultdict(list)
    for row in treatments:
        told = _understood(row, there)
        if _still_told(told, now):
            for house in _houses_of(told.places, houses):
                treated[house].append(told)
    found = [_closed(site, house, treated[house], houses[house]) for house in treated]
    return sorted(found, key=lambda one: (-_last(one).timestamp(), one.structure))


async def _treatments(conn: Connection, site: str, now: datetime) -> list[asyncpg.Record]:
    """Those that may still close something: none is recorded before it happened."""
    found: list[asyncpg.Record] = []
    before: int | None = None
    while True:
        rows = await conn.fetch(SQL.treatments, before, _PORTION)
        recent = [row for row in rows if row["recorded_at"] > now - LONGEST]
        found += [row for row in recent if row["site"] == site and not row["voided"]]
        if len(recent) < _PORTION:
            return found
        before = rows[-1]["position"]


def _understood(row: asyncpg.Record, there: ZoneInfo) -> Treatment:
    data: dict[str, Any] = row["data"]
    hours = data.get("re_entry_hours")
    ended, recorded = _ended(data.get("ended"), row["occurred_day"], there)
    return Treatment(
        event=row["id"],
        product=data["product"],
        places=data["places"],
        actor=row["actor"],
        document=data.get("document"),
        occurred=row["occurred"],
        counted_from=ended,
        end_recorded=recorded,
        re_entry_hours=hours,
        until=None if hours is None else _later(ended, hours, there),
    )


def _ended(told: str | None, day: date, there: ZoneInfo) -> tuple[datetime, bool]:
    """When the application ended, and whether somebody said so by the clock."""
    if told is not None:
        moment = understand_occurred(told, there)
        if len(told) > len("2026-03-14"):
            return moment.at.astimezone(there), True
        day = moment.day
    return datetime.combine(day + timedelta(days=1), datetime.min.time(), there), False


def _later(moment: datetime, hours: int, there: ZoneInfo) -> datetime:
    """So many hours later as they pass, whatever the clocks do meanwhile."""
    utc = ZoneInfo("UTC")
    return (moment.astimezone(utc) + timedelta(hours=hours)).astimezone(there)


def _still_told(one: Treatment, now: datetime) -> bool:
    if one.until is None:
        return now < one.counted_from + UNSAID_FOR
    return now < one.until


def _houses_of(places: Iterable[str], houses: dict[str, list[str]]) -> list[str]:
    treated = set(places)
    return [house for house, inside in houses.items() if treated.intersection(inside)]


def _closed(site: str, house: str, by: list[Treatment], places: list[str]) -> ClosedHouse:
    untils = [one.until for one in by if one.until is not None]
    by = sorted(by, key=lambda one: one.until or one.counted_from, reverse=True)
    return ClosedHouse(
        site=site,
        structure=house,
        until=max(untils, default=None),
        unsaid=any(one.until is None for one in by),
        closed_places=sorted(places),
        treatments=by,
    )


def _last(one: ClosedHouse) -> datetime:
    """What nobody can say the end of comes before all that has one."""
    return one.until or datetime.max.replace(year=9000, tzinfo=ZoneInfo("UTC"))

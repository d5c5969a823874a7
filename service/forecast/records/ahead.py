"""Weather forecasts given for a site's next days: taken in, checked, kept in versions.

The newest alone counts, whole. A day it covers takes precedence over what past years say of it.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.forecast.records.sent import (
    MOST_FAULTS,
    Fault,
    NotRecordedError,
    fault_of_pair,
    not_before,
)
from service.forecast.records.temperatures import Celsius
from service.log.incoming import FUTURE_TOLERANCE
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.words import EARLIEST_YEAR, Text

SQL = load(__package__, "ahead.sql")

MOST_DAYS_AHEAD = 16
"""Today and the fifteen days after it: no forecast says more of days beyond."""


class AheadDay(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The air temperatures that one day is expected to have at the benches."""

    day: Annotated[date, Meta(description="A day of the site's own calendar, from today on.")]
    min_c: Celsius
    max_c: Celsius


class AheadPut(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A forecast, whole. Without days it withdraws the one before."""

    source: Annotated[
        Text, Meta(description="Who gave the forecast.", examples=["met office, local forecast"])
    ]
    issued_at: Annotated[datetime, Meta(tz=True, description="When it was made.")] | None = None
    days: Annotated[list[AheadDay], Meta(max_length=MOST_DAYS_AHEAD)]


class AheadReport(msgspec.Struct, frozen=True, kw_only=True):
    """What was recorded. The version is the same when nothing changed."""

    version: int
    first: date | None
    last: date | None
    days: int


class GivenAhead(msgspec.Struct, frozen=True, kw_only=True):
    """The forecast in force for a site's next days; days that have passed are in it too.

    Version 0: none was ever given.
    """

    site: str
    version: int
    source: str | None
    issued_at: datetime | None
    recorded_at: datetime | None
    days: list[AheadDay]


def check(given: AheadPut, today: date, now: datetime) -> None:
    """Refuse days that are over, too far ahead, given twice, or with the minimum above the maximum.

    Raises NotRecordedError with JSON pointers into an `AheadPut`.
    """
    faults: list[Fault] = []
    seen: dict[date, int] = {}
    last = today + timedelta(days=MOST_DAYS_AHEAD - 1)
    if given.issued_at is not None and given.issued_at > now + FUTURE_TOLERANCE:
        detail = f"{given.issued_at.isoformat()} is still to come"
        faults.append(Fault(pointer="/issued_at", detail=detail, kind="in_the_future"))
    elif given.issued_at is not None and given.issued_at.year <= EARLIEST_YEAR:
        detail = f"{given.issued_at.isoformat()} is outside the years that are told of"
        faults.append(Fault(pointer="/issued_at", detail=detail, kind="not_a_day"))
    for index, one in enumerate(given.days):
        at = f"/days/{index}"
        wrong = fault_of_pair(one.min_c, one.max_c)
        if wrong:
            faults.append(Fault(pointer=at, detail=f"{one.day}: {wrong}", kind="not_together"))
        if one.day in seen:
            detail = f"{one.day} was given before, at /days/{seen[one.day]}"
            faults.append(Fault(pointer=f"{at}/day", detail=detail, kind="not_together"))
        seen.setdefault(one.day, index)
        if one.day < today:
            detail = f"{one.day} is over: it is {today} at the site; send what was measured instead"
            faults.append(Fault(pointer=f"{at}/day", detail=detail, kind="in_the_past"))
        elif one.day > last:
            detail = f"{one.day} is beyond {last}, the last of {MOST_DAYS_AHEAD} days from {today}"
            faults.append(Fault(pointer=f"{at}/day", detail=detail, kind="in_the_future"))
    if faults:
        raise NotRecordedError(faults[:MOST_FAULTS])


async def put_ahead(
    conn: Connection,
    *,
    site: str,
    given: AheadPut,
    today: date,
    recorded_by: str,
    recorded_at: datetime,
    told: bool = False,
) -> AheadReport:
    """Record a forecast under the site's next version; the same again writes nothing.

    `today` is the site's. `recorded_at` as in `temperatures.put_temperatures`. Raises
    NotRecordedError; the caller has seen to it that the site exists and may be written.
    """
    check(given, today, recorded_at)
    days = sorted(given.days, key=lambda one: one.day)
    content = (
        given.source,
        given.issued_at,
        [one.day for one in days],
        [round(one.min_c, 2) for one in days],
        [round(one.max_c, 2) for one in days],
    )
    async with conn.transaction():
        # Alone and first, so that what follows sees what the one before us committed.
        await conn.execute(SQL.lock_site, site)
        newest = await in_force(conn, site)
        version = newest["version"] if newest else 0
        if _content(newest) != content and (newest is not None or days):
            version += 1
            at = not_before(newest, recorded_at, told=told)
            await conn.execute(SQL.add, site, version, at, recorded_by, *content)
    return AheadReport(
        version=version,
        first=days[0].day if days else None,
        last=days[-1].day if days else None,
        days=len(days),
    )


def _content(row: Any) -> tuple[Any, ...] | None:
    return None if row is None else tuple(row[name] for name in _CONTENT)


_CONTENT = ("source", "issued_at", "days", "min_c", "max_c")


async def in_force(
    conn: Connection, site: str, known_at: datetime | None = None, version: int | None = None
) -> Any:
    """The row of the forecast given last, by a moment and up to a version; None without one."""
    return await conn.fetchrow(SQL.in_force, site, known_at, version)


def days_of(row: Any) -> list[AheadDay]:
    """The days of a forecast's row (None: of none)."""
    if row is None:
        return []
    columns: Sequence[Any] = (row["days"], row["min_c"], row["max_c"])
    return [
        AheadDay(day=day, min_c=low, max_c=high) for day, low, high in zip(*columns, strict=True)
    ]

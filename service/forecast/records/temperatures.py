"""A site's record of daily minimum and maximum temperatures: taken in, checked, kept in versions.

A change never overwrites: it adds the changed days under the site's next version, so that what was
known at any moment can still be told.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Annotated

import msgspec
from msgspec import Meta

from service.forecast.records.sent import (
    COLDEST_C,
    MOST_FAULTS,
    WARMEST_C,
    Fault,
    NotRecordedError,
    celsius_of,
    day_of,
    fault_of_pair,
    not_before,
    read_csv,
)
from service.forecast.records.weather import missing_ranges
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.words import EARLIEST_YEAR, Text

SQL = load(__package__, "temperatures.sql")

MOST_DAYS = 4000
JUMP_C = 20.0
"""A minimum or maximum further than this from the day before is worth a second look."""
MOST_WARNINGS = 50
CSV_HEADER = ("day", "min_c", "max_c")

_DAY = timedelta(days=1)

Celsius = Annotated[
    float,
    Meta(ge=COLDEST_C, le=WARMEST_C, description="Degrees Celsius; kept to 0.01.", examples=[18.4]),
]


class TemperatureDay(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One day's air temperatures at the benches. Both null: the day's record is withdrawn."""

    day: Annotated[date, Meta(description="A day of the site's own calendar.")]
    min_c: Celsius | None
    max_c: Celsius | None


class TemperaturesPut(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Days to record or to correct; days not named stay as they are."""

    source: Annotated[
        Text,
        Meta(description="The sensor or service that measured.", examples=["logger 3, House 2"]),
    ]
    days: Annotated[list[TemperatureDay], Meta(min_length=1, max_length=MOST_DAYS)]


class RecordGap(msgspec.Struct, frozen=True, kw_only=True, rename={"from_": "from"}):
    """Days between the first and the last of the record that it lacks, both ends included."""

    from_: date
    to: date
    days: int


class TemperaturesReport(msgspec.Struct, frozen=True, kw_only=True):
    """What a change did, and how the site's whole record then stands."""

    version: Annotated[int, Meta(description="Of the record; the same when nothing changed.")]
    days_written: int
    days_unchanged: int
    first: Annotated[date | None, Meta(description="First day of the whole record.")]
    last: Annotated[date | None, Meta(description="Last day of the whole record.")]
    gaps: list[RecordGap]
    warnings: list[str]


def parse_csv(text: str) -> list[TemperatureDay]:
    """Days from a CSV with the header `day,min_c,max_c`; an empty pair withdraws a day.

    Raises NotRecordedError naming each bad line.
    """
    return read_csv(
        text,
        CSV_HEADER,
        _csv_day,
        lambda said: (said.day, str(said.day)),
        most=MOST_DAYS,
        many="days",
    )


def _csv_day(cells: list[str]) -> TemperatureDay:
    day = day_of(cells[0])
    low, high = (celsius_of(cell) for cell in cells[1:])
    fault = fault_of_pair(low, high)
    if fault:
        raise ValueError(fault)
    return TemperatureDay(day=day, min_c=low, max_c=high)


def _fault(index: int, detail: str, kind: str, *, day: bool = True) -> Fault:
    pointer = f"/days/{index}/day" if day else f"/days/{index}"
    return Fault(pointer=pointer, detail=detail, kind=kind)


def check(days: Sequence[TemperatureDay], today: date) -> None:
    """Refuse days that cannot be: twice, impossible temperatures, too far ahead of `today`.

    One day ahead is let through, for clocks near midnight. Raises NotRecordedError with JSON
    pointers into a `TemperaturesPut`.
    """
    seen: dict[date, int] = {}
    faults: list[Fault] = []
    for index, given in enumerate(days):
        detail = fault_of_pair(given.min_c, given.max_c)
        if detail:
            faults.append(_fault(index, f"{given.day}: {detail}", "not_together", day=False))
        if given.day in seen:
            detail = f"{given.day} was given before, at /days/{seen[given.day]}"
            faults.append(_fault(index, detail, "not_together"))
        seen.setdefault(given.day, index)
        if given.day > today + _DAY:
            detail = f"{given.day} is in the future: it is {today} at the site"
            faults.append(_fault(index, detail, "in_the_future"))
        if given.day.year < EARLIEST_YEAR:
            detail = f"{given.day} is before the year {EARLIEST_YEAR}"
            faults.append(_fault(index, detail, "not_a_day"))
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise NotRecordedError(faults)


async def put_temperatures(
    conn: Connection,
    *,
    site: str,
    source: str,
    days: Sequence[TemperatureDay],
    today: date,
    recorded_by: str,
    recorded_at: datetime,
    told: bool = False,
) -> TemperaturesReport:
    """Record days of a site under its next version, in one transaction; unchanged ones write none.

    `today` is the site's. A `recorded_at` before that of the newest version is lifted to it, but
    refused where the sender told it (`told`). Raises NotRecordedError; the caller has seen to it
    that the site exists and may be written.
    """
    check(days, today)
    async with conn.transaction():
        # Alone and first, so that what follows sees what the one before us committed.
        await conn.execute(SQL.lock_site, site)
        newest = await conn.fetchrow(SQL.newest_version, site)
        version = newest["version"] if newest else 0
        record = dict(await _history(conn, site, version))
        changed = [given for given in days if record.get(given.day) != _pair(given)]
        if changed:
            version += 1
            at = not_before(newest, recorded_at, told=told)
            head = (site, version, at, recorded_by, source)
            await conn.execute(SQL.add_version, *head, len(changed))
            pairs = [_pair(given) or (None, None) for given in changed]
            await conn.execute(
                SQL.add_days,
                *head,
                [given.day for given in changed],
                [low for low, _ in pairs],
                [high for _, high in pairs],
            )
    for given in changed:
        pair = _pair(given)
        if pair is None:
            record.pop(given.day, None)
        else:
            record[given.day] = pair
    return TemperaturesReport(
        version=version,
        days_written=len(changed),
        days_unchanged=len(days) - len(changed),
        first=min(record, default=None),
        last=max(record, default=None),
        gaps=gaps_of(record),
        warnings=warnings_of(record, (given.day for given in changed)),
    )


def _pair(given: TemperatureDay) -> tuple[float, float] | None:
    if given.min_c is None or given.max_c is None:
        return None
    return round(given.min_c, 2), round(given.max_c, 2)


def gaps_of(record: Mapping[date, object]) -> list[RecordGap]:
    """What a record lacks between its first and last day."""
    if not record:
        return []
    return [
        RecordGap(from_=gap.first, to=gap.last, days=gap.days)
        for gap in missing_ranges(record, min(record), max(record))
    ]


def warnings_of(record: Mapping[date, tuple[float, float]], days: Iterable[date]) -> list[str]:
    """Jumps from one day to the next that the given days are part of, in words; at most 50.

    A jump is recorded all the same: fronts happen, and so do logger faults.
    """
    later = sorted({each for day in days for each in (day, day + _DAY)})
    warnings = []
    for day in later:
        before, now = record.get(day - _DAY), record.get(day)
        if before is None or now is None:
            continue
        for word, old, new in zip(("minimum", "maximum"), before, now, strict=True):
            if abs(new - old) > JUMP_C:
                warnings.append(
                    f"the {word} went from {old:g} C on {day - _DAY} to {new:g} C on {day}"
                )
    if len(warnings) > MOST_WARNINGS:
        more = len(warnings) - MOST_WARNINGS + 1
        warnings = [*warnings[: MOST_WARNINGS - 1], f"and {more} more jumps of this kind"]
    return warnings


async def version_known_at(conn: Connection, site: str, known_at: datetime | None = None) -> int:
    """The version of a site's record in force at a moment (null: now); 0 before the first."""
    version: int = await conn.fetchval(SQL.version_known_at, site, known_at)
    return version


async def load_history(
    conn: Connection, site: str, known_at: datetime | None = None
) -> dict[date, tuple[float, float]]:
    """Minimum and maximum (degrees Celsius) of each recorded day, as known at a moment."""
    return await _history(conn, site, await version_known_at(conn, site, known_at))


async def load_version(
    conn: Connection, site: str, version: int
) -> dict[date, tuple[float, float]]:
    """The record of a site as it stood at one of its versions."""
    return await _history(conn, site, version)


async def _history(conn: Connection, site: str, version: int) -> dict[date, tuple[float, float]]:
    rows = await conn.fetch(SQL.history, site, version)
    return {row["day"]: (row["min_c"], row["max_c"]) for row in rows}

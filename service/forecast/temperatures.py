"""A site's record of daily minimum and maximum temperatures: taken in, checked, kept in versions.

A change never overwrites: it adds the changed days under the site's next version, so that what was
known at any moment can still be told.
"""

import csv
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Annotated

import msgspec
from msgspec import Meta

from service.forecast.weather import missing_ranges
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.words import EARLIEST_YEAR, Text

SQL = load(__package__, "temperatures.sql")

COLDEST_C, WARMEST_C = -60.0, 60.0
MOST_DAYS = 4000
JUMP_C = 20.0
"""A minimum or maximum further than this from the day before is worth a second look."""
MOST_FAULTS = 50
MOST_WARNINGS = 50
CSV_HEADER = ("day", "min_c", "max_c")

_DAY = timedelta(days=1)
_NUMBER = re.compile(r"[+-]?[0-9]{1,3}(\.[0-9]{1,9})?")
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

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


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One thing wrong with what was sent: where (JSON pointer, or line of the CSV) and what."""

    pointer: str | None = None
    line: int | None = None
    detail: str
    kind: str = "bad_value"


class TemperaturesError(Exception):
    """What was sent cannot be recorded; nothing of it was. `faults` names each place."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = list(faults)


def parse_csv(text: str) -> list[TemperatureDay]:
    """Days from a CSV (RFC 4180) with the header `day,min_c,max_c`; an empty pair withdraws a day.

    Raises TemperaturesError naming each bad line, counted from 1, the header's.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    header = tuple(cell.strip() for cell in lines[0].split(",")) if lines else ()
    if header != CSV_HEADER:
        detail = f"the first line must read {','.join(CSV_HEADER)}, separated by commas"
        raise TemperaturesError([Fault(line=1, detail=detail)])
    days: list[TemperatureDay] = []
    faults: list[Fault] = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        try:
            days.append(_csv_day(line))
        except ValueError as error:
            faults.append(Fault(line=number, detail=str(error)))
        if len(days) > MOST_DAYS:
            detail = f"more than {MOST_DAYS} days at once; send them in parts"
            raise TemperaturesError([Fault(line=number, detail=detail)])
        if len(faults) == MOST_FAULTS:
            break
    if not faults and not days:
        faults.append(Fault(line=2, detail="no days after the header"))
    if faults:
        raise TemperaturesError(faults)
    _refuse_repeated_lines(lines)
    return days


def _csv_day(line: str) -> TemperatureDay:
    """One line; ValueError says what is wrong with it in words."""
    try:
        cells = [cell.strip() for cell in next(csv.reader([line], strict=True))]
    except (csv.Error, StopIteration) as error:
        raise ValueError(f"not a line of CSV: {error}") from error
    if len(cells) != len(CSV_HEADER):
        raise ValueError(f"{len(cells)} cells where {','.join(CSV_HEADER)} are wanted")
    try:
        if not _ISO_DAY.fullmatch(cells[0]):
            raise ValueError
        day = date.fromisoformat(cells[0])
    except ValueError:
        raise ValueError(f"{cells[0][:40]!r} is not a day written like 2026-03-14") from None
    low, high = (_csv_celsius(cell) for cell in cells[1:])
    fault = _fault_of_pair(low, high)
    if fault:
        raise ValueError(fault)
    return TemperatureDay(day=day, min_c=low, max_c=high)


def _csv_celsius(cell: str) -> float | None:
    if not cell:
        return None
    if not _NUMBER.fullmatch(cell):
        raise ValueError(f"{cell[:40]!r} is not a temperature written like 18.4")
    return float(cell)


def _refuse_repeated_lines(lines: Sequence[str]) -> None:
    """A day given twice is named by its line here: later checks know no lines any more."""
    seen: dict[str, int] = {}
    faults = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        day = next(csv.reader([line]))[0].strip()
        if day in seen:
            faults.append(Fault(line=number, detail=f"{day} was given before, on line {seen[day]}"))
        seen.setdefault(day, number)
    if faults:
        raise TemperaturesError(faults[:MOST_FAULTS])


def _fault_of_pair(low: float | None, high: float | None) -> str | None:
    if low is None and high is None:
        return None
    if low is None or high is None:
        return "minimum and maximum must both be given, or both be empty to withdraw the day"
    for value in (low, high):
        if not (math.isfinite(value) and COLDEST_C <= value <= WARMEST_C):
            return f"{value:g} C is outside {COLDEST_C:g} to {WARMEST_C:g} C"
    if low > high:
        return f"the minimum {low:g} C is above the maximum {high:g} C"
    return None


def _fault(index: int, detail: str, kind: str, *, day: bool = True) -> Fault:
    pointer = f"/days/{index}/day" if day else f"/days/{index}"
    return Fault(pointer=pointer, detail=detail, kind=kind)


def check(days: Sequence[TemperatureDay], today: date) -> None:
    """Refuse days that cannot be: twice, impossible temperatures, too far ahead of `today`.

    One day ahead is let through, for clocks near midnight. Raises TemperaturesError with JSON
    pointers into a `TemperaturesPut`.
    """
    seen: dict[date, int] = {}
    faults: list[Fault] = []
    for index, given in enumerate(days):
        detail = _fault_of_pair(given.min_c, given.max_c)
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
        raise TemperaturesError(faults)


async def put_temperatures(
    conn: Connection,
    *,
    site: str,
    source: str,
    days: Sequence[TemperatureDay],
    today: date,
    recorded_by: str,
    recorded_at: datetime,
) -> TemperaturesReport:
    """Record days of a site under its next version, in one transaction; unchanged ones write none.

    `today` is the site's. A `recorded_at` before that of the newest version is lifted to it.
    Raises TemperaturesError; the caller has seen to it that the site exists and may be written.
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
            at = max(recorded_at, newest["recorded_at"]) if newest else recorded_at
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

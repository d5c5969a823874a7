"""Hourly readings of a site's bench loggers: taken in, checked, kept in versions.

A change never overwrites: it adds the changed readings under the site's next version. What is
doubtful of a reading (`readings_between` in the database says what) is judged whenever it is asked
for, so it does not matter in which order readings arrive. Doubtful ones are kept, and all but jumps
are left out of every sum.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Meta

from service.forecast.records.sent import (
    MOST_FAULTS,
    Fault,
    NotRecordedError,
    celsius_of,
    not_before,
    read_csv,
)
from service.log.incoming import FUTURE_TOLERANCE
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.words import EARLIEST_YEAR, LATEST_YEAR

SQL = load(__package__, "readings.sql")

MOST_READINGS = 20_000
MOST_TOLD = 100
"""Gaps and doubts told in one answer, of each."""
CSV_HEADER = ("sensor", "time", "celsius")
_LOOKED_BACK = timedelta(days=31)
_A_MOMENT = timedelta(microseconds=1)

Sensor = Annotated[
    str,
    Meta(
        pattern=r"^[^\x00-\x1f\x7f]*$(?!\n)",
        min_length=1,
        max_length=100,
        description="The logger or probe that measured, as the nursery calls it.",
        examples=["logger 3, House 2"],
    ),
]
Measured = Annotated[
    float,
    Meta(
        ge=-100_000,
        le=100_000,
        description="Degrees Celsius; kept to 0.01. What no air at a bench can be (a logger's sign "
        "of a fault) is kept, reported and never counted.",
        examples=[18.4],
    ),
]


class Reading(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a logger read. A null temperature withdraws the reading of that moment."""

    sensor: Sensor
    time: Annotated[
        datetime,
        Meta(
            tz=True,
            description="With the offset that the site's clocks had then (RFC 3339).",
            examples=["2026-03-14T10:00:00+01:00"],
        ),
    ]
    celsius: Measured | None


class ReadingsPost(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Readings to record or to correct; those not named stay as they are."""

    readings: Annotated[list[Reading], Meta(min_length=1, max_length=MOST_READINGS)]


class ReadingGap(msgspec.Struct, frozen=True, kw_only=True):
    """A sensor was silent for more than an hour and a half between two readings."""

    sensor: str
    after: datetime
    before: datetime
    hours: float


class Doubt(msgspec.Struct, frozen=True, kw_only=True):
    """A doubtful reading.

    `impossible`: no air at a bench is so. `spike`: more than 10 C off the readings before and after
    it, to one side. `stuck`: the same for a day and longer. These are never counted. `jump`: more
    than 15 C off the one before, and it stays there; counted.
    """

    sensor: str
    time: datetime
    celsius: float
    doubt: Literal["impossible", "spike", "stuck", "jump"]


class ReadingsReport(msgspec.Struct, frozen=True, kw_only=True):
    """What a change did, and what is to be looked at in the stretch of time that it lies in."""

    version: Annotated[int, Meta(description="Of the readings; the same when nothing changed.")]
    readings_written: int
    readings_unchanged: int
    first: Annotated[datetime, Meta(description="The earliest reading sent.")]
    last: Annotated[datetime, Meta(description="The latest reading sent.")]
    gaps: list[ReadingGap]
    doubts: list[Doubt]
    more: Annotated[
        int, Meta(ge=0, description=f"Gaps and doubts beyond the first {MOST_TOLD} of each.")
    ]


def parse_csv(text: str) -> list[Reading]:
    """Readings from a CSV with the header `sensor,time,celsius`; no temperature withdraws one.

    Raises NotRecordedError naming each bad line.
    """
    return read_csv(text, CSV_HEADER, _csv_reading, _key, most=MOST_READINGS, many="readings")


def _key(said: Reading) -> tuple[tuple[str, float], str]:
    # By its instant: times of one zone compare as their clocks show, though an hour comes twice.
    return (said.sensor, said.time.timestamp()), f"{said.sensor} at {said.time.isoformat()}"


def _csv_reading(cells: list[str]) -> Reading:
    celsius = celsius_of(cells[2])
    told = {"sensor": cells[0], "time": cells[1].replace(" ", "T", 1), "celsius": celsius}
    try:
        return msgspec.convert(told, Reading)
    except msgspec.ValidationError as error:
        if "$.time" in str(error):
            detail = f"{cells[1][:40]!r} is not a time written like 2026-03-14T10:00:00+01:00"
        elif "$.sensor" in str(error):
            detail = f"{cells[0][:40]!r} is no name of a sensor, 1 to 100 characters"
        else:
            detail = f"{cells[2]} is beyond what any logger tells"
        raise ValueError(detail) from None


def check(readings: Sequence[Reading], zone: ZoneInfo, now: datetime) -> None:
    """Refuse readings told twice, of another zone, or still to come at the moment `now`.

    Raises NotRecordedError with JSON pointers into a `ReadingsPost`.
    """
    seen: dict[tuple[str, float], int] = {}
    faults: list[Fault] = []
    latest = now + FUTURE_TOLERANCE
    for index, given in enumerate(readings):
        key, called = _key(given)
        wrong = _wrong_time(given.time, zone, latest)
        if key in seen:
            wrong = "not_together", f"{called} was given before, at /readings/{seen[key]}"
        seen.setdefault(key, index)
        if wrong is None:
            continue
        kind, detail = wrong
        faults.append(Fault(pointer=f"/readings/{index}/time", detail=detail, kind=kind))
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise NotRecordedError(faults)


def _wrong_time(told: datetime, zone: ZoneInfo, latest: datetime) -> tuple[str, str] | None:
    """The kind of what is wrong with a time, and words for it."""
    if not EARLIEST_YEAR < told.year < LATEST_YEAR:
        return "not_a_day", f"{told.isoformat()} is outside the years that are told of"
    if told > latest:
        return "in_the_future", f"{told.isoformat()} is still to come"
    there = told.astimezone(zone)
    if told.utcoffset() != there.utcoffset():
        return "other_zone", (
            f"{told.isoformat()} is of another zone: by the clocks of the site ({zone.key}) it was "
            f"{there.isoformat()}"
        )
    return None


async def record_readings(
    conn: Connection,
    *,
    site: str,
    zone: ZoneInfo,
    readings: Sequence[Reading],
    recorded_by: str,
    recorded_at: datetime,
    told: bool = False,
) -> ReadingsReport:
    """Record readings of a site under its next version, in one transaction.

    Those that say nothing new write nothing. `recorded_at` as in `temperatures.put_temperatures`.
    Raises NotRecordedError; the caller has seen to it that the site exists and may be written.
    """
    check(readings, zone, recorded_at)
    columns = (
        [given.sensor for given in readings],
        [given.time.astimezone(UTC) for given in readings],
        [None if given.celsius is None else round(given.celsius, 2) for given in readings],
    )
    async with conn.transaction():
        # Alone and first, so that what follows sees what the one before us committed.
        await conn.execute(SQL.lock_site, site)
        newest = await conn.fetchrow(SQL.newest_version, site)
        version = newest["version"] if newest else 0
        changed = [row["place"] - 1 for row in await conn.fetch(SQL.changed, site, *columns)]
        if changed:
            version += 1
            at = not_before(newest, recorded_at, told=told)
            await conn.execute(SQL.add_version, site, version, at, recorded_by, len(changed))
            picked = ([column[place] for place in changed] for column in columns)
            await conn.execute(SQL.add_readings, site, version, *picked)
        stretch = _Stretch(site, version, min(columns[1]), max(columns[1]), sorted({*columns[0]}))
        gaps, doubts = await _gaps(conn, stretch, zone), await _doubts(conn, stretch, zone)
    return ReadingsReport(
        version=version,
        readings_written=len(changed),
        readings_unchanged=len(readings) - len(changed),
        first=stretch.first.astimezone(zone),
        last=stretch.last.astimezone(zone),
        gaps=gaps[:MOST_TOLD],
        doubts=doubts[:MOST_TOLD],
        more=len(gaps[MOST_TOLD:]) + len(doubts[MOST_TOLD:]),
    )


class _Stretch(msgspec.Struct, frozen=True):
    """Readings of some sensors from the first to the last moment, both included."""

    site: str
    version: int
    first: datetime
    last: datetime
    sensors: list[str]


async def _gaps(conn: Connection, of: _Stretch, zone: ZoneInfo) -> list[ReadingGap]:
    """Gaps that end in the stretch; one that began up to a month before it is seen too."""
    moments = (of.first - _LOOKED_BACK, of.last + _A_MOMENT)
    rows = await conn.fetch(SQL.gaps, of.site, of.version, *moments, of.sensors)
    return [
        ReadingGap(
            sensor=row["sensor"],
            after=row["before"].astimezone(zone),
            before=row["after"].astimezone(zone),
            hours=round((row["after"] - row["before"]).total_seconds() / 3600, 2),
        )
        for row in rows
        if row["after"] >= of.first
    ]


async def _doubts(conn: Connection, of: _Stretch, zone: ZoneInfo) -> list[Doubt]:
    moments = (of.first, of.last + _A_MOMENT)
    return _doubts_of(await conn.fetch(SQL.doubts, of.site, of.version, *moments, of.sensors), zone)


async def doubts_between(
    conn: Connection, site: str, zone: ZoneInfo, version: int, *, first: date, last: date
) -> list[Doubt]:
    """Doubtful readings of all sensors from the day `first` to `last`, by sensor and time."""
    moments = (midnight(first, zone), midnight(last + timedelta(days=1), zone))
    return _doubts_of(await conn.fetch(SQL.doubts, site, version, *moments, None), zone)


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The moment at which a day begins at a site."""
    return datetime(day.year, day.month, day.day, tzinfo=zone)


def _doubts_of(rows: Sequence[Any], zone: ZoneInfo) -> list[Doubt]:
    return [
        Doubt(
            sensor=row["sensor"],
            time=row["taken_at"].astimezone(zone),
            celsius=row["celsius"],
            doubt=row["doubt"],
        )
        for row in rows
    ]

"""The whole log as lines of JSON, written in one moment of the database.

The first line says what it is, the last what was in it and the SHA-256 of all lines before, so that
a file that was cut or changed is noticed. Between them the events in order of position, whole as
they are stored; then each version of the sites' temperatures, of what their loggers read and of
the forecasts given for them; then what waits to be put right.
Accounts, lots and views are not in it: they follow from the events. Keys, idempotency keys and the
contacts table (names and addresses) are not in it either.
"""

import hashlib
from collections.abc import AsyncIterator, Callable
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.words import Code, EventId, Occurred, Ref

SQL = load(__package__, "archive.sql")
FORMAT = 1
PORTION = 2000
VERSIONS = 20
"""Versions of the weather read at once: one may hold thousands of readings."""
# msgspec knows no raw JSON that may be left out.
NOTHING = msgspec.Raw(b"")
_encode = msgspec.json.Encoder().encode


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    pass


class LogHead(_Part, frozen=True):
    """The first line: the format of the file and the newest position in it."""

    format: int
    position: Annotated[int, Meta(ge=0)]


class EventLine(_Part, frozen=True):
    """An event as it is stored. `digest`: SHA-256 of it as sent; `unit`: shared by those that were
    judged together."""

    position: Annotated[int, Meta(ge=1)]
    id: EventId
    type: str
    version: Annotated[int, Meta(ge=1, le=1000)]
    site: Code
    sites: list[Code]
    occurred: Occurred
    occurred_at: datetime
    occurred_day: date
    recorded_at: datetime
    recorded_by: Ref
    actor: Ref | None
    happened: bool
    replaces: EventId | None
    unit: EventId
    digest: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    remarks: msgspec.Raw
    data: msgspec.Raw


class TemperatureLine(_Part, frozen=True):
    """One version of a site's temperatures: its row, and those of the days that it wrote."""

    version: msgspec.Raw
    days: msgspec.Raw


class ReadingLine(_Part, frozen=True):
    """One version of a site's logger readings: its row, and those that it wrote."""

    version: msgspec.Raw
    readings: msgspec.Raw


class End(_Part, frozen=True):
    """The last line. `next_code`: the number of the next code that the service mints."""

    events: int
    temperature_versions: int
    to_put_right: int
    put_right_earlier: int
    next_code: Annotated[int, Meta(ge=0)]
    sha256: str
    # not told by files that were written before there were any
    reading_versions: int = 0
    forecast_versions: int = 0


class Line(_Part, frozen=True, omit_defaults=True):
    """A line of the file: one of these."""

    log: LogHead | None = None
    event: EventLine | None = None
    temperatures: TemperatureLine | None = None
    readings: ReadingLine | None = None
    forecast: msgspec.Raw = NOTHING
    to_put_right: msgspec.Raw = NOTHING
    put_right_earlier: msgspec.Raw = NOTHING
    end: End | None = None


class PositionInsideUnitError(Exception):
    """The log can't be cut here: events were judged together that lie on both sides."""


def is_archive(path: Path) -> bool:
    """Whether a file begins as an exported log does."""
    with path.open("rb") as file:
        return file.read(7) == b'{"log":'


async def archive(connection: Connection, until: int | None = None) -> AsyncIterator[bytes]:
    """The file's lines, some at a time; with `until` only what was in the log at that position.

    Run it in a transaction that sees one moment. Then what waits to be put right stays out too.
    Raises PositionInsideUnitError.
    """
    head = await connection.fetchrow(SQL.head)
    assert head is not None
    last = head["position"] if until is None else min(until, head["position"])
    if last < head["position"]:
        await _between_units(connection, last)
    seen = hashlib.sha256()
    counts = dict.fromkeys(("events", *COUNTED), 0)
    async for name, portion in _portions(connection, last, whole=until is None):
        if name is not None:
            counts[name] += len(portion)
        lines = b"".join(_encode(line) + b"\n" for line in portion)
        seen.update(lines)
        yield lines
    end = End(**counts, next_code=head["next_code"], sha256=seen.hexdigest())
    yield _encode(Line(end=end)) + b"\n"


async def _between_units(connection: Connection, last: int) -> None:
    unit = await connection.fetchval(SQL.unit_goes_on, last)
    if unit is not None:
        row = await connection.fetchrow(SQL.unit_positions, unit)
        assert row is not None
        raise PositionInsideUnitError(
            f"position {last} lies inside events that were judged together "
            f"({row['first']} to {row['last']}); say {row['first'] - 1} or {row['last']}"
        )


async def _portions(
    connection: Connection, last: int, *, whole: bool
) -> AsyncIterator[tuple[str | None, list[Line]]]:
    yield None, [Line(log=LogHead(FORMAT, last))]
    after = 0
    while after < last:
        rows = await connection.fetch(SQL.events, after, last, PORTION)
        yield "events", [Line(event=_event_line(row)) for row in rows]
        after = rows[-1]["position"]
    moment = None if whole else await connection.fetchval(SQL.recorded_at, last)
    for what, (statement, line) in _WEATHER.items():
        key: tuple[Any, ...] = ("", 0)
        while rows := await connection.fetch(statement, *key, moment, whole, VERSIONS):
            yield what, [line(row) for row in rows]
            key = (rows[-1]["site"], rows[-1]["version"])
    number = 0
    while whole and (rows := await connection.fetch(SQL.to_put_right, number, PORTION)):
        yield "to_put_right", [Line(to_put_right=_raw(row["body"])) for row in rows]
        number = rows[-1]["id"]
    key = (0, 0)
    while whole and (rows := await connection.fetch(SQL.put_right_earlier, *key, PORTION)):
        yield "put_right_earlier", [Line(put_right_earlier=_raw(row["body"])) for row in rows]
        key = (rows[-1]["item"], rows[-1]["attempt"])


def _raw(text: str) -> msgspec.Raw:
    return msgspec.Raw(text.encode())


# What is known of the sites' weather, by what is counted of it: each version is a line.
_WEATHER: dict[str, tuple[str, Callable[[Any], Line]]] = {
    "temperature_versions": (
        SQL.temperatures,
        lambda r: Line(temperatures=TemperatureLine(_raw(r["body"]), _raw(r["days"]))),
    ),
    "reading_versions": (
        SQL.readings,
        lambda r: Line(readings=ReadingLine(_raw(r["body"]), _raw(r["told"]))),
    ),
    "forecast_versions": (SQL.forecasts, lambda r: Line(forecast=_raw(r["body"]))),
}
COUNTED = (*_WEATHER, "to_put_right", "put_right_earlier")
"""What the last line counts beside events."""


def _event_line(row: Any) -> EventLine:
    fields = dict(row)
    return EventLine(
        **(fields | {"remarks": _raw(fields["remarks"]), "data": _raw(fields["data"])})
    )

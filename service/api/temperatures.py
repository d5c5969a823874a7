"""A site's record of daily temperatures: sent as JSON or CSV, read back as known at a version."""

from datetime import date
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.operation import CSV, JSON, Call, Reply, operation
from service.api.problems import Mistake, Problem
from service.api.site_records import (
    RecordedAt,
    from_csv,
    from_json,
    is_csv,
    moment_of,
    recorded,
    site_of,
    today_of,
)
from service.forecast.records import temperatures as record
from service.log.rights import EVENTS, READ
from service.storage.pool import Connection
from service.trade.words import Text


class PutParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where the figures are from, and since when they are known."""

    source: (
        Annotated[
            Text, Meta(description="With CSV: the sensor or service that measured. Needed then.")
        ]
        | None
    ) = None
    recorded_at: RecordedAt = None


class GetParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which days are wanted."""

    version: Annotated[
        int | None, Meta(description="As known at this version of the record. Left out: now.")
    ] = None
    first: Annotated[date, Meta(description="From this day on.")] | None = None
    last: Annotated[date, Meta(description="Up to this day.")] | None = None


class TemperatureRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A site's daily temperatures, with the days it lacks."""

    site: str
    version: int
    days: list[record.TemperatureDay]
    gaps: list[record.RecordGap]


@operation(
    "PUT",
    "/v1/sites/{code:str}/temperatures",
    tag="Forecast",
    scope=EVENTS,
    query=PutParameters,
    accepts=(JSON, CSV),
    body=record.TemperaturesPut,
    answer=record.TemperaturesReport,
    problems=("malformed-request", "not-found"),
)
async def put_temperatures(call: Call[PutParameters]) -> Reply:
    """Record or correct days of a site's temperatures, in degrees Celsius.

    JSON, or CSV with the header `day,min_c,max_c`. Days not named stay as they are. Nothing is
    overwritten: changed days come under the record's next version. Gaps and odd jumps are
    reported.
    """
    site, at = await site_of(call), moment_of(call, call.query.recorded_at)
    body = await call.body(call.services.settings.batch_body_limit)
    source, days = _told(call, body)

    async def record_it(connection: Connection) -> record.TemperaturesReport:
        return await record.put_temperatures(
            connection,
            site=site.code,
            source=source,
            days=days,
            today=today_of(site, at),
            recorded_by=call.principal.name,
            recorded_at=at,
            told=call.query.recorded_at is not None,
        )

    return await recorded(call, record_it, sheet=body if is_csv(call) else None)


def _told(call: Call[PutParameters], body: bytes) -> tuple[str, list[record.TemperatureDay]]:
    source = call.query.source
    if not is_csv(call):
        put = from_json(body, record.TemperaturesPut)
        return source or put.source, put.days
    if source is None:
        detail = "Say in the query which sensor or service measured."
        mistake = Mistake(kind="missing", detail=detail, parameter="source")
        raise Problem("validation-error", "The source is missing.", errors=[mistake])
    return source, from_csv(body, record.parse_csv)


@operation(
    "GET",
    "/v1/sites/{code:str}/temperatures",
    tag="Forecast",
    scope=READ,
    query=GetParameters,
    answer=TemperatureRecord,
)
async def get_temperatures(call: Call[GetParameters]) -> Reply:
    """A site's daily temperatures as known now or at an earlier version."""
    site, asked = await site_of(call), call.query
    async with call.services.reading() as connection:
        version = await connection.fetchval(record.SQL.version_known_at, site.code, None)
        if asked.version is not None:
            version = max(0, min(version, asked.version))
        rows = await connection.fetch(record.SQL.history, site.code, version)
    known = {row["day"]: (row["min_c"], row["max_c"]) for row in rows}
    days = [
        record.TemperatureDay(day=day, min_c=low, max_c=high)
        for day, (low, high) in known.items()
        if (asked.first is None or day >= asked.first) and (asked.last is None or day <= asked.last)
    ]
    answer = TemperatureRecord(
        site=site.code, version=version, days=days, gaps=record.gaps_of(known)
    )
    tag = f"{version}-{asked.first or ''}-{asked.last or ''}"
    return Reply(answer, etag=etag(tag, weak=True))


HANDLERS = [put_temperatures, get_temperatures]

"""A site's record of daily temperatures: sent as JSON or CSV, read back as known at a version."""

from datetime import date
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.api import shapes
from service.api.conditional import etag
from service.api.events import unreadable
from service.api.headers import media_type
from service.api.operation import CSV, JSON, Call, Reply, operation
from service.api.problems import Mistake, Problem, mistake_of, not_found
from service.api.services import UNREACHABLE, unreachable
from service.forecast import temperatures as record
from service.log import read
from service.log.rights import EVENTS, READ
from service.trade.events.catalogue import Site
from service.trade.words import Text
from service.views.site_days import zone


class PutParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where the figures are from."""

    source: (
        Annotated[
            Text, Meta(description="With CSV: the sensor or service that measured. Needed then.")
        ]
        | None
    ) = None


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


async def _site(call: Call[Any], code: str) -> Site:
    async with call.services.reading() as connection:
        found = await read.catalogue_entry(connection, call.principal.site_list, "site", code)
    if found is None or not isinstance(found.entry, Site):
        raise not_found(f"The site {code}")
    return found.entry


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
    site = await _site(call, call.code())
    body = await call.body(call.services.settings.batch_body_limit)
    try:
        source, days = _days(call, body)
        services = call.services
        now = services.clock()
        async with services.database.writer.acquire(timeout=10) as connection:
            report = await record.put_temperatures(
                connection,
                site=site.code,
                source=source,
                days=days,
                today=now.astimezone(zone(site.time_zone)).date(),
                recorded_by=call.principal.name,
                recorded_at=now,
            )
    except record.TemperaturesError as error:
        raise Problem(
            "validation-error",
            "Nothing was recorded: see errors.",
            errors=[_mistake(fault) for fault in error.faults],
        ) from error
    except UNREACHABLE as error:
        raise unreachable() from error
    return Reply(report, cache="no-store")


def _mistake(fault: record.Fault) -> Mistake:
    return Mistake(
        kind=fault.kind,
        detail=fault.detail,
        pointer=f"#{fault.pointer}" if fault.pointer is not None else None,
        numbers={"line": fault.line} if fault.line is not None else {},
    )


def _days(call: Call[PutParameters], body: bytes) -> tuple[str, list[record.TemperatureDay]]:
    if media_type(call.header("content-type")) == CSV:
        if call.query.source is None:
            detail = "Say in the query which sensor or service measured."
            mistake = Mistake(kind="missing", detail=detail, parameter="source")
            raise Problem("validation-error", "The source is missing.", errors=[mistake])
        try:
            return call.query.source, record.parse_csv(body.decode("utf-8"))
        except UnicodeDecodeError as error:
            raise unreadable(error, body) from error
    try:
        put = msgspec.json.decode(body, type=record.TemperaturesPut)
    except msgspec.ValidationError as error:
        mistake = mistake_of(shapes.fault_of(str(error), record.TemperaturesPut, body))
        raise Problem(
            "validation-error", "Nothing was recorded: see errors.", errors=[mistake]
        ) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise unreadable(error, body) from error
    return call.query.source or put.source, put.days


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
    site, asked = await _site(call, call.code()), call.query
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

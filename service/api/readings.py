"""Hourly readings of a site's bench loggers: sent as JSON or CSV, told back by day."""

from datetime import date, timedelta
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.operation import CSV, JSON, Call, Reply, operation
from service.api.site_records import (
    RecordedAt,
    from_csv,
    from_json,
    is_csv,
    moment_of,
    recorded,
    refused,
    site_of,
    today_of,
)
from service.forecast.records import temperatures
from service.forecast.records.reading_days import ReadingDay, reading_days, version_known_at
from service.forecast.records.readings import (
    Doubt,
    ReadingsPost,
    ReadingsReport,
    doubts_between,
    parse_csv,
    record_readings,
)
from service.forecast.records.sent import Fault
from service.log.rights import EVENTS, READ
from service.storage.pool import Connection
from service.trade.words import EARLIEST_YEAR, LATEST_YEAR
from service.views.site_days import zone

DAYS_UNASKED = 31
MOST_DAYS = 400


class ReadingsParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Since when the readings are known."""

    recorded_at: RecordedAt = None


class ReadingsQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which days are wanted."""

    version: Annotated[
        int | None, Meta(description="As known at this version of the readings. Left out: now.")
    ] = None
    first: (
        Annotated[date, Meta(description="From this day on. Left out: a month up to the last.")]
        | None
    ) = None
    last: Annotated[date, Meta(description="Up to this day. Left out: today.")] | None = None


class ReadingsRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A site's logger readings by day, and what is doubtful among them (the first 1,000)."""

    site: str
    version: int
    first: date
    last: date
    days: list[ReadingDay]
    doubts: list[Doubt]


@operation(
    "POST",
    "/v1/sites/{code:str}/readings",
    tag="Forecast",
    scope=EVENTS,
    query=ReadingsParameters,
    accepts=(JSON, CSV),
    body=ReadingsPost,
    answer=ReadingsReport,
    problems=("malformed-request", "not-found"),
)
async def post_readings(call: Call[ReadingsParameters]) -> Reply:
    """Record or correct what loggers at a site's benches read, in degrees Celsius.

    JSON, or CSV with the header `sensor,time,celsius`; hourly or oftener. Times carry the offset
    that the site's clocks had then. Nothing is overwritten: changed readings come under the next
    version, and the same again changes nothing. Gaps and doubtful readings are reported.
    """
    site, at = await site_of(call), moment_of(call, call.query.recorded_at)
    body = await call.body(call.services.settings.batch_body_limit)
    sheet = body if is_csv(call) else None
    if sheet is None:
        readings = from_json(body, ReadingsPost).readings
    else:
        readings = from_csv(body, parse_csv)

    async def record_it(connection: Connection) -> ReadingsReport:
        return await record_readings(
            connection,
            site=site.code,
            zone=zone(site.time_zone),
            readings=readings,
            recorded_by=call.principal.name,
            recorded_at=at,
            told=call.query.recorded_at is not None,
        )

    return await recorded(call, record_it, sheet=sheet)


@operation(
    "GET",
    "/v1/sites/{code:str}/readings",
    tag="Forecast",
    scope=READ,
    query=ReadingsQuery,
    answer=ReadingsRecord,
)
async def get_readings(call: Call[ReadingsQuery]) -> Reply:
    """How much of each day a site's loggers read, and what counts for it; at most 400 days.

    As known now or at an earlier version. Days without any reading are left out.
    """
    site, asked = await site_of(call), call.query
    last = asked.last or today_of(site, call.services.clock())
    first = asked.first or _before(last, DAYS_UNASKED - 1)
    for name, day in (("first", first), ("last", last)):
        if not EARLIEST_YEAR < day.year < LATEST_YEAR:
            detail = f"{day} lies outside the years that are told of."
            raise refused([Fault(detail=detail, kind="not_a_day", parameter=name)])
    if not timedelta(0) <= last - first < timedelta(days=MOST_DAYS):
        detail = f"From {first} to {last} are not 1 to {MOST_DAYS} days."
        raise refused([Fault(detail=detail, kind="not_together", parameter="first")])
    there = zone(site.time_zone)
    async with call.services.reading() as connection:
        version = await version_known_at(connection, site.code)
        if asked.version is not None:
            version = max(0, min(version, asked.version))
        days = await reading_days(
            connection,
            site.code,
            there,
            version,
            first=first,
            last=last,
            recorded=set(await temperatures.load_history(connection, site.code)),
        )
        doubts = await doubts_between(connection, site.code, there, version, first=first, last=last)
    answer = ReadingsRecord(
        site=site.code, version=version, first=first, last=last, days=days, doubts=doubts[:1000]
    )
    return Reply(answer)


def _before(day: date, days: int) -> date:
    return max(day, date.min + timedelta(days=days)) - timedelta(days=days)


HANDLERS = [post_readings, get_readings]

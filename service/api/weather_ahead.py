"""A weather forecast given for a site's next days: sent whole, read back, kept in versions."""

from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.operation import JSON, Call, Reply, operation
from service.api.site_records import RecordedAt, from_json, moment_of, recorded, site_of, today_of
from service.forecast.records.ahead import (
    AheadPut,
    AheadReport,
    GivenAhead,
    days_of,
    in_force,
    put_ahead,
)
from service.log.rights import EVENTS, READ
from service.storage.pool import Connection


class AheadParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Since when the forecast is known."""

    recorded_at: RecordedAt = None


class AheadQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which forecast is wanted."""

    version: (
        Annotated[
            int,
            Meta(ge=1, le=1_000_000_000, description="As known at this version. Left out: now."),
        ]
        | None
    ) = None


@operation(
    "PUT",
    "/v1/sites/{code:str}/temperatures/ahead",
    tag="Forecast",
    scope=EVENTS,
    query=AheadParameters,
    accepts=(JSON,),
    body=AheadPut,
    answer=AheadReport,
    problems=("malformed-request", "not-found"),
)
async def put_temperatures_ahead(call: Call[AheadParameters]) -> Reply:
    """Give a weather forecast for a site's next days, today and at most fifteen after it.

    It takes the place of the one before, whole; without days it withdraws that. The days it covers
    are reckoned with as given instead of by the site's past years. Earlier ones are kept.
    """
    site, at = await site_of(call), moment_of(call, call.query.recorded_at)
    given = from_json(await call.body(), AheadPut)

    async def record_it(connection: Connection) -> AheadReport:
        return await put_ahead(
            connection,
            site=site.code,
            given=given,
            today=today_of(site, at),
            recorded_by=call.principal.name,
            recorded_at=at,
            told=call.query.recorded_at is not None,
        )

    return await recorded(call, record_it)


@operation(
    "GET",
    "/v1/sites/{code:str}/temperatures/ahead",
    tag="Forecast",
    scope=READ,
    query=AheadQuery,
    answer=GivenAhead,
)
async def get_temperatures_ahead(call: Call[AheadQuery]) -> Reply:
    """The weather forecast that was given last for a site's next days, or an earlier version."""
    site = await site_of(call)
    async with call.services.reading() as connection:
        row = await in_force(connection, site.code, version=call.query.version)
    answer = GivenAhead(
        site=site.code,
        version=row["version"] if row else 0,
        source=row and row["source"],
        issued_at=row and row["issued_at"],
        recorded_at=row and row["recorded_at"],
        days=days_of(row),
    )
    return Reply(answer, etag=etag(f"ahead-{answer.version}", weak=True))


HANDLERS = [put_temperatures_ahead, get_temperatures_ahead]

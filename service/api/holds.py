"""Holds: stops on lots, sources, places and sites."""

from typing import Annotated

from msgspec import Meta

from service.api.cursors import after_code
from service.api.operation import Call, Page, Paged, Reply, operation, page
from service.log import read
from service.log.rights import READ
from service.log.stored import HoldNow
from service.trade.events.stock import HoldKind


class HoldsQuery(Paged, frozen=True, kw_only=True):
    """Which holds are wanted."""

    in_force: Annotated[bool, Meta(description="false: those that were lifted as well.")] = True
    kind: HoldKind | None = None


@operation("GET", "/v1/holds", tag="Holds", scope=READ, query=HoldsQuery, answer=Page[HoldNow])
async def list_holds(call: Call[HoldsQuery]) -> Reply:
    """List holds by code. The service never lifts a plant-health hold by itself."""
    query = call.query
    after = after_code(query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await read.holds(
            connection,
            call.principal.site_list,
            after=after,
            limit=query.limit + 1,
            in_force=query.in_force,
            kind=query.kind,
        )
    return page(call, found, lambda one: one.code, position)


HANDLERS = [list_holds]

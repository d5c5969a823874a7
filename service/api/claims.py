"""Reservations and holds."""

from typing import Annotated, Literal

from msgspec import Meta

from service.api.conditional import etag
from service.api.cursors import after_code
from service.api.operation import Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import not_found
from service.log import read
from service.log.rights import READ
from service.log.stored import HoldNow, ReservationNow
from service.trade.events.stock import HoldKind
from service.trade.words import Ref


class ReservationsQuery(Paged, frozen=True, kw_only=True):
    """Which reservations are wanted."""

    state: Annotated[
        Literal["open", "fulfilled", "released"] | None, Meta(description="Left out: any.")
    ] = None
    customer: Annotated[Ref, Meta(description="Only this customer's.")] | None = None


class HoldsQuery(Paged, frozen=True, kw_only=True):
    """Which holds are wanted."""

    in_force: Annotated[bool, Meta(description="false: those that were lifted as well.")] = True
    kind: HoldKind | None = None


@operation(
    "GET",
    "/v1/reservations",
    tag="Reservations",
    scope=READ,
    query=ReservationsQuery,
    answer=Page[ReservationNow],
)
async def list_reservations(call: Call[ReservationsQuery]) -> Reply:
    """List reservations by code."""
    query = call.query
    after = after_code(query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await read.reservations(
            connection,
            call.principal.site_list,
            after=after,
            limit=query.limit + 1,
            state=query.state,
            customer=query.customer,
        )
    return page(call, found, lambda one: one.code, position)


@operation(
    "GET", "/v1/reservations/{code:str}", tag="Reservations", scope=READ, answer=ReservationNow
)
async def get_reservation(call: Call[NoQuery]) -> Reply:
    """One reservation as it stands. Its ETag is the position of its last change."""
    code = call.code()
    async with call.services.reading() as connection:
        found = await read.reservation(connection, call.principal.site_list, code)
    if found is None:
        raise not_found(f"The reservation {code}")
    return Reply(found, etag=etag(found.changed_position))


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


HANDLERS = [
    list_reservations,
    get_reservation,
    list_holds,
]

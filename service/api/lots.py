"""Budwood, liner and tree lots: what they are, what stands of them, and all that happened."""

from typing import Annotated, Any, NamedTuple

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.clocks import (
    AsOf,
    ClockedPage,
    KnownAt,
    SaidAsOf,
    SaidDays,
    asked_of,
    clocked_list,
)
from service.api.conditional import etag, is_unchanged
from service.api.operation import Call, Paged, Reply, operation
from service.api.problems import bad_parameter, not_found
from service.api.services import UNREACHABLE, unreachable
from service.api.views import question
from service.log.read import LotNow
from service.log.rights import READ
from service.log.stored import (
    BagOnHand,
    Gone,
    LotSummary,
    StandingNow,
    StoredEvent,
    Travelling,
)
from service.trade.words import Code
from service.views import lots_then
from service.views.clocks import Asked, ClockError, Clocks, asking


class LotsParameters(Paged, frozen=True, kw_only=True):
    """Which lots are wanted."""

    cultivar: Code | None = None
    rootstock: Code | None = None
    site: (
        Annotated[Code, Meta(description="Lots that stood there once; counts are the site's.")]
        | None
    ) = None
    on_hand: Annotated[bool, Meta(description="true: only lots of which something stands.")] = False
    as_of: AsOf = None
    known_at: KnownAt = None


class LotParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The moment of which a lot is told."""

    as_of: AsOf = None
    known_at: KnownAt = None


class Lot(msgspec.Struct, frozen=True, kw_only=True):
    """A lot with its bags or places and its history, at the sites that the key sees."""

    lot: LotSummary
    bags: Annotated[list[BagOnHand], Meta(description="Of a budwood lot.")]
    places: Annotated[list[StandingNow], Meta(description="Where liners or trees stand.")]
    travelling: list[Travelling]
    gone: list[Gone]
    history: Annotated[
        list[StoredEvent], Meta(description="All events about it, in order of occurrence.")
    ]
    as_of: SaidAsOf
    known_at: Annotated[
        int | None,
        Meta(description="The log's position known then; null: all that is known now."),
    ]
    days: SaidDays


class Part(NamedTuple):
    """A kind of lot and its path."""

    path: str
    kind: str
    one: str


PARTS = (
    Part("budwood-lots", "budwood", "budwood lot"),
    Part("liner-lots", "liner", "liner lot"),
    Part("tree-lots", "tree", "tree lot"),
)


def _operations(part: Part) -> list[HTTPRouteHandler]:
    @operation(
        "GET",
        f"/v1/{part.path}",
        tag="Lots",
        scope=READ,
        query=LotsParameters,
        answer=ClockedPage[LotSummary],
        name=f"list_{part.kind}_lots",
        doc=f"List the {part.one}s by code, with how much of each is on hand, now or as it was.",
    )
    async def list_lots(call: Call[LotsParameters]) -> Reply:
        asked, services = call.query, call.services

        async def ask(clocks: Asked, after: list[Any] | None) -> lots_then.LotsPage:
            query = question(lots_then.LotsQuery, asked, kind=part.kind, asked=clocks, after=after)
            return await lots_then.lots(
                services.database.reader, query, call.principal.site_list, clock=services.clock
            )

        return await clocked_list(call, None, ask)

    @operation(
        "GET",
        f"/v1/{part.path}/{{code:str}}",
        tag="Lots",
        scope=READ,
        query=LotParameters,
        answer=Lot,
        name=f"get_{part.kind}_lot",
        doc=f"One {part.one} with what stands of it and its history in order of occurrence, now "
        "or as it was. The header Graftlog-Position says what the log has come to.",
    )
    async def get_lot(call: Call[LotParameters]) -> Reply:
        return await _get(call, part)

    return [list_lots, get_lot]


async def _get(call: Call[LotParameters], part: Part) -> Reply:
    code, sites, services = call.code(), call.principal.site_list, call.services
    asked = asked_of(call.query)
    try:
        async with asking(services.database.reader, sites, asked, services.clock) as (conn, clocks):
            headers = {"Graftlog-Position": str(clocks.position)}
            found = await lots_then.lot(conn, clocks, sites, part.kind, code)
            if found is None:
                raise not_found(f"The {part.one} {code}")
            tag = etag(found.row["changed_position"])
            # The history can be long: it is not fetched for who has it already.
            if is_unchanged(call.header("if-none-match"), tag):
                return Reply(b"", etag=tag, headers=headers)
            history = await lots_then.history(conn, clocks, sites, code)
    except ClockError as error:
        raise bad_parameter(error.clock, str(error), error.kind) from error
    except UNREACHABLE as error:
        raise unreachable() from error
    return Reply(lot_answer(found, history, clocks, sites), etag=tag, headers=headers)


def lot_answer(
    found: LotNow, history: list[StoredEvent], clocks: Clocks, sites: list[str] | None
) -> Lot:
    """The answer about one lot."""
    live = sum(one.count for one in found.standing if one.stage != "failed")
    summary = LotSummary(
        **found.row,
        on_hand=live + sum(bag.left for bag in found.bags),
        failed=sum(one.count for one in found.standing if one.stage == "failed"),
        in_transit=sum(one.count for one in found.travelling),
    )
    said = clocks.said(sites)
    return Lot(
        lot=summary,
        bags=found.bags,
        places=found.standing,
        travelling=found.travelling,
        gone=found.gone,
        history=history,
        as_of=said["as_of"],
        # Not the head: the answer and its ETag stay the same while the lot does.
        known_at=clocks.known,
        days=said["days"],
    )


HANDLERS = [handler for part in PARTS for handler in _operations(part)]

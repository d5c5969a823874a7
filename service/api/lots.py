"""Budwood, liner and tree lots: what they are, what stands of them, and all that happened."""

from typing import Annotated, NamedTuple

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.conditional import etag, is_unchanged
from service.api.operation import (
    Call,
    NoQuery,
    Page,
    Paged,
    Reply,
    after_code,
    operation,
    page,
)
from service.api.problems import not_found
from service.log import read
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


class LotsQuery(Paged, frozen=True, kw_only=True):
    """Which lots are wanted."""

    cultivar: Code | None = None
    rootstock: Code | None = None
    site: (
        Annotated[Code, Meta(description="Lots that stood there once; counts are the site's.")]
        | None
    ) = None
    on_hand: Annotated[bool, Meta(description="true: only lots of which something stands.")] = False


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
        query=LotsQuery,
        answer=Page[LotSummary],
        name=f"list_{part.kind}_lots",
        doc=f"List the {part.one}s by code, with how much of each is on hand.",
    )
    async def list_lots(call: Call[LotsQuery]) -> Reply:
        query = call.query
        after = after_code(query.cursor)
        async with call.services.reading() as connection:
            position = await read.head(connection)
            found = await read.lots(
                connection,
                call.principal.site_list,
                part.kind,
                after=after,
                limit=query.limit + 1,
                cultivar=query.cultivar,
                rootstock=query.rootstock,
                site=query.site,
                on_hand=query.on_hand,
            )
        return page(call, found, lambda lot: lot.code, position)

    @operation(
        "GET",
        f"/v1/{part.path}/{{code:str}}",
        tag="Lots",
        scope=READ,
        answer=Lot,
        name=f"get_{part.kind}_lot",
        doc=f"One {part.one} with what stands of it and its history in order of occurrence.",
    )
    async def get_lot(call: Call[NoQuery]) -> Reply:
        return await _get(call, part)

    return [list_lots, get_lot]


async def _get(call: Call[NoQuery], part: Part) -> Reply:
    code, sites = call.code(), call.principal.site_list
    async with call.services.reading() as connection:
        found = await read.lot(connection, sites, part.kind, code)
        if found is None:
            raise not_found(f"The {part.one} {code}")
        tag = etag(found.row["changed_position"])
        # The history can be long: it is not fetched for who has it already.
        if is_unchanged(call.header("if-none-match"), tag):
            return Reply(b"", etag=tag)
        history = await read.history(connection, sites, "lot", code)
    return Reply(lot_answer(found, history), etag=tag)


def lot_answer(found: read.LotNow, history: list[StoredEvent]) -> Lot:
    """The answer about one lot."""
    live = sum(one.count for one in found.standing if one.stage != "failed")
    summary = LotSummary(
        **found.row,
        on_hand=live + sum(bag.left for bag in found.bags),
        failed=sum(one.count for one in found.standing if one.stage == "failed"),
        in_transit=sum(one.count for one in found.travelling),
    )
    return Lot(
        lot=summary,
        bags=found.bags,
        places=found.standing,
        travelling=found.travelling,
        gone=found.gone,
        history=history,
    )


HANDLERS = [handler for part in PARTS for handler in _operations(part)]

"""Stock: what stands where, on both clocks; and how it went, day by day."""

from datetime import date
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.api.clocks import AsOf, ClockedPage, KnownAt, asked_of, clocked_list
from service.api.operation import Call, Reply, operation
from service.api.problems import bad_parameter
from service.api.services import UNREACHABLE, unreachable
from service.api.views import Reflecting, ReflectingPage, question, wait_for_view
from service.log.rights import READ
from service.trade.events.trees import Grade
from service.trade.words import Code
from service.views import budwood
from service.views import stock_by_day as by_day
from service.views.clocks import Asked, ClockError
from service.views.stock import Group, Kind, StockAnswer, StockQuery, stock


class StockParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How stock is asked for."""

    group_by: Annotated[
        list[Group],
        Meta(max_length=8, description="Groups, separated by commas; by site when left out."),
    ] = msgspec.field(default_factory=list)
    site: Code | None = None
    place: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    stage: Literal["grafted", "pushed", "failed", "ready"] | None = None
    grade: Grade | None = None
    lot: Code | None = None
    kind: Kind | None = None
    as_of: AsOf = None
    known_at: KnownAt = None


class ByDayParameters(Reflecting, frozen=True, kw_only=True):
    """How stock by day is asked for."""

    first: Annotated[date, Meta(description="From the end of this day.")]
    last: Annotated[date, Meta(description="To the end of this day.")]
    group_by: Annotated[
        list[Literal["site", "cultivar", "rootstock", "size", "stage", "grade"]],
        Meta(max_length=6, description="Groups, separated by commas; by site when left out."),
    ] = msgspec.field(default_factory=list)
    site: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    stage: Literal["grafted", "pushed", "failed", "ready"] | None = None
    grade: Grade | None = None
    kind: (
        Annotated[
            Literal["bag", "liners", "trees", "transit", "lost", "customer", "used", "discarded"],
            Meta(description="Left out: what is in the nursery."),
        ]
        | None
    ) = None


class BudwoodParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which bags are wanted."""

    site: Code | None = None
    place: Code | None = None
    cultivar: Code | None = None
    lot: Code | None = None
    bag: Code | None = None
    past_use_by: (
        Annotated[bool, Meta(description="true: only wood past its day; false: only the rest.")]
        | None
    ) = None
    as_of: AsOf = None
    known_at: KnownAt = None


@operation("GET", "/v1/stock", tag="Stock", scope=READ, query=StockParameters, answer=StockAnswer)
async def get_stock(call: Call[StockParameters]) -> Reply:
    """Stock in groups: bags (buds), liners, trees and what is in transit.

    Answered from the books themselves, so it never lags. `as_of` asks for a past day, `known_at`
    for what was known then; both may be given.
    """
    asked = call.query
    query = question(
        StockQuery, asked, group_by=tuple(asked.group_by) or ("site",), asked=asked_of(asked)
    )
    services = call.services
    try:
        answer = await stock(
            services.database.reader, query, call.principal.site_list, clock=services.clock
        )
    except ClockError as error:
        raise bad_parameter(error.clock, str(error), error.kind) from error
    except UNREACHABLE as error:
        raise unreachable() from error
    return Reply(answer)


@operation(
    "GET",
    "/v1/stock/by-day",
    tag="Stock",
    scope=READ,
    query=ByDayParameters,
    answer=by_day.StockByDayAnswer,
    request_headers=("Prefer",),
)
async def get_stock_by_day(call: Call[ByDayParameters]) -> Reply:
    """How stock went, day by day: for history and charts. Days without a change are left out."""
    asked = call.query
    query = question(by_day.StockByDayQuery, asked, group_by=tuple(asked.group_by) or ("site",))
    headers = await wait_for_view(call, by_day.NAME)
    try:
        answer = await by_day.stock_by_day(
            call.services.database.reader, query, call.principal.site_list
        )
    except UNREACHABLE as error:
        raise unreachable() from error
    except ValueError as error:
        raise bad_parameter("last", str(error), "not_together") from error
    return Reply(answer, headers=headers)


@operation(
    "GET",
    "/v1/budwood",
    tag="Stock",
    scope=READ,
    query=BudwoodParameters,
    answer=ClockedPage[budwood.BudwoodRow],
    request_headers=("Prefer",),
)
async def list_budwood(call: Call[BudwoodParameters]) -> Reply:
    """List budwood on hand, first the one to be used next: buds left, age, keeping time.

    Age and keeping time are told for the site's day now, or for the day of `as_of`.
    """
    asked, services = call.query, call.services

    async def ask(clocks: Asked, after: list[Any] | None) -> budwood.BudwoodPage:
        query = question(budwood.BudwoodQuery, asked, asked=clocks, after=after)
        return await budwood.budwood_on_hand(
            services.database.reader, query, call.principal.site_list, clock=services.clock
        )

    return await clocked_list(call, budwood.NAME, ask)


HANDLERS = [get_stock, get_stock_by_day, list_budwood]

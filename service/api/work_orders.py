"""Work orders: grafting to do, its progress, what fits it, and the list for a day.

Made, changed and ended by events, as reservations are.
"""

from datetime import date
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.operation import Call, NoQuery, Page, Paged, Reply, operation
from service.api.problems import not_found
from service.api.views import after_list, keyed_list, question
from service.log.rights import READ
from service.trade.words import Code, Ref
from service.views import work_orders as view
from service.views.grafting_list import GraftingList, grafting_list

Grafter = Annotated[Ref, Meta(description="A grafter: orders that name them, or name nobody.")]


class WorkOrdersQuery(Paged, frozen=True, kw_only=True):
    """Which work orders are wanted."""

    site: Code | None = None
    state: (
        Annotated[
            Literal["open", "late", "to_do", "filled", "ended"],
            Meta(description="to_do: open or late. Left out: any."),
        ]
        | None
    ) = None
    grafter: Grafter | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    needed_by: Annotated[date, Meta(description="To be done by this day or earlier.")] | None = None


class GraftingListQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Whose list of which day."""

    site: Code
    grafter: Grafter | None = None
    day: (
        Annotated[
            date,
            Meta(
                description="What is late, what wood keeps and what is held is judged by it. Left "
                "out: today at the site. What is done is by the books of now."
            ),
        ]
        | None
    ) = None


@operation(
    "GET",
    "/v1/work-orders",
    tag="Work orders",
    scope=READ,
    query=WorkOrdersQuery,
    answer=Page[view.WorkOrderRow],
)
async def list_work_orders(call: Call[WorkOrdersQuery]) -> Reply:
    """List work orders, the first to be done on top.

    Late and open go by the site's own calendar day. An order is made, changed and ended by the
    events `grafting.ordered`, `grafting.order_changed` and `grafting.order_ended`.
    """
    asked = call.query

    async def ask(after: list[Any] | None) -> view.OrdersPage:
        query = question(view.OrdersQuery, asked, after=after)
        async with call.services.reading() as connection:
            sites = call.principal.site_list
            return await view.work_orders(connection, query, sites, call.services.clock())

    return await keyed_list(call, ask, after_list(asked.cursor), {})


@operation(
    "GET", "/v1/work-orders/{code:str}", tag="Work orders", scope=READ, answer=view.WorkOrderNow
)
async def get_work_order(call: Call[NoQuery]) -> Reply:
    """One work order: what is done of it, by lot and grafter, and which bags and liners fit.

    Bags are those on hand at the site, of its cultivar, that no hold blocks; what keeps shortest
    comes first, and wood past its usual time is marked and not given out. Its ETag moves with the
    log and with the site's day, since what fits does.
    """
    code = call.code()
    async with call.services.reading() as connection:
        sites = call.principal.site_list
        found = await view.work_order(connection, sites, code, call.services.clock())
    if found is None:
        raise not_found(f"The work order {code}")
    return Reply(found, etag=etag(f"{found.position}-{found.day}"))


@operation(
    "GET",
    "/v1/grafting-list",
    tag="Work orders",
    scope=READ,
    query=GraftingListQuery,
    answer=GraftingList,
)
async def get_grafting_list(call: Call[GraftingListQuery]) -> Reply:
    """The grafting to do at a site: which orders, where the liners stand, which bags to take.

    Bags and liners are given out once, order by order, what keeps shortest first. With `grafter`
    only the orders that name them or nobody are shown; the others keep their bags.
    """
    return Reply(await list_of_the_day(call))


async def list_of_the_day(call: Call[Any]) -> GraftingList:
    """The list that a query with site, grafter and day asks for. Raises 422 for another's site."""
    asked = call.query
    async with call.services.reading() as connection:
        now = call.services.clock()
        return await grafting_list(connection, asked.site, asked.day, asked.grafter, now)


HANDLERS = [list_work_orders, get_work_order, get_grafting_list]

"""The grafting to do at a site on a day: which order, from which bag, onto which liners."""

from datetime import date, datetime
from typing import Annotated

import msgspec
from msgspec import Meta

from service.storage.pool import Connection
from service.trade.fitting import Part
from service.views.site_days import site_days
from service.views.work_orders import (
    SQL,
    OrdersQuery,
    WorkOrderRow,
    graftings,
    orders_on,
    supply_at,
)

MOST_ORDERS = 500


class ToGraft(msgspec.Struct, frozen=True, kw_only=True):
    """So many trees of an order out of one bag onto liners at one place."""

    count: int
    bag: Annotated[str | None, Meta(description="null: no bag has buds for them.")]
    budwood_lot: str | None
    bag_place: str | None
    use_by: date | None
    liner_lot: Annotated[str | None, Meta(description="null: no liners are there for them.")]
    liner_place: str | None
    size: str | None
    method: Annotated[str | None, Meta(description="null: any.")]
    place: Annotated[
        str | None,
        Meta(description="Where the trees are to stand: as ordered, else where the liners stand."),
    ]


class OrderOfTheDay(msgspec.Struct, frozen=True, kw_only=True):
    """An order with what was done of it that day, and what to take for the rest."""

    order: WorkOrderRow
    done_that_day: Annotated[
        int, Meta(description="Trees grafted for it on that day; by the grafter, if one is asked.")
    ]
    rows: list[ToGraft]
    without_bag: Annotated[int, Meta(description="Trees that no bag has buds for.")]
    without_liners: Annotated[int, Meta(description="Trees that no liner stands for.")]


class GraftingList(msgspec.Struct, frozen=True, kw_only=True):
    """A day's grafting at a site. Bags and liners are given out once, order by order."""

    position: Annotated[int, Meta(description="The log's position that this reflects.")]
    site: str
    site_name: str
    day: date
    grafter: str | None
    orders: list[OrderOfTheDay]
    more: Annotated[
        bool, Meta(description=f"More than {MOST_ORDERS} orders wait: only the first are shown.")
    ]


async def grafting_list(
    conn: Connection, site: str, day: date | None, grafter: str | None, now: datetime
) -> GraftingList:
    """What is to do at the site by the books of now; `day`, left out the site's today, says what is
    late, what keeps and what is held.

    Every order of the site takes its bags, also when only one grafter's are shown: two lists then
    never send two people to the same bag.
    """
    position = int(await conn.fetchval(SQL.head))
    today = (await site_days(conn, now))[site]
    on = day or today
    query = OrdersQuery(site=site, state="to_do", limit=MOST_ORDERS)
    waiting = await orders_on(conn, query, {site: on})
    orders = [one for one in waiting[:MOST_ORDERS] if one.made_day <= on]
    supply = await supply_at(conn, site, orders, on)
    done: dict[str, int] = {}
    for one in await graftings(conn, orders):
        if one.counts and not one.voided and one.day == on:
            mine = [hand.count for hand in one.grafters if hand.person == grafter]
            count = one.count if grafter is None else sum(mine)
            done[one.work_order] = done.get(one.work_order, 0) + count
    found = []
    for order in orders:
        parts = supply.give(order.to_give)
        if grafter is not None and order.grafters and grafter not in order.grafters:
            continue
        found.append(
            OrderOfTheDay(
                order=order,
                done_that_day=done.get(order.code, 0),
                rows=[_row(order, part) for part in parts],
                without_bag=sum(part.count for part in parts if part.bag is None),
                without_liners=sum(part.count for part in parts if part.liners is None),
            )
        )
    return GraftingList(
        position=position,
        site=site,
        site_name=await conn.fetchval(SQL.site_name, site),
        day=on,
        grafter=grafter,
        orders=found,
        more=len(waiting) > MOST_ORDERS,
    )


def _row(order: WorkOrderRow, part: Part) -> ToGraft:
    bag, liners = part.bag, part.liners
    return ToGraft(
        count=part.count,
        bag=bag.bag if bag else None,
        budwood_lot=bag.lot if bag else None,
        bag_place=bag.place if bag else None,
        use_by=bag.use_by if bag else None,
        liner_lot=liners.lot if liners else order.liner_lot,
        liner_place=liners.place if liners else None,
        size=liners.size if liners else None,
        method=order.method,
        place=order.place or (liners.place if liners else None),
    )

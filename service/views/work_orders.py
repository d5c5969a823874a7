"""Work orders: grafting to do, how far it has come, and what fits it. Read from the books."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Annotated, Any, Literal

import asyncpg
import msgspec
from msgspec import Meta

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade import holds
from service.trade.events.grafting import GraftedBy
from service.trade.fitting import (
    BagThere,
    LinersThere,
    Part,
    Supply,
    Wanted,
    buds_per_tree,
    fits_bag,
    fits_liners,
    use_by,
)
from service.views import holding
from service.views.paging import cut_page, page_key
from service.views.site_days import site_days

SQL = load(__package__, "work_orders.sql")
State = Literal["open", "filled", "late", "ended"]
Sites = list[str] | None


class WorkOrderRow(msgspec.Struct, frozen=True, kw_only=True):
    """A work order: what is wanted, and how much of it is done."""

    code: str
    site: str
    cultivar: str
    rootstock: str
    liner_lot: Annotated[str | None, Meta(description="null: any of the rootstock.")]
    method: Annotated[str | None, Meta(description="null: any.")]
    place: Annotated[str | None, Meta(description="Where the trees are to stand.")]
    grafters: Annotated[list[str], Meta(description="Who is to graft; empty: anybody.")]
    customer: str | None
    reservation: str | None
    note: str | None
    made_day: date
    needed_by: date
    wanted: Annotated[int, Meta(description="Trees from its beginning on.")]
    done: Annotated[int, Meta(description="Trees grafted for it, voided graftings left out.")]
    left: int
    state: Annotated[
        State,
        Meta(
            description="open; late: its day has passed at the site; filled: nothing is left of "
            "it; ended: somebody ended it. A filled order stays until somebody ends it."
        ),
    ]
    ended: Annotated[Literal["done", "cancelled", "other"] | None, Meta(description="Why.")]
    ended_day: date | None
    position: int
    changed_position: int

    @property
    def to_give(self) -> Wanted:
        """What is still wanted of it."""
        return Wanted(
            cultivar=self.cultivar,
            rootstock=self.rootstock,
            liner_lot=self.liner_lot,
            method=self.method,
            left=0 if self.state == "ended" else self.left,
        )


class Grafting(msgspec.Struct, frozen=True, kw_only=True):
    """A grafting for an order, by its event."""

    work_order: str
    id: str
    position: int
    day: date
    lot: str
    count: int
    counts: Annotated[
        bool, Meta(description="false: of another cultivar or rootstock, so not toward the order.")
    ]
    voided: bool
    grafters: list[GraftedBy]


class OrdersQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `grafter`: orders that name them, or nobody. `state` to_do: open or late."""

    site: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    grafter: str | None = None
    needed_by: date | None = None
    state: str | None = None
    limit: int = 100
    after: list[Any] | None = None


class OrdersPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, the first to be done on top. `position`: the log's, as the books are never behind."""

    position: int
    rows: list[WorkOrderRow]
    next_after: list[Any] | None


class FittingBag(msgspec.Struct, frozen=True, kw_only=True):
    """A bag on hand at the site, of the cultivar, that no hold blocks."""

    bag: str
    lot: str
    place: str
    buds: Annotated[int, Meta(description="Buds left in it at the place.")]
    basis: str
    buds_per_tree: Annotated[
        int, Meta(description="By the piece, else by the order's method, else one at least.")
    ]
    trees: Annotated[int, Meta(description="How many trees its buds are enough for.")]
    take_for: Annotated[
        int, Meta(description="For how many of the trees still wanted to take it, oldest first.")
    ]
    use_by: date | None
    past_use_by: Annotated[
        bool, Meta(description="Past the usual keeping time: look at the wood before it is used.")
    ]


class FittingLiners(msgspec.Struct, frozen=True, kw_only=True):
    """Liners at the site that the order can be grafted on, and that no hold blocks."""

    lot: str
    place: str
    size: str
    count: int
    take: Annotated[int, Meta(description="How many of them the trees still wanted take.")]


class Total(msgspec.Struct, frozen=True, kw_only=True):
    """Trees grafted for the order, under one name; null: nobody was named."""

    name: str | None
    count: int


class WorkOrderNow(msgspec.Struct, frozen=True, kw_only=True):
    """A work order with its progress, and what fits what is left of it."""

    position: Annotated[int, Meta(description="The log's position that this reflects.")]
    day: Annotated[date, Meta(description="The site's day that it was judged by.")]
    order: WorkOrderRow
    buds_per_tree: Annotated[int, Meta(description="By the method; one at least where none is.")]
    buds_needed: Annotated[int, Meta(description="For what is left of it.")]
    by_lot: Annotated[list[Total], Meta(description="What counts toward it, by tree lot.")]
    by_grafter: list[Total]
    graftings: Annotated[list[Grafting], Meta(description="All events for it, by day.")]
    bags: Annotated[list[FittingBag], Meta(description="To be used first on top.")]
    liners: list[FittingLiners]
    without_bag: Annotated[int, Meta(description="Trees still wanted that no bag has buds for.")]
    without_liners: Annotated[int, Meta(description="Trees still wanted that no liner stands for.")]


async def work_orders(
    conn: Connection, query: OrdersQuery, sites: Sites, now: datetime
) -> OrdersPage:
    """Orders at the sites that may be seen (None: all), judged by each site's day at `now`.

    Raises ValueError for a bad `after`.
    """
    key = page_key(query.after, (date, str))
    position = int(await conn.fetchval(SQL.head))
    rows = await orders_on(conn, query, await site_days(conn, now), sites, key)
    rows, more = cut_page(rows, query.limit, lambda row: (row.needed_by, row.code))
    return OrdersPage(position=position, rows=rows, next_after=more)


async def orders_on(
    conn: Connection,
    query: OrdersQuery,
    days: dict[str, date],
    sites: Sites = None,
    key: Sequence[Any] = (None, None),
    code: str | None = None,
) -> list[WorkOrderRow]:
    """Orders of the sites of `days`, judged by these; one more than the limit if there are more."""
    records = await conn.fetch(
        SQL.page,
        sites,
        query.site,
        query.cultivar,
        query.rootstock,
        query.grafter,
        query.needed_by,
        query.state,
        list(days),
        list(days.values()),
        *key,
        query.limit + 1,
        code,
    )
    return [_row(record) for record in records]


def _row(record: asyncpg.Record) -> WorkOrderRow:
    parts: dict[str, Any] = dict(record)
    return WorkOrderRow(**parts)


async def work_order(
    conn: Connection, sites: Sites, code: str, now: datetime
) -> WorkOrderNow | None:
    """One order with what fits it; None when there is none at the sites that may be seen."""
    position = int(await conn.fetchval(SQL.head))
    days = await site_days(conn, now)
    found = await orders_on(conn, OrdersQuery(), days, sites, code=code)
    if not found:
        return None
    (order,) = found
    day = days[order.site]
    supply = await supply_at(conn, order.site, [order], day)
    wanted = order.to_give
    parts = supply.give(wanted)
    done = await graftings(conn, [order])
    per_tree = buds_per_tree(order.method)
    return WorkOrderNow(
        position=position,
        day=day,
        order=order,
        buds_per_tree=per_tree,
        buds_needed=wanted.left * per_tree,
        by_lot=_totals((one.lot, one.count) for one in done if _counts(one)),
        by_grafter=_totals(part for one in done if _counts(one) for part in _hands(one)),
        graftings=done,
        bags=_fitting_bags(supply, wanted, parts),
        liners=_fitting_liners(supply, wanted, parts),
        without_bag=sum(part.count for part in parts if part.bag is None),
        without_liners=sum(part.count for part in parts if part.liners is None),
    )


def _counts(one: Grafting) -> bool:
    return one.counts and not one.voided


def _hands(one: Grafting) -> list[tuple[str | None, int]]:
    """Who grafted how many; nobody's name where none was told."""
    if not one.grafters:
        return [(None, one.count)]
    return [(hand.person, hand.count) for hand in one.grafters]


def _totals(parts: Iterable[tuple[str | None, int]]) -> list[Total]:
    sums: dict[str | None, int] = {}
    for name, count in parts:
        sums[name] = sums.get(name, 0) + count
    return [Total(name=name, count=count) for name, count in sums.items()]


def _fitting_bags(supply: Supply, wanted: Wanted, parts: list[Part]) -> list[FittingBag]:
    found = []
    for bag in supply.bags:
        if not fits_bag(wanted, bag):
            continue
        per_tree = buds_per_tree(wanted.method, bag.buds_per_piece)
        found.append(
            FittingBag(
                bag=bag.bag,
                lot=bag.lot,
                place=bag.place,
                buds=bag.buds,
                basis=bag.basis,
                buds_per_tree=per_tree,
                trees=bag.buds // per_tree,
                take_for=sum(part.count for part in parts if part.bag is bag),
                use_by=bag.use_by,
                past_use_by=bag.past_use_by,
            )
        )
    return found


def _fitting_liners(supply: Supply, wanted: Wanted, parts: list[Part]) -> list[FittingLiners]:
    return [
        FittingLiners(
            lot=one.lot,
            place=one.place,
            size=one.size,
            count=one.count,
            take=sum(part.count for part in parts if part.liners is one),
        )
        for one in supply.liners
        if fits_liners(wanted, one)
    ]


async def graftings(conn: Connection, orders: Iterable[WorkOrderRow]) -> list[Grafting]:
    """All graftings for the orders, by day."""
    rows = await conn.fetch(SQL.done, [order.code for order in orders])
    return [msgspec.convert(dict(row), Grafting) for row in rows]


async def supply_at(
    conn: Connection, site: str, orders: Iterable[WorkOrderRow | Wanted], day: date
) -> Supply:
    """Bags and liners at the site that orders can draw on and that no hold blocks on that day."""
    cultivars = list({order.cultivar for order in orders})
    rootstocks = list({order.rootstock for order in orders})
    bags = await conn.fetch(SQL.bags, site, cultivars)
    liners = await conn.fetch(SQL.liners, site, rootstocks)
    cut_from = await conn.fetch(SQL.parents, list({row["lot"] for row in bags}))
    parents = {row["code"]: row["parent"] for row in cut_from}
    blocked = await holding.blocked(conn, day, holds.USE)

    def free(row: asyncpg.Record, tokens: set[str]) -> bool:
        where = {f"place:{row['place']}", f"site:{site}"}
        return not blocked & (tokens | where | set(row["ancestry"]))

    return Supply(
        [_bag(row, day) for row in bags if free(row, _bag_tokens(row["bag"], parents))],
        [
            LinersThere(
                lot=row["lot"],
                place=row["place"],
                size=row["size"],
                rootstock=row["rootstock"],
                day=row["day"],
                count=row["count"],
            )
            for row in liners
            if free(row, set())
        ],
    )


def _bag(row: asyncpg.Record, day: date) -> BagThere:
    last = use_by(row["crop"], row["day"])
    return BagThere(
        bag=row["bag"],
        lot=row["lot"],
        place=row["place"],
        cultivar=row["cultivar"],
        buds=row["buds"],
        basis=row["basis"],
        buds_per_piece=row["buds_per_piece"],
        use_by=last,
        past_use_by=last is not None and day > last,
    )


def _bag_tokens(code: str, parents: dict[str, str]) -> set[str]:
    """The bag and those that its pieces were cut from; a ring of bags ends all the same."""
    tokens: set[str] = set()
    one: str | None = code
    while one and f"bag:{one}" not in tokens:
        tokens.add(f"bag:{one}")
        one = parents.get(one)
    return tokens

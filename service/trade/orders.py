"""Work orders on the books: which one a grafting is for, and how far each has come.

An order is a wish and a grafting is a fact: a grafting is never refused for an order's sake, and
an order never ends by itself. What counts toward an order is what is of its cultivar on its
rootstock; a method or liner lot that differs from what was asked is remarked and counts.
"""

from typing import NamedTuple

from service.trade.bench import Bench
from service.trade.books import Books, Lot
from service.trade.events.grafting import TreesGrafted, TreesRegrafted
from service.trade.verdicts import refuse
from service.trade.words import Moment
from service.trade.work_orders import WorkDone, WorkOrder


class Graft(NamedTuple):
    """What a grafting makes, as far as orders ask: its wood, its stock, how, and how many."""

    cultivar: str | None
    rootstock: str | None
    liner_lot: str | None
    method: str
    trees: int


def same_item(order: WorkOrder, cultivar: str | None, rootstock: str | None) -> bool:
    """Whether trees of this cultivar and rootstock are what the order is for."""
    return (order.cultivar, order.rootstock) == (cultivar, rootstock)


def fits(order: WorkOrder, graft: Graft) -> bool:
    """Whether the grafting is all that the order asks for."""
    return (
        same_item(order, graft.cultivar, graft.rootstock)
        and order.liner_lot in (None, graft.liner_lot)
        and order.method in (None, graft.method)
    )


def order_for(
    bench: Bench, named: str | None, wood: Lot, stock: Lot, method: str, count: int
) -> str | None:
    """The order that a grafting counts toward: the one named, or the one it replaces an entry of,
    or the only open one that fits. None when there is none, or several.

    Raises Refusal for an order that is not of this site.
    """
    liner_lot = stock.code if stock.kind == "liner" else None
    graft = Graft(wood.cultivar, stock.rootstock, liner_lot, method, count)
    if named is not None:
        order = order_at(bench, named)
        _differences(bench, order, graft)
    else:
        found = _order_of_the_replaced(bench, graft) or _the_one_that_fits(bench, graft)
        if found is None:
            return None
        order = found
        bench.remark(
            "counts_toward_order",
            f"It counts toward work order {order.code}, the one it fits.",
            work_order=order.code,
        )
    _more_than_wanted(bench, order, graft)
    return order.code


def order_at(bench: Bench, code: str) -> WorkOrder:
    """The order, or a refusal; another site's is as unknown as none at all."""
    order = bench.books.work_orders.get(code)
    if order is None or order.site != bench.here:
        raise refuse(
            "unknown_code",
            f"No work order {code} is known at {bench.here}.",
            "#/data/work_order",
            code=code,
        )
    return order


def _order_of_the_replaced(bench: Bench, graft: Graft) -> WorkOrder | None:
    """A correction counts where the slip did, also when the order was ended meanwhile."""
    replaced = bench.books.recorded.get(bench.event.replaces or "")
    if replaced is None or not isinstance(replaced.event, TreesGrafted | TreesRegrafted):
        return None
    order = bench.books.work_orders.get(replaced.event.data.work_order or "")
    if order is None or order.site != bench.here:
        return None
    return order if same_item(order, graft.cultivar, graft.rootstock) else None


def _the_one_that_fits(bench: Bench, graft: Graft) -> WorkOrder | None:
    wanting = [
        order
        for order in bench.books.work_orders.values()
        if order.site == bench.here
        and order.ended is None
        and order.left > 0
        and order.made_day <= bench.day
        and fits(order, graft)
    ]
    if len(wanting) > 1:
        codes = sorted(order.code for order in wanting)
        bench.remark(
            "several_orders_fit",
            f"It fits work orders {', '.join(codes[:20])}; it counts toward none of them, since "
            "none was named.",
            work_orders=codes[:20],
        )
    return wanting[0] if len(wanting) == 1 else None


def _differences(bench: Bench, order: WorkOrder, graft: Graft) -> None:
    """Remark what a grafting for a named order has otherwise than was asked."""
    if order.ended is not None:
        bench.remark(
            "order_ended",
            f"Work order {order.code} was ended on {order.ended_day}; it counts toward it all the "
            "same.",
            work_order=order.code,
            ended_on=str(order.ended_day),
        )
    if fits(order, graft):
        return
    asked = {
        "cultivar": (order.cultivar, graft.cultivar),
        "rootstock": (order.rootstock, graft.rootstock),
        "liner_lot": (order.liner_lot or graft.liner_lot, graft.liner_lot),
        "method": (order.method or graft.method, graft.method),
    }
    differ = {name: pair for name, pair in asked.items() if pair[0] != pair[1]}
    counts = same_item(order, graft.cultivar, graft.rootstock)
    told = ", ".join(
        f"{name.replace('_', ' ')} {theirs}, not {ours or 'one that is not known'}"
        for name, (theirs, ours) in differ.items()
    )
    bench.remark(
        "order_differs",
        f"Work order {order.code} asks for {told}. "
        + ("It counts toward it." if counts else "So it does not count toward it."),
        work_order=order.code,
        counts=counts,
        **{name: {"ordered": theirs, "grafted": ours} for name, (theirs, ours) in differ.items()},
    )


def _more_than_wanted(bench: Bench, order: WorkOrder, graft: Graft) -> None:
    if graft.trees > order.left and same_item(order, graft.cultivar, graft.rootstock):
        bench.remark(
            "more_than_ordered",
            f"Work order {order.code} had {order.left} of {order.wanted} left; {graft.trees} were "
            "grafted.",
            work_order=order.code,
            left=order.left,
            grafted=graft.trees,
        )


# -- progress -----------------------------------------------------------------------------


def count_toward(
    books: Books, e: TreesGrafted | TreesRegrafted, moment: Moment, position: int
) -> None:
    """Note a grafting with its order, once its lot is made."""
    order = books.work_orders.get(e.data.work_order or "")
    if order is None:
        return
    lot = books.lots[e.data.lot or ""]
    done = WorkDone(
        position=position,
        work_order=order.code,
        site=e.site,
        lot=lot.code,
        day=moment.day,
        count=e.data.count or 0,
        counts=same_item(order, lot.cultivar, lot.rootstock),
    )
    books.put(books.work_done, position, done)
    more = done.count if done.counts else 0
    books.alter(order, done=order.done + more, changed_position=position)


def take_back(books: Books, position: int, by: int) -> None:
    """A voided grafting is not done."""
    done = books.work_done.get(position)
    if done is None or done.voided_by is not None:
        return
    books.alter(done, voided_by=by)
    order = books.work_orders[done.work_order]
    less = done.count if done.counts else 0
    books.alter(order, done=order.done - less, changed_position=by)

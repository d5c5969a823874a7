"""Completing work orders."""

from msgspec.structs import replace

from service.trade import holds
from service.trade.bench import Bench
from service.trade.completing import completes
from service.trade.completing.budwood import day_given
from service.trade.events.orders import (
    GraftingOrderChanged,
    GraftingOrderChangedData,
    GraftingOrdered,
    GraftingOrderedData,
    GraftingOrderEnded,
    GraftingOrderEndedData,
)
from service.trade.orders import order_at
from service.trade.verdicts import refuse
from service.trade.work_orders import WorkOrder


@completes(GraftingOrdered)
def _ordered(bench: Bench, d: GraftingOrderedData) -> GraftingOrderedData:
    catalogue = bench.books.catalogue
    catalogue.cultivar(d.cultivar, "#/data/cultivar")
    if d.rootstock is not None:
        catalogue.rootstock(d.rootstock, "#/data/rootstock")
    rootstock = d.rootstock
    if d.liner_lot is not None:
        rootstock = _rootstock_of(bench, d.liner_lot, d.rootstock)
    if rootstock is None:
        raise refuse(
            "missing", "Say what to graft on: `rootstock` or `liner_lot`.", "#/data/rootstock"
        )
    customer = _asked(bench, d)
    code = bench.mint(d.work_order)
    if code in bench.books.work_orders:
        raise refuse("code_in_use", f"Work order {code} exists.", "#/data/work_order", code=code)
    return replace(d, work_order=code, rootstock=rootstock, customer=customer)


@completes(GraftingOrderChanged)
def _changed(bench: Bench, d: GraftingOrderChangedData) -> GraftingOrderChangedData:
    order = _open(bench, d.work_order)
    said = [name for name in d.__struct_fields__ if getattr(d, name) is not None]
    if said == ["work_order"]:
        raise refuse("missing", "Say what is to change.", "#/data", work_order=order.code)
    if d.liner_lot is not None:
        _rootstock_of(bench, d.liner_lot, order.rootstock)
    return replace(d, customer=_asked(bench, d, order))


@completes(GraftingOrderEnded)
def _ended(bench: Bench, d: GraftingOrderEndedData) -> GraftingOrderEndedData:
    _open(bench, d.work_order)
    return d


def _open(bench: Bench, code: str) -> WorkOrder:
    order = order_at(bench, code)
    if order.ended is not None:
        raise refuse(
            "not_open",
            f"Work order {code} was ended on {order.ended_day} ({order.ended}).",
            "#/data/work_order",
            ended=order.ended,
        )
    return order


def _rootstock_of(bench: Bench, liner_lot: str, said: str | None) -> str | None:
    """The rootstock of a liner lot, if it is the one that was said. A hold on it is remarked."""
    at = "#/data/liner_lot"
    lot = bench.lot_here(liner_lot, at, "liner")
    if lot.rootstock is None and said is None:
        raise refuse(
            "missing",
            f"Nobody knows what rootstock {liner_lot} is; name the rootstock.",
            "#/data/rootstock",
        )
    if said not in (None, lot.rootstock) and lot.rootstock is not None:
        raise refuse(
            "counts_disagree",
            f"{liner_lot} is {lot.rootstock}, not {said}.",
            "#/data/rootstock",
            liner_lot=liner_lot,
            its_rootstock=lot.rootstock,
        )
    for hold in holds.blocking(bench.books, holds.USE, lot.ancestry, bench.day):
        bench.remark(
            "held",
            f"Hold {hold.code} ({hold.kind.replace('_', ' ')}) is on {liner_lot}: nothing can be "
            "grafted on it until the hold is lifted.",
            hold=hold.code,
            liner_lot=liner_lot,
        )
    return lot.rootstock or said


def _asked(
    bench: Bench,
    d: GraftingOrderedData | GraftingOrderChangedData,
    order: WorkOrder | None = None,
) -> str | None:
    """Check day, place and for whom; the customer, found from the reservation if not said."""
    day_given(bench, d.needed_by, "#/data/needed_by")
    if d.place is not None:
        bench.place(d.place, "#/data/place")
    if d.reservation is None:
        return d.customer
    reservation = bench.books.reservations.get(d.reservation)
    if reservation is None or reservation.site != bench.here:
        raise refuse(
            "unknown_code",
            f"No reservation {d.reservation} was made at {bench.here}.",
            "#/data/reservation",
            code=d.reservation,
        )
    customer = d.customer or (order.customer if order else None)
    if customer not in (None, reservation.customer):
        raise refuse(
            "other_customer",
            f"Reservation {d.reservation} is {reservation.customer}'s, not {customer}'s.",
            "#/data/reservation",
            reserved_for=reservation.customer,
            customer=customer,
        )
    return reservation.customer

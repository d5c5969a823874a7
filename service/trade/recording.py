"""Write a completed event's facts into the books: lots, bags, holds, claims, loads, counts."""

from collections.abc import Callable
from typing import Any

from service.trade import accounts as acc
from service.trade import outgoing
from service.trade.books import (
    Anchor,
    Books,
    Claim,
    Consignment,
    Hold,
    Reservation,
)
from service.trade.events import (
    budwood,
    catalogue,
    grafting,
    orders,
    promises,
    selling,
    stock,
    trees,
)
from service.trade.events.envelope import Envelope
from service.trade.items import claimed_item
from service.trade.legs import standing_key
from service.trade.making import MAKERS, day_of, expiry_of, make_lot, shared
from service.trade.orders import count_toward
from service.trade.words import Moment
from service.trade.work_orders import WorkOrder


def record(books: Books, event: Envelope, moment: Moment, position: int) -> None:
    """All that the event says beside its legs."""
    writer = MAKERS.get(type(event)) or _WRITERS.get(type(event))
    if writer is not None:
        writer(books, event, moment, position)
    if isinstance(event, grafting.TreesGrafted | grafting.TreesRegrafted):
        count_toward(books, event, moment, position)


# -- counts ---------------------------------------------------------------------------


def _anchor(books: Books, lot: str, key: acc.Key, moment: Moment, position: int) -> None:
    account = books.account(lot, key)
    if account.last_day is None or moment.day > account.last_day:
        books.alter(account, last_day=moment.day)
    anchor = Anchor(moment.day, moment.at, moment.timed, position)
    books.set_anchors(account, [*account.anchors, anchor])


def _push_counted(books: Books, e: grafting.PushCounted, moment: Moment, position: int) -> None:
    d = e.data
    for stage in ("grafted", "pushed", "failed"):
        key = acc.trees(e.site, d.place or "", stage, d.size or "")
        _anchor(books, d.lot, key, moment, position)


def _counted(books: Books, e: stock.StockCounted, moment: Moment, position: int) -> None:
    for line in e.data.lines:
        _anchor(books, line.lot or "", standing_key(e.site, line), moment, position)


# -- loads, holds, claims ----------------------------------------------------------------


def _sent(books: Books, e: trees.ConsignmentSent, moment: Moment, position: int) -> None:
    code = e.data.consignment or ""
    # A sending that was voided and told anew may have been received already.
    old = books.consignments.get(code)
    load = Consignment(
        code=code,
        from_site=e.site,
        to_site=e.data.to_site,
        sent_day=moment.day,
        sent_position=position,
        received_day=old.received_day if old else None,
        received_position=old.received_position if old else None,
    )
    books.put(books.consignments, code, load)


def _load_received(
    books: Books, e: trees.ConsignmentReceived, moment: Moment, position: int
) -> None:
    load = books.consignments[e.data.consignment]
    books.alter(load, received_day=moment.day, received_position=position)


def _hold(books: Books, e: stock.HoldPlaced, moment: Moment, position: int) -> None:
    d = e.data
    hold = Hold(
        code=d.hold or "",
        kind=d.kind,
        target=d.target,
        target_code=d.code,
        site=e.site,
        reason=d.reason,
        from_day=moment.day,
        position=position,
    )
    books.put(books.holds, hold.code, hold)


def _lifted(books: Books, e: stock.HoldLifted, moment: Moment, position: int) -> None:
    books.alter(books.holds[e.data.hold], lifted_day=moment.day, lifted_position=position)


def _label_lost(books: Books, e: stock.LabelLost, moment: Moment, position: int) -> None:
    d = e.data
    lots = [books.lots[line.lot] for line in d.lines]
    make_lot(
        books,
        d.lot or "",
        position,
        [f"lot:{lot.code}" for lot in lots],
        kind="tree",
        site=e.site,
        identified=False,
        **shared(lots),
    )
    hold = Hold(
        code=d.hold or "",
        kind="identity",
        target="lot",
        target_code=d.lot or "",
        site=e.site,
        reason="label lost",
        from_day=moment.day,
        position=position,
    )
    books.put(books.holds, hold.code, hold)


def _claims(
    books: Books, site: str, any_site: bool, lines: list[selling.ReservedLine]
) -> list[Claim]:
    return [
        Claim(
            line=index,
            item=claimed_item(books, line).text,
            lot=line.lot,
            site=None if any_site else site,
            asked=line.asked or line.count,
            open=line.count,
            promised=line.count,
        )
        for index, line in enumerate(lines)
    ]


def _reserved(books: Books, e: selling.ReservationMade, moment: Moment, position: int) -> None:
    d = e.data
    books.put(
        books.reservations,
        d.reservation,
        Reservation(
            code=d.reservation or "",
            customer=d.customer,
            site=e.site,
            any_site=d.any_site,
            made_day=moment.day,
            needed_by=day_of(books, e.site, d.needed_by),
            expires_at=expiry_of(books, e.site, d.expires_at),
            state="open",
            position=position,
            changed_position=position,
            order_ref=d.order,
            destination=list(d.destination or ()),
            claims=_claims(books, e.site, d.any_site, d.lines),
        ),
    )


def _rechanged(books: Books, e: selling.ReservationChanged, moment: Moment, position: int) -> None:
    d = e.data
    reservation = books.reservations[d.reservation]
    changes: dict[str, Any] = {"changed_position": position}
    changes |= {_CLEARED[name]: None for name in d.cleared if name in _CLEARED}
    if d.lines is not None:
        changes["claims"] = _claims(books, e.site, reservation.any_site, d.lines)
    if d.needed_by is not None:
        changes["needed_by"] = day_of(books, e.site, d.needed_by)
    if d.expires_at is not None:
        changes["expires_at"] = expiry_of(books, e.site, d.expires_at)
    if d.order is not None:
        changes["order_ref"] = d.order
    if d.destination is not None or "destination" in d.cleared:
        changes["destination"] = list(d.destination or ())
    if "expires_at" in changes:
        # Whatever was recorded of the old expiry.
        changes["expired_day"] = None
    books.alter(reservation, **changes)


_CLEARED = {"needed_by": "needed_by", "expires_at": "expires_at", "order": "order_ref"}


def _confirmed(
    books: Books, e: selling.ReservationConfirmed, moment: Moment, position: int
) -> None:
    reservation = books.reservations[e.data.reservation]
    books.alter(
        reservation,
        order_ref=e.data.order or reservation.order_ref,
        confirmed_day=reservation.confirmed_day or moment.day,
        expires_at=None,
        expired_day=None,
        changed_position=position,
    )


def _expired(books: Books, e: selling.ReservationExpired, moment: Moment, position: int) -> None:
    reservation = books.reservations[e.data.reservation]
    books.alter(reservation, expired_day=moment.day, changed_position=position)


def _released(books: Books, e: selling.ReservationReleased, moment: Moment, position: int) -> None:
    reservation = books.reservations[e.data.reservation]
    for claim in reservation.claims:
        books.alter(claim, open=0)
    books.alter(reservation, state="released", changed_position=position)


def draw_claims(
    books: Books, code: str | None, fulfils: list[budwood.Fulfilled], sign: int, position: int
) -> None:
    """Take what a sale fulfilled off the reservation's open lines; sign -1 puts it back."""
    if code is None or code not in books.reservations:
        return
    reservation = books.reservations[code]
    if reservation.state == "released":
        # What was given free stays free, also when a sale that had fulfilled part of it is voided.
        books.alter(reservation, changed_position=position)
        return
    by_line = {claim.line: claim for claim in reservation.claims}
    for part in fulfils:
        claim = by_line.get(part.line)
        if claim is not None:
            books.alter(claim, open=min(max(claim.open - sign * part.count, 0), claim.promised))
    left = any(claim.open for claim in reservation.claims)
    books.alter(reservation, state="open" if left else "fulfilled", changed_position=position)


def _sold(
    books: Books, e: selling.TreesSold | budwood.BudwoodSold, moment: Moment, position: int
) -> None:
    draw_claims(books, e.data.reservation, e.data.fulfils, 1, position)
    if isinstance(e, selling.TreesSold):
        outgoing.sold(books, e, position)


def _ordered(books: Books, e: orders.GraftingOrdered, moment: Moment, position: int) -> None:
    d = e.data
    needed_by = day_of(books, e.site, d.needed_by)
    assert needed_by is not None
    order = WorkOrder(
        code=d.work_order or "",
        site=e.site,
        cultivar=d.cultivar,
        rootstock=d.rootstock or "",
        wanted=d.count,
        needed_by=needed_by,
        made_day=moment.day,
        liner_lot=d.liner_lot,
        method=d.method,
        place=d.place,
        grafters=tuple(d.grafters),
        customer=d.customer,
        reservation=d.reservation,
        note=d.note,
        position=position,
        changed_position=position,
    )
    books.put(books.work_orders, order.code, order)


def _order_changed(
    books: Books, e: orders.GraftingOrderChanged, moment: Moment, position: int
) -> None:
    d, order = e.data, books.work_orders[e.data.work_order]
    names = ("liner_lot", "method", "place", "customer", "reservation", "note")
    changes = {name: said for name in names if (said := getattr(d, name)) is not None}
    if d.count is not None:
        changes["wanted"] = order.done + d.count
    if d.needed_by is not None:
        changes["needed_by"] = day_of(books, e.site, d.needed_by)
    if d.grafters is not None:
        changes["grafters"] = tuple(d.grafters)
    books.alter(order, changed_position=position, **changes)


def _order_ended(books: Books, e: orders.GraftingOrderEnded, moment: Moment, position: int) -> None:
    order = books.work_orders[e.data.work_order]
    books.alter(order, ended=e.data.reason, ended_day=moment.day, changed_position=position)


def _catalogue(books: Books, e: catalogue.CatalogueChanged, moment: Moment, position: int) -> None:
    entry = e.data.entry
    tag = str(entry.__struct_config__.tag)
    books.put(books.catalogue.entries, (tag, entry.code), (entry, position))


_WRITERS: dict[type, Callable[[Books, Any, Moment, int], None]] = {
    budwood.BudwoodSold: _sold,
    grafting.PushCounted: _push_counted,
    stock.StockCounted: _counted,
    stock.HoldPlaced: _hold,
    stock.HoldLifted: _lifted,
    stock.LabelLost: _label_lost,
    trees.ConsignmentSent: _sent,
    trees.ConsignmentReceived: _load_received,
    orders.GraftingOrdered: _ordered,
    orders.GraftingOrderChanged: _order_changed,
    orders.GraftingOrderEnded: _order_ended,
    selling.ReservationMade: _reserved,
    selling.ReservationChanged: _rechanged,
    selling.ReservationConfirmed: _confirmed,
    selling.ReservationExpired: _expired,
    selling.ReservationReleased: _released,
    selling.TreesSold: _sold,
    promises.PromiseOverridden: outgoing.override,
    promises.PromiseOverrideEnded: outgoing.end_override,
    catalogue.CatalogueChanged: _catalogue,
}

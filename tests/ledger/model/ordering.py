"""Work orders, and what counts toward them. The nursery of the model grafts one item only."""

from tests.ledger.model.books import Books
from tests.ledger.model.words import Order, Refused, Telling, tells


@tells("grafting.ordered")
def _ordered(books: Books, t: Telling) -> None:
    d = t.data
    books.place(t, d["place"])
    if d["work_order"] in books.orders:
        raise Refused("code_in_use")
    books.orders[d["work_order"]] = Order(t.site, d["count"], t.when.day, d.get("method"))


def _order(books: Books, t: Telling) -> Order:
    order = books.orders.get(t.data["work_order"])
    if order is None or order.site != t.site:
        raise Refused("unknown_code")
    return order


def _open(books: Books, t: Telling) -> Order:
    order = _order(books, t)
    if order.ended:
        raise Refused("not_open")
    return order


@tells("grafting.order_changed")
def _changed(books: Books, t: Telling) -> None:
    order = _open(books, t)
    order.wanted = sum(order.done.values()) + t.data["count"]


@tells("grafting.order_ended")
def _ended(books: Books, t: Telling) -> None:
    _open(books, t).ended = True


def count_toward(books: Books, t: Telling) -> None:
    """A grafting counts toward the order that it names, that what it replaces counted toward, or
    that alone is open and fits."""
    d = t.data
    order: Order | None
    if "work_order" in d:
        order = _order(books, t)
    else:
        order = _replaced(books, t) or _fitting(books, t)
    if order is not None:
        order.done[t.number] = d["count"]
        order.ever.add(t.number)


def _replaced(books: Books, t: Telling) -> Order | None:
    replaced = books.told.get(t.replaces or "")
    if replaced is None:
        return None
    toward = (order for order in books.orders.values() if replaced.number in order.ever)
    order = next(toward, None)
    return order if order is not None and order.site == t.site else None


def _fitting(books: Books, t: Telling) -> Order | None:
    fit = [
        order
        for order in books.orders.values()
        if order.site == t.site
        and not order.ended
        and order.wanted > sum(order.done.values())
        and order.since <= t.when.day
        and order.method in (None, t.data["method"])
    ]
    return fit[0] if len(fit) == 1 else None

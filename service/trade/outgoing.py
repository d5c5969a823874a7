"""What went out of each item, and what is said by hand of what may be promised of one."""

from service.trade.accounts import UNGRADED
from service.trade.books import Books
from service.trade.events.promises import PromiseOverridden, PromiseOverrideEnded
from service.trade.events.selling import TreesSold
from service.trade.making import day_of
from service.trade.supply import ItemOut, OutKey, Override, covers
from service.trade.words import Moment


def went_out(books: Books, of: OutKey) -> int:
    """How many of a set of stock were sold; only the difference of two such figures counts."""
    return sum(out.total for key, out in books.items_out.items() if covers(of, key))


def count_out(books: Books, e: TreesSold, sign: int) -> None:
    """Count what a sale took, or with sign -1 what its void brought back, by its items.

    A lot's item is what it is known to be at that moment, so that trees come back as what they are
    taken for then. Trees of unknown parts are of no item; a customer's own were never to be sold.
    """
    for line in e.data.lines:
        lot = books.lots[line.lot or ""]
        if not (lot.cultivar and lot.rootstock) or lot.grown_for:
            continue
        key = (lot.cultivar, lot.rootstock, line.size or "", line.grade or UNGRADED, e.site)
        out = books.items_out.get(key)
        if out is None:
            names = dict(zip(ItemOut.__struct_fields__, key, strict=False))
            out = ItemOut(**names, total=0)
            books.put(books.items_out, key, out)
        books.alter(out, total=out.total + sign * line.count)


def sold(books: Books, e: TreesSold, position: int) -> None:
    """Count a sale, unless it is of before the log began to."""
    if position > books.out_from:
        count_out(books, e, 1)


def override(books: Books, e: PromiseOverridden, moment: Moment, position: int) -> None:
    """Note what is said by hand, with what had gone out by then."""
    d = e.data
    until = day_of(books, e.site, d.until)
    assert until is not None
    made = Override(
        code=d.override or "",
        site=e.site,
        any_site=d.any_site,
        cultivar=d.cultivar,
        rootstock=d.rootstock,
        size=d.size,
        grade=d.grade or "",
        quantity=d.quantity,
        from_day=day_of(books, e.site, d.begins) or moment.day,
        until_day=until,
        reason=d.reason,
        went_out=0,
        position=position,
        changed_position=position,
    )
    made.went_out = went_out(books, made.of)
    books.put(books.overrides, made.code, made)


def end_override(books: Books, e: PromiseOverrideEnded, moment: Moment, position: int) -> None:
    """It counts no more."""
    ended = books.overrides[e.data.override]
    books.alter(ended, ended_day=moment.day, changed_position=position)

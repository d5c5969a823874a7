"""Load into the books what claims are decided by beside stock: supply, what went out, overrides."""

from collections.abc import Collection

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.books import Books
from service.trade.events import budwood, promises, selling, stock, trees
from service.trade.items import parse_item
from service.trade.promising import LEVELS, at_level, level_of
from service.trade.supply import ItemOut, Override, Supply
from service.trade.units import Incoming

SQL = load(__package__, "append.sql")


async def load_ahead(
    connection: Connection,
    books: Books,
    group: list[Incoming],
    decided: Collection[str],
    named: Collection[str],
) -> set[str]:
    """Supply and overrides for the cultivars `decided` on, overrides `named`, and what went out of
    all that the group sells, takes back or speaks of. A group of other things asks for nothing.

    Returns lots that open claims name and that are not in the books yet.
    """
    overridden = {
        one.event.data.cultivar
        for one in group
        if isinstance(one.event, promises.PromiseOverridden)
    }
    out = {*decided, *overridden, *_sold(books, group)}
    if out:
        for row in await connection.fetch(SQL.items_out, list(out)):
            books.items_out[tuple(row.values())[:5]] = ItemOut(**dict(row))
    if named or decided:
        for row in await connection.fetch(SQL.overrides, list(named), list(decided)):
            books.overrides[row["code"]] = Override(**dict(row))
    items = _asked(books, group) | {
        claimed[:2]
        for reservation in books.reservations.values()
        for claim in reservation.claims
        if claim.open and (claimed := parse_item(claim.item)).cultivar in decided
    }
    if not items:
        return set()
    level = level_of(books.confidence)
    cultivars, rootstocks = zip(*sorted(items), strict=True)
    for row in await connection.fetch(SQL.supply, list(cultivars), list(rootstocks), LEVELS):
        *names, first, quantities, went_out = row.values()
        told = list(at_level(quantities, level))
        books.supply[tuple(names)] = Supply(first.toordinal(), told, went_out)
    claims = (claim for one in books.reservations.values() for claim in one.claims)
    named_lots = {claim.lot for claim in claims if claim.lot and claim.open}
    return named_lots - set(books.lots)


def _sold(books: Books, group: list[Incoming]) -> set[str]:
    """The cultivars of all trees that the group may sell, if it sells or voids a sale at all."""
    sales = [one.event for one in group] + [one.event for one in books.recorded.values()]
    if not any(isinstance(one, selling.TreesSold) for one in sales):
        return set()
    found = {lot.cultivar for lot in books.lots.values() if lot.cultivar}
    for one in group:
        event = one.event
        if isinstance(event, budwood.BudwoodCut | budwood.BudwoodReceived | trees.TreesReceived):
            found.add(event.data.cultivar)
        elif isinstance(event, stock.StockOpened):
            opened = (getattr(line, "cultivar", None) for line in event.data.lines)
            found |= {cultivar for cultivar in opened if cultivar}
    return found


def _asked(books: Books, group: list[Incoming]) -> set[tuple[str, str]]:
    """Cultivar and rootstock of what the group's own reservations ask for."""
    found = set()
    for one in group:
        event = one.event
        if isinstance(event, selling.ReservationMade | selling.ReservationChanged):
            for line in event.data.lines or ():
                lot = books.lots.get(line.lot or "")
                named = (lot.cultivar, lot.rootstock) if lot else (line.cultivar, line.rootstock)
                if named[0] and named[1]:
                    found.add((named[0], named[1]))
    return found


def claims_buds(books: Books, group: list[Incoming]) -> bool:
    """Whether the group asks for buds, or speaks anew of a reservation that does."""
    for one in group:
        event = one.event
        if isinstance(event, selling.ReservationMade | selling.ReservationChanged):
            for line in event.data.lines or ():
                lot = books.lots.get(line.lot or "")
                if line.buds or (lot is not None and lot.kind == "budwood"):
                    return True
        if isinstance(event, selling.ReservationChanged | selling.ReservationConfirmed):
            claimed = books.reservations.get(event.data.reservation)
            if claimed and any(parse_item(claim.item).buds for claim in claimed.claims):
                return True
    return False


def wood_told_of(group: list[Incoming]) -> set[str | None]:
    """The cultivars of budwood that comes with the group's own events."""
    found: set[str | None] = set()
    for incoming in group:
        event = incoming.event
        if isinstance(event, budwood.BudwoodCut | budwood.BudwoodReceived):
            found.add(event.data.cultivar)
        elif isinstance(event, stock.StockOpened):
            lines = event.data.lines
            found |= {one.cultivar for one in lines if isinstance(one, stock.OpenedBudwood)}
    return found

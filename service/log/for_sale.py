"""Load into the books what a sale by item may be given: lots, and since when each is ready."""

from collections import defaultdict
from datetime import date

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.allocating import ready_since
from service.trade.books import Books
from service.trade.events.budwood import BudwoodSold
from service.trade.events.selling import SoldLine, TreesSold
from service.trade.units import Incoming

SQL = load(__package__, "append.sql")
Wanted = set[tuple[str, str, str]]


def sold_by_item(group: list[Incoming]) -> tuple[Wanted, date | None]:
    """Cultivar, rootstock (empty: buds) and site of all that the group sells by item, and its
    earliest day."""
    wanted: Wanted = set()
    first: date | None = None
    for one in group:
        if not isinstance(one.event, TreesSold | BudwoodSold):
            continue
        for line in one.event.data.lines:
            # Of buds there is no rootstock.
            rootstock = line.rootstock if isinstance(line, SoldLine) else ""
            if line.cultivar and rootstock is not None:
                wanted.add((line.cultivar, rootstock, one.event.site))
                first = one.moment.day if first is None else min(first, one.moment.day)
    return wanted, first


async def candidates(connection: Connection, wanted: Wanted) -> set[int]:
    """Ids of lots that have ready trees of the items, or buds in bags, at the sites."""
    columns = [list(column) for column in zip(*sorted(wanted), strict=True)]
    return {row["lot_id"] for row in await connection.fetch(SQL.sale_lots, *columns)}


async def load_ready_since(connection: Connection, books: Books, wanted: Wanted) -> None:
    """Since when the trees of each lot of the items are ready, into the books."""
    items = {(cultivar, rootstock) for cultivar, rootstock, _ in wanted}
    lots = {
        lot.lot_id: lot.code
        for lot in books.lots.values()
        if lot.kind == "tree" and (lot.cultivar, lot.rootstock) in items
    }
    nets: dict[str, list[tuple[date, int]]] = defaultdict(list)
    for lot_id, day, net in await connection.fetch(SQL.ready_nets, list(lots)):
        nets[lots[lot_id]].append((day, net))
    for code, of_lot in nets.items():
        since = ready_since(of_lot)
        if since is not None:
            books.ready_since[code] = since

"""What is promised already and not there any more: remarked, never a reason to refuse a fact."""

from service.trade.bench import Bench
from service.trade.covering import Covering, Stock
from service.trade.crossing import Cross
from service.trade.drawn import Part
from service.trade.items import Item
from service.trade.promising import FOR_EVER, due_by, sure, tightest


def shortfalls(bench: Bench, touched: set[tuple[Item, str]], site: str) -> None:
    """Remark every item, or lot, touched at the site of which more is promised than is left."""
    stock = Covering(bench)
    said: set[Item] = set()
    for item, lot in sorted(touched):
        sets: list[Stock] = [(item, at, None) for at in (site, None)]
        sets += stock.crossing(item, [Part(item.grade, site)])
        if item not in said and any(_shortfall(bench, stock, one) for one in sets):
            said.add(item)
        _shortfall(bench, stock, (item, None, lot))


def _shortfall(bench: Bench, stock: Covering, of: Stock) -> bool:
    due = stock.due(of)
    if not due:
        return False
    item, site, lot = (of.item, None, None) if isinstance(of, Cross) else of
    ahead = stock.foretold(of)
    # What is promised for later may still be growing.
    taken, there = due_by(due, stock.today if ahead else FOR_EVER), stock.ready(of)
    what = f"lot {lot}" if lot else f"{item.words} at {site}" if site else item.words
    named: dict[str, object] = {"item": item.text, "site": site, "lot": lot}
    if isinstance(of, Cross):
        what += of.words
        named |= {"sites": list(of.sites), "grades": list(of.grades)}
    if taken > there:
        bench.remark(
            "shortfall",
            f"{taken} of {what} are promised, {there} are ready and not held.",
            **named,
            promised=taken,
            ready=there,
        )
        return True
    if not ahead:
        return False
    tight = tightest(stock.steps(of, stock.today), due, stock.today)
    if tight.left >= 0:
        return False
    bench.remark(
        "shortfall",
        f"{tight.promised} of {what} are promised; {max(tight.there, 0)} can be counted on "
        f"({sure(stock.books.confidence)} sure).",
        **named,
        promised=tight.promised,
        foreseen=max(tight.there, 0),
    )
    return True

"""Whether what is sold may go where it goes, by the rules that the nursery wrote down."""

from collections.abc import Iterable

from service.trade.bench import Bench
from service.trade.destinations import said_of, sending
from service.trade.events.budwood import BudwoodSoldData, SoldBuds
from service.trade.events.selling import SoldLine, TreesSoldData


def may_be_sent(
    bench: Bench, d: TreesSoldData | BudwoodSoldData, lines: Iterable[SoldLine | SoldBuds]
) -> None:
    """Break the rule that says no; remark where none says yes. No advice: the source decides.

    A sale that names no destination goes where its reservation was to go.
    """
    reservation = bench.books.reservations.get(d.reservation or "")
    destination = d.destination or (reservation.destination if reservation else None)
    if not destination:
        return
    buds = isinstance(d, BudwoodSoldData)
    lots = [bench.books.lots[line.lot or ""] for line in lines]
    items = dict.fromkeys((lot.cultivar, lot.rootstock) for lot in lots)
    for cultivar, rootstock in items:
        told = sending(
            bench.books.catalogue,
            bench.day,
            destination,
            site=bench.here,
            cultivar=cultivar,
            rootstock=rootstock,
            buds=buds,
        )
        numbers = {
            "destination": list(destination),
            "cultivar": cultivar,
            "rootstock": rootstock,
            "rule_code": told.rule,
            "title": told.title,
            "source": told.source,
            "as_of": str(told.as_of) if told.as_of else None,
        }
        what = f"buds of {cultivar}" if buds else f"{cultivar} on {rootstock}"
        words = said_of(what, destination, told)
        if told.answer == "not_allowed":
            bench.break_rule("may_not_be_sent", words, "#/data/destination", **numbers)
        elif told.answer == "ask_authority":
            bench.remark("ask_authority", words, **numbers)

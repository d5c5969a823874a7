"""From a completed event to its legs: what moves, in plants or buds, plus and minus.

Pure: a completed event says everything, so replay needs nothing else. Per commodity the legs of
an event sum to zero. Events without legs are facts.
"""

from collections.abc import Callable, Sequence
from typing import Any

from service.trade import accounts as acc
from service.trade.accounts import BUDS, PLANTS, Key, Leg
from service.trade.events import budwood, grafting, liners, selling, stock, trees
from service.trade.events.budwood import BagFill, BudLine, SoldBuds
from service.trade.events.envelope import Envelope


def move(lot: str, minus: Key, plus: Key, count: int) -> list[Leg]:
    """So many from one account to another of the same lot."""
    return [Leg(lot, minus, -count), Leg(lot, plus, count)] if count else []


def legs_of(event: Envelope) -> list[Leg]:
    """All legs of a completed event, zero ones left out."""
    maker = _MAKERS.get(type(event))
    return maker(event.site, event.data) if maker else []  # type: ignore[attr-defined]


def _filled(site: str, lot: str, bags: list[BagFill], source: str) -> list[Leg]:
    legs: list[Leg] = []
    for fill in bags:
        legs += move(
            lot,
            acc.source(site, source, BUDS),
            acc.bag(site, fill.place, fill.bag or ""),
            fill.buds,
        )
    return legs


def _bud_lines(site: str, lines: Sequence[BudLine | SoldBuds], kind: str, ref: str) -> list[Leg]:
    legs: list[Leg] = []
    for line in lines:
        legs += move(
            line.lot or "",
            acc.bag(site, line.place or "", line.bag or ""),
            acc.gone(kind, site, ref, BUDS),
            line.buds or 0,
        )
    return legs


def _cut(site: str, d: budwood.BudwoodCutData) -> list[Leg]:
    return _filled(site, d.lot or "", d.bags, d.source_tree or d.tree_lot or "")


def _budwood_received(site: str, d: budwood.BudwoodReceivedData) -> list[Leg]:
    return _filled(site, d.lot or "", d.bags, d.supplier)


def _budwood_discarded(site: str, d: budwood.BudwoodDiscardedData) -> list[Leg]:
    return _bud_lines(site, d.lines, "discarded", d.cause)


def _budwood_sold(site: str, d: budwood.BudwoodSoldData) -> list[Leg]:
    return _bud_lines(site, d.lines, "customer", d.customer)


def _budwood_moved(site: str, d: budwood.BudwoodMovedData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        start = acc.bag(site, line.place or "", line.bag)
        legs += move(line.lot or "", start, start._replace(place=d.to), line.buds or 0)
    return legs


def _prepared(site: str, d: budwood.ScionsPreparedData) -> list[Leg]:
    lot = d.lot or ""
    start = acc.bag(site, d.place or "", d.bag)
    pieces = acc.bag(site, d.to or "", d.into or "")
    return move(lot, start, pieces, d.pieces * (d.buds_per_piece or 1)) + move(
        lot, start, acc.gone("discarded", site, "cutting_waste", BUDS), d.waste
    )


def _liners_received(site: str, d: liners.LinersReceivedData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        legs += move(
            d.lot or "",
            acc.source(site, d.supplier or d.origin, PLANTS),
            acc.liners(site, line.place, d.size),
            line.count,
        )
    return legs


def _liners_discarded(site: str, d: liners.LinersDiscardedData) -> list[Leg]:
    start = acc.liners(site, d.place or "", d.size or "")
    return move(d.lot, start, acc.gone("lost", site, d.cause, PLANTS), d.count)


def _liners_moved(site: str, d: liners.LinersMovedData) -> list[Leg]:
    start = acc.liners(site, d.place or "", d.size or "")
    return move(d.lot, start, start._replace(place=d.to), d.count or 0)


def _liners_potted(site: str, d: liners.LinersPottedData) -> list[Leg]:
    start = acc.liners(site, d.place or "", d.size or "")
    end = start._replace(place=d.to or start.place, size=d.to_size)
    return move(d.lot, start, end, d.count or 0)


def _trees_received(site: str, d: trees.TreesReceivedData) -> list[Leg]:
    end = acc.trees(site, d.place, d.stage, d.size, d.grade)
    return move(d.lot or "", acc.source(site, d.supplier, PLANTS), end, d.count)


def _grafted(site: str, d: grafting.TreesGraftedData) -> list[Leg]:
    onto, lot, count = d.onto, d.lot or "", d.count or 0
    size = onto.size or ""
    if onto.liner_lot:
        stock_lot, start = onto.liner_lot, acc.liners(site, onto.place or "", size)
    else:
        stock_lot = onto.tree_lot or ""
        start = acc.trees(site, onto.place or "", onto.stage or "", size)
    return [
        Leg(stock_lot, start, -count),
        Leg(lot, acc.trees(site, d.place, "grafted", size), count),
        *_bud_lines(site, d.from_, "used", ""),
    ]


def _regrafted(site: str, d: grafting.TreesRegraftedData) -> list[Leg]:
    lot, count, size = d.lot or "", d.count or 0, d.size or ""
    return [
        Leg(d.of, acc.trees(site, d.of_place or "", d.stage, size), -count),
        Leg(lot, acc.trees(site, d.place, "grafted", size), count),
        *_bud_lines(site, d.from_, "used", ""),
    ]


def _unwrapped(site: str, d: grafting.GraftsUnwrappedData) -> list[Leg]:
    start = acc.trees(site, d.place or "", "grafted", d.size or "")
    return move(d.lot, start, start._replace(stage="failed"), d.failed)


def _push_counted(site: str, d: grafting.PushCountedData) -> list[Leg]:
    book = d.book or grafting.BookedStanding(grafted=0, pushed=0, failed=0)
    start = acc.trees(site, d.place or "", "grafted", d.size or "")
    changes = [
        Leg(d.lot, start, (d.waiting or 0) + (d.unclear or 0) - book.grafted),
        Leg(d.lot, start._replace(stage="pushed"), (d.pushed or 0) - book.pushed),
        Leg(d.lot, start._replace(stage="failed"), (d.failed or 0) - book.failed),
        *(Leg(d.lot, acc.gone("lost", site, r.cause, PLANTS), r.count) for r in d.removed),
    ]
    rest = -sum(leg.delta for leg in changes)
    changes.append(Leg(d.lot, acc.variance(site, PLANTS), rest))
    return [leg for leg in changes if leg.delta]


def _trees_lost(site: str, d: trees.TreesLostData) -> list[Leg]:
    start = acc.trees(site, d.place or "", d.stage or "", d.size or "", d.grade)
    return move(d.lot, start, acc.gone("lost", site, d.cause, PLANTS), d.count)


def _trees_moved(site: str, d: trees.TreesMovedData) -> list[Leg]:
    start = acc.trees(site, d.place or "", d.stage or "", d.size or "", d.grade)
    return move(d.lot, start, start._replace(place=d.to), d.count or 0)


def _trees_potted(site: str, d: trees.TreesPottedData) -> list[Leg]:
    start = acc.trees(site, d.place or "", d.stage or "", d.size or "", d.grade)
    end = start._replace(place=d.to or start.place, size=d.to_size)
    return move(d.lot, start, end, d.count or 0)


def _graded(site: str, d: trees.TreesGradedData) -> list[Leg]:
    start = acc.trees(site, d.place or "", d.stage or "", d.size or "", d.grade)
    legs: list[Leg] = []
    for outcome in d.outcomes:
        end = start._replace(stage=outcome.stage, grade=acc.grade_of(outcome.grade))
        if end != start:
            legs += move(d.lot, start, end, outcome.count)
    return legs


def standing_key(site: str, line: Any) -> Key:
    """The account a line speaks of: buds of a bag, trees of a stage, or else liners."""
    place = line.place or ""
    if line.bag:
        return acc.bag(site, place, line.bag)
    if line.stage:
        return acc.trees(site, place, line.stage, line.size or "", line.grade)
    return acc.liners(site, place, line.size or "")


def _sent(site: str, d: trees.ConsignmentSentData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        start = standing_key(site, line)
        travelling = acc.in_transit(start, d.consignment or "", d.to_site)
        legs += move(line.lot or "", start, travelling, line.count or 0)
    return legs


def _consignment_received(site: str, d: trees.ConsignmentReceivedData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        lot, end = line.lot or "", standing_key(site, line)
        travelling = acc.in_transit(end, d.consignment, site)
        sent = line.sent or 0
        lost = acc.gone("lost", site, "dead_on_arrival", end.commodity)
        changes = [
            Leg(lot, travelling, -sent),
            Leg(lot, end, line.count),
            Leg(lot, lost, line.dead),
            # short when positive, surplus when negative
            Leg(lot, acc.variance(site, end.commodity), sent - line.count - line.dead),
        ]
        legs += [leg for leg in changes if leg.delta]
    return legs


def _sold(site: str, d: selling.TreesSoldData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        start = acc.trees(site, line.place or "", line.stage or "", line.size or "", line.grade)
        sold_to = acc.gone("customer", site, d.customer, PLANTS)
        legs += move(line.lot or "", start, sold_to, line.count)
    return legs


def _returned(site: str, d: selling.TreesReturnedData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        end = acc.trees(site, line.place or "", line.stage, line.size or "", line.grade)
        legs += move(line.lot, acc.gone("customer", site, d.customer, PLANTS), end, line.count)
    return legs


def _opened(site: str, d: stock.StockOpenedData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        if isinstance(line, stock.OpenedBudwood):
            legs += _filled(site, line.lot, line.bags, "opening")
            continue
        end = (
            acc.liners(site, line.place, line.size)
            if isinstance(line, stock.OpenedLiners)
            else acc.trees(site, line.place, line.stage, line.size, line.grade)
        )
        legs += move(line.lot, acc.source(site, "opening", PLANTS), end, line.count)
    return legs


def _counted(site: str, d: stock.StockCountedData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        key = standing_key(site, line)
        difference = line.counted - (line.book or 0)
        legs += move(line.lot or "", acc.variance(site, key.commodity), key, difference)
    return legs


def _label_lost(site: str, d: stock.LabelLostData) -> list[Leg]:
    legs: list[Leg] = []
    for line in d.lines:
        key = acc.trees(site, line.place or "", line.stage or "", line.size or "", line.grade)
        legs += [Leg(line.lot, key, -line.count), Leg(d.lot or "", key, line.count)]
    return legs


_MAKERS: dict[type, Callable[[str, Any], list[Leg]]] = {
    budwood.BudwoodCut: _cut,
    budwood.BudwoodReceived: _budwood_received,
    budwood.BudwoodDiscarded: _budwood_discarded,
    budwood.BudwoodMoved: _budwood_moved,
    budwood.BudwoodSold: _budwood_sold,
    budwood.ScionsPrepared: _prepared,
    liners.LinersReceived: _liners_received,
    liners.LinersDiscarded: _liners_discarded,
    liners.LinersMoved: _liners_moved,
    liners.LinersPotted: _liners_potted,
    trees.TreesReceived: _trees_received,
    grafting.TreesGrafted: _grafted,
    grafting.TreesRegrafted: _regrafted,
    grafting.GraftsUnwrapped: _unwrapped,
    grafting.PushCounted: _push_counted,
    trees.TreesLost: _trees_lost,
    trees.TreesMoved: _trees_moved,
    trees.TreesPotted: _trees_potted,
    trees.TreesGraded: _graded,
    trees.ConsignmentSent: _sent,
    trees.ConsignmentReceived: _consignment_received,
    selling.TreesSold: _sold,
    selling.TreesReturned: _returned,
    stock.StockOpened: _opened,
    stock.StockCounted: _counted,
    stock.LabelLost: _label_lost,
}


def moves_anything(event_type: type[Envelope]) -> bool:
    """Whether events of the type have legs at all."""
    return event_type in _MAKERS

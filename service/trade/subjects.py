"""What a completed event speaks of: the subjects of its histories, and the sites it touches."""

from typing import Any

from service.trade.books import Books
from service.trade.events import (
    budwood,
    catalogue,
    facts,
    grafting,
    liners,
    orders,
    promises,
    selling,
    stock,
    trees,
)
from service.trade.events.envelope import Envelope

Subject = tuple[str, str]

# Fields that name a subject wherever they stand in an event's data.
_FIELDS: dict[str, str] = {
    "lot": "lot",
    "of": "lot",
    "liner_lot": "lot",
    "tree_lot": "lot",
    "bag": "bag",
    "into": "bag",
    "place": "place",
    "of_place": "place",
    "to": "place",
    "source_tree": "source_tree",
    "hold": "hold",
    "reservation": "reservation",
    "consignment": "consignment",
    "work_order": "work_order",
    "override": "override",
}
_NESTED = ("lines", "bags", "from_", "onto")


def subjects_of(event: Envelope, books: Books) -> set[Subject]:
    """All (kind, code) that the event speaks of; a void speaks of what it voids."""
    if isinstance(event, stock.EventVoided):
        recorded = books.recorded.get(event.data.event)
        return subjects_of(recorded.event, books) if recorded and recorded.event else set()
    found: set[Subject] = set()
    _collect(event.data, found)  # type: ignore[attr-defined]
    if isinstance(event, stock.HoldPlaced):
        found.add((event.data.target, event.data.code))
    elif isinstance(event, stock.HoldLifted):
        hold = books.holds[event.data.hold]
        found.add((hold.target, hold.target_code))
    elif isinstance(event, facts.TreatmentApplied):
        found.update(("place", place) for place in event.data.places)
    elif isinstance(event, facts.ToolsDisinfected):
        if event.data.before:
            kind = "lot" if event.data.before in books.lots else "source_tree"
            found.add((kind, event.data.before))
    elif isinstance(event, catalogue.CatalogueChanged):
        entry = event.data.entry
        found.add((str(entry.__struct_config__.tag), entry.code))
    return found


def mentioned(event: Envelope) -> set[Subject]:
    """All (kind, code) that an event names, complete or not: what must be loaded to judge it."""
    found: set[Subject] = set()
    _collect(event.data, found)  # type: ignore[attr-defined]
    if isinstance(event, stock.HoldPlaced):
        found.add((event.data.target, event.data.code))
    elif isinstance(event, facts.ToolsDisinfected) and event.data.before:
        found.add(("lot", event.data.before))
    return found


def _collect(data: Any, found: set[Subject]) -> None:
    for name in data.__struct_fields__:
        kind = _FIELDS.get(name)
        if kind is not None:
            code = getattr(data, name)
            if code is not None:
                found.add((kind, code))
        elif name in _NESTED:
            inner = getattr(data, name)
            for part in inner if isinstance(inner, list) else (inner,):
                if part is not None:
                    _collect(part, found)


# What an event may bring into being, by the field that holds its code.
_MAKES: dict[type, dict[str, str]] = {
    budwood.BudwoodCut: {"lot": "lot"},
    budwood.BudwoodReceived: {"lot": "lot"},
    budwood.ScionsPrepared: {"into": "bag"},
    liners.LinersReceived: {"lot": "lot"},
    trees.TreesReceived: {"lot": "lot"},
    trees.ConsignmentSent: {"consignment": "consignment"},
    grafting.TreesGrafted: {"lot": "lot"},
    grafting.TreesRegrafted: {"lot": "lot"},
    orders.GraftingOrdered: {"work_order": "work_order"},
    selling.ReservationMade: {"reservation": "reservation"},
    promises.PromiseOverridden: {"override": "override"},
    stock.LabelLost: {"lot": "lot", "hold": "hold"},
    stock.HoldPlaced: {"hold": "hold"},
}


def made_by(event: Envelope) -> dict[str, list[str]]:
    """Codes of what a completed event made, chosen or minted, by kind."""
    data: Any = event.data  # type: ignore[attr-defined]
    made = {kind: [getattr(data, field)] for field, kind in _MAKES.get(type(event), {}).items()}
    if isinstance(event, stock.StockOpened):
        made["lot"] = sorted({line.lot for line in data.lines})
    lines = data.lines if isinstance(event, stock.StockOpened) else [data]
    bags = [fill.bag for line in lines for fill in getattr(line, "bags", ())]
    return made | {"bag": bags} if bags else made


def sites_of(event: Envelope, books: Books) -> list[str]:
    """The sites the event touches: who may see it."""
    sites = {event.site}
    if isinstance(event, trees.ConsignmentSent):
        sites.add(event.data.to_site)
    elif isinstance(event, trees.ConsignmentReceived):
        sites.add(books.consignments[event.data.consignment].from_site)
    elif isinstance(event, stock.EventVoided):
        recorded = books.recorded.get(event.data.event)
        if recorded and recorded.event:
            sites.update(sites_of(recorded.event, books))
    return sorted(sites)

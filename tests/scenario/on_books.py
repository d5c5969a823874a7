"""The scenario told to the trade's rules alone: no database, no HTTP."""

from typing import Any, NamedTuple

import msgspec

from seed_scenario.telling import Request
from service.log.incoming import parts_of, understand, units_of, zones_told
from service.log.rights import Principal
from service.log.submission import Element, Submission
from service.trade.books import Books
from service.trade.events import Event
from service.trade.events.selling import TreesSold
from service.trade.events.stock import HoldPlaced
from service.trade.units import Accepted, UnitRefused, take_in

_ANYBODY = Principal(name="scenario", scopes=frozenset(), sites=frozenset({"*"}))


class Outcome(NamedTuple):
    """What became of a request: kinds of faults and of remarks by index, and what got in."""

    refused: dict[int, list[str]]
    remarked: dict[int, list[str]]
    accepted: list[Accepted]
    details: list[str]


def tell(books: Books, request: Request) -> Outcome:
    """Judge a request as the writer does, on books that hold everything."""
    elements = [Element(b"", msgspec.convert(event, Event)) for event in request.events]
    submission = Submission(principal=_ANYBODY, elements=elements, mode=request.mode, array=True)
    books.now = request.recorded_at
    parts = parts_of(submission)
    refused: dict[int, list[str]] = {}
    remarked: dict[int, list[str]] = {}
    details: list[str] = []
    accepted: list[Accepted] = []

    def fault(index: int, faults: Any) -> None:
        refused.setdefault(index, []).extend(one.kind for one in faults)
        details.extend(f"{index}: {one.detail} {one.numbers}" for one in faults)

    told = zones_told(parts)
    for part in parts:
        understand(part, books.catalogue, request.recorded_at, told)
        if part.faults:
            fault(part.index, part.faults)
    if refused and request.mode == "all":
        return Outcome(refused, remarked, accepted, details)
    for element in elements:
        if isinstance(element.event, HoldPlaced):
            _sold_since(books, element.event)
    for unit in units_of(submission, parts):
        try:
            taken = take_in(books, [part.incoming for part in unit if part.incoming])
        except UnitRefused as error:
            for index, faults in error.faults.items():
                fault(index, faults)
            continue
        accepted += taken
        for one in taken:
            remarked[one.index] = [remark.kind for remark in one.remarks]
    books.journal.clear()
    return Outcome(refused, remarked, accepted, details)


def _sold_since(books: Books, hold: HoldPlaced) -> None:
    """What the writer looks up in the log for a hold on a lot."""
    code = hold.data.code
    books.sold_since[f"lot:{code}"] = [
        {"day": str(one.day), "count": line.count, "customer": one.event.data.customer}
        for one in books.recorded.values()
        if isinstance(one.event, TreesSold)
        for line in one.event.data.lines
        if line.lot == code
    ]

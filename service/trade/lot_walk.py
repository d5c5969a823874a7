"""How the trees of one lot went, event by event: from which account to which.

Told from the events alone, in order of occurrence; so late events come out as if told in time. A
count says what stood there: its differences are against what the walk has so far, not against
what the books had when it was recorded.
"""

from datetime import date
from typing import NamedTuple

from msgspec.structs import replace

from service.trade import accounts as acc
from service.trade.accounts import Key
from service.trade.events.envelope import Envelope
from service.trade.events.grafting import (
    BookedStanding,
    PushCounted,
    TreesGrafted,
    TreesRegrafted,
)
from service.trade.events.stock import LabelLost, StockCounted
from service.trade.legs import legs_of, standing_key

# The stages of trees whose scion is not known to be dead.
LIVE = ("grafted", "pushed", "ready")
# The events that make or move trees of a lot, or read their take.
TYPES = (
    "trees.grafted",
    "trees.regrafted",
    "grafts.unwrapped",
    "push.counted",
    "trees.received",
    "trees.lost",
    "trees.moved",
    "trees.potted",
    "trees.graded",
    "consignment.sent",
    "consignment.received",
    "trees.sold",
    "trees.returned",
    "stock.opened",
    "stock.counted",
    "label.lost",
)


class Told(NamedTuple):
    """An event and the calendar day, at its site, on which it occurred."""

    event: Envelope
    day: date


class Flow(NamedTuple):
    """So many trees from one account to another; None is another lot."""

    start: Key | None
    end: Key | None
    trees: int


def stands(key: Key | None) -> bool:
    """Whether trees on the account are in the nursery or on the way to one of its sites."""
    return key is not None and key.kind in ("trees", "transit")


class Walk:
    """The trees of a lot as they stand after the events so far, by account."""

    def __init__(self, lot: str) -> None:
        self.lot = lot
        self.standing: dict[Key, int] = {}

    def flows(self, event: Envelope) -> list[Flow]:
        """What an event does to the trees of the lot; nothing is moved yet."""
        legs = [leg for leg in legs_of(self._seen_from_here(event)) if leg.lot == self.lot]
        away = [(leg.key, -leg.delta) for leg in legs if leg.delta < 0]
        to = [(leg.key, leg.delta) for leg in legs if leg.delta > 0]
        return _paired(away, to)

    def move(self, flow: Flow) -> None:
        """Have the trees of a flow stand where it ends."""
        for key, change in ((flow.start, -flow.trees), (flow.end, flow.trees)):
            if key is not None and stands(key):
                self.standing[key] = self.standing.get(key, 0) + change

    def _seen_from_here(self, event: Envelope) -> Envelope:
        """A count with what the walk has as the book; other events as they are."""
        if isinstance(event, PushCounted):
            d = event.data
            book = {
                stage: max(self._at(acc.trees(event.site, d.place or "", stage, d.size or "")), 0)
                for stage in ("grafted", "pushed", "failed")
            }
            return replace(event, data=replace(d, book=BookedStanding(**book)))
        if isinstance(event, StockCounted):
            lines = [
                replace(line, book=max(self._at(standing_key(event.site, line)), 0))
                for line in event.data.lines
                if line.lot == self.lot
            ]
            return replace(event, data=replace(event.data, lines=lines))
        return event

    def _at(self, key: Key) -> int:
        return self.standing.get(key, 0)


def _paired(away: list[tuple[Key, int]], to: list[tuple[Key, int]]) -> list[Flow]:
    """Accounts that lose and accounts that gain, in their order, as flows between them."""
    flows = []
    away, to = away[::-1], to[::-1]
    while away or to:
        start, leaving = away.pop() if away else (None, to[-1][1])
        end, coming = to.pop() if to else (None, leaving)
        count = min(leaving, coming)
        flows.append(Flow(start, end, count))
        if leaving > count and start is not None:
            away.append((start, leaving - count))
        if coming > count and end is not None:
            to.append((end, coming - count))
    return flows


def reason_of(event: Envelope, key: Key | None) -> str:
    """Why trees are gone that went to an account where nothing stands, or to another lot.

    The cause of a loss, or sold, not_found (by a count), regrafted, grafted_onto, label_lost.
    """
    if key is not None:
        return {"lost": key.ref, "customer": "sold"}.get(key.kind, "not_found")
    if isinstance(event, LabelLost):
        return "label_lost"
    return "grafted_onto" if isinstance(event, TreesGrafted) else "regrafted"


def made_here(event: Envelope, lot: str) -> bool:
    """Whether the event is a grafting of this lot."""
    return isinstance(event, TreesGrafted | TreesRegrafted) and event.data.lot == lot

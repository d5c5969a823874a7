"""Voiding: what an event said beside its legs is undone, unless others stand on it."""

from typing import Any

from service.trade.books import Books, Recorded
from service.trade.events import budwood, selling, stock, trees
from service.trade.events.envelope import Envelope
from service.trade.making import unmake
from service.trade.orders import take_back
from service.trade.outgoing import count_out
from service.trade.recording import draw_claims
from service.trade.verdicts import Fault


def undo_facts(books: Books, voided: Envelope, position: int, by: int) -> None:
    """What the voided event at `position` said beside its legs is said no more."""
    unmake(books, position, by)
    take_back(books, position, by)
    for bag in list(books.bags.values()):
        if bag.position == position and not bag.voided:
            books.alter(bag, voided=True)
    for account in list(books.account_by_id.values()):
        if any(anchor.position == position for anchor in account.anchors):
            books.set_anchors(account, [a for a in account.anchors if a.position != position])
    if isinstance(voided, trees.ConsignmentSent):
        books.alter(books.consignments[voided.data.consignment or ""], voided=True)
    elif isinstance(voided, trees.ConsignmentReceived):
        load = books.consignments[voided.data.consignment]
        books.alter(load, received_day=None, received_position=None)
    elif isinstance(voided, stock.LabelLost):
        hold = books.holds[voided.data.hold or ""]
        books.alter(hold, lifted_day=hold.from_day, lifted_position=by)
    elif isinstance(voided, selling.TreesSold | budwood.BudwoodSold):
        draw_claims(books, voided.data.reservation, voided.data.fulfils, -1, by)
        if isinstance(voided, selling.TreesSold):
            count_out(books, voided, -1)


def _gone(thing: Any, recorded: Recorded) -> bool:
    return bool(thing.voided and thing.position == recorded.position)


def others_on(books: Books, event: stock.EventVoided) -> Fault | None:
    """A fault when later events stand on what the voided one made and nothing made it anew."""
    recorded = books.recorded[event.data.event]
    made = [f"lot:{x.code}" for x in books.lots.values() if _gone(x, recorded)]
    made += [f"bag:{x.code}" for x in books.bags.values() if _gone(x, recorded)]
    if isinstance(recorded.event, trees.ConsignmentSent):
        load = books.consignments[recorded.event.data.consignment or ""]
        if load.voided:
            made.append(f"consignment:{load.code}")
    standing: dict[int, str] = {}
    for token in made:
        standing |= books.spoken.get(token, {})
    standing.pop(recorded.position, None)
    voided = {r.position for r in books.recorded.values() if r.voided_by is not None}
    left = {p: i for p, i in sorted(standing.items()) if p not in voided}
    if not left:
        return None
    return Fault(
        kind="others_stand_on_it",
        detail=f"{len(left)} later events speak of what it made; void them too, or send a "
        "replacement that makes the same again.",
        pointer="#/data/event",
        numbers={"events": list(left.values())[:50], "of": sorted(made)[:20]},
    )

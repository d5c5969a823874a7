"""What a request becomes: units, judged over a copy of the books, and voids."""

import copy
from dataclasses import dataclass
from typing import Any

from tests.ledger.model.books import Books
from tests.ledger.model.words import TELL, Refused, Telling, Told, Verdict, When, tells, when

NEVER_VOIDED = (
    "event.voided",
    "catalogue.changed",
    "reservation.made",
    "reservation.changed",
    "reservation.confirmed",
    "reservation.expired",
    "reservation.released",
    "promise.overridden",
    "promise.override_ended",
    "alert.acknowledged",
    "alert.remind_on",
    "hold.placed",
    "hold.lifted",
    "grafting.ordered",
    "grafting.order_changed",
    "grafting.order_ended",
)
BRINGS_IN = (
    "catalogue.changed",
    "stock.opened",
    "budwood.cut",
    "budwood.received",
    "liners.received",
    "trees.received",
    "consignment.received",
)


@dataclass
class Ledger(Books):
    """Slow, small, and written apart from the service's own rules.

    To decide a unit it is laid over a copy; then every end-of-day balance of every account is
    computed anew over the whole history, and one bounded account below zero on one day refuses
    the unit. Known events are those of `TELL`; an event must name place, stage, size and grade
    wherever it could.
    """

    def all_or_nothing(self, events: list[dict[str, Any]]) -> list[Verdict]:
        """`mode=all`: the new events of a request are one unit."""
        verdicts = {i: v for i, e in enumerate(events) if (v := self._seen(e))}
        if any(v.word == "refused" for v in verdicts.values()):
            return [verdicts.get(i, Verdict("refused")) for i in range(len(events))]
        new = [i for i in range(len(events)) if i not in verdicts]
        if new:
            outcome = self._try([(i, events[i]) for i in new])
            if outcome.word == "refused":
                return [verdicts.get(i, outcome) for i in range(len(events))]
            verdicts |= dict.fromkeys(new, outcome)
        return [verdicts[i] for i in range(len(events))]

    def each_alone(self, events: list[dict[str, Any]]) -> list[Verdict]:
        """`mode=each`: units in order of occurrence; a void and what replaces it are one."""
        verdicts = {i: v for i, e in enumerate(events) if (v := self._seen(e))}
        units: list[list[int]] = []
        of: dict[str, list[int]] = {}
        rest = [i for i in range(len(events)) if i not in verdicts]
        for i in rest:
            if events[i]["type"] == "event.voided":
                target = events[i]["data"]["event"]
                if target not in of:
                    of[target] = []
                    units.append(of[target])
                of[target].append(i)
        for i in rest:
            if events[i]["type"] == "event.voided":
                continue
            if events[i].get("replaces") in of:
                of[events[i]["replaces"]].append(i)
            else:
                units.append([i])

        def first(unit: list[int]) -> tuple[Any, ...]:
            keys = sorted(self._order(events[i], i) for i in unit)
            return ([key for key in keys if key[0]] or keys)[0][1:]

        for unit in sorted(units, key=first):
            verdicts |= dict.fromkeys(unit, self._try([(i, events[i]) for i in unit]))
        return [verdicts[i] for i in range(len(events))]

    def _when(self, event: dict[str, Any]) -> When:
        return when(event["occurred"], self.sites[event["site"]].zone)

    def _order(self, event: dict[str, Any], index: int) -> tuple[Any, ...]:
        """The order of telling: voids, then day by day, what brings things in first."""
        said = self._when(event)
        if event["type"] == "event.voided":
            return (0, said.day, 0, said.at, index)
        return (1, said.day, event["type"] not in BRINGS_IN, said.at, index)

    def _seen(self, event: dict[str, Any]) -> Verdict | None:
        known = self.told.get(event["id"])
        if known is None:
            return None
        return Verdict("known") if known.event == event else Verdict("refused", "id_reused")

    def _try(self, unit: list[tuple[int, dict[str, Any]]]) -> Verdict:
        trial = copy.deepcopy(self)
        try:
            trial._unit(unit)
        except Refused as refused:
            return Verdict("refused", refused.why, refused.low)
        self.__dict__.update(trial.__dict__)
        return Verdict("accepted")

    def _unit(self, unit: list[tuple[int, dict[str, Any]]]) -> None:
        before = self.number
        voids = []
        for _, event in sorted(unit, key=lambda pair: self._order(pair[1], pair[0])):
            self.number += 1
            said = self._when(event)
            t = Telling(event["data"], said, event["site"], self.number, event.get("replaces"))
            TELL[event["type"]](self, t)
            if t.broken and not event.get("happened"):
                raise Refused(t.broken[0])
            self.told[event["id"]] = Told(self.number, event, t.when, self._spoken_of(event))
            if event["type"] == "event.voided":
                voids.append(self.told[event["data"]["event"]])
        self.draw_on_estimates(before)
        low = self.below_zero()
        if low:
            raise Refused("below_zero", low)
        for target in voids:
            self._nothing_stands_on(target)

    def _spoken_of(self, event: dict[str, Any]) -> set[str]:
        """Who takes of a bag takes of the lot that is in it then, whatever it holds later."""
        named = _codes(event["data"])
        if event["type"] == "hold.placed":
            return named
        return named | {b.lot for code, b in self.bags.items() if code in named and not b.gone}

    def _nothing_stands_on(self, voided: Told) -> None:
        """What an event made is gone with it, unless others speak of it."""
        gone = {
            code
            for table in (self.lots, self.bags, self.loads)
            for code, thing in table.items()
            if thing.gone and thing.made_by == voided.number  # type: ignore[attr-defined]
        }
        for told in self.told.values():
            if told.voided or told.number == voided.number:
                continue
            if told.event["type"] != "event.voided" and gone & told.codes:
                raise Refused("others_stand_on_it")


def _codes(data: Any) -> set[str]:
    """Codes of lots, bags and consignments that an event names."""
    found: set[str] = set()
    if isinstance(data, list):
        return found.union(*(_codes(part) for part in data))
    if not isinstance(data, dict):
        return found
    for name, value in data.items():
        if isinstance(value, str):
            if name in _NAMING or (name == "code" and data.get("target") in ("lot", "bag")):
                found.add(value)
        else:
            found |= _codes(value)
    return found


_NAMING = ("lot", "liner_lot", "tree_lot", "of", "bag", "into", "consignment", "before")


@tells("event.voided")
def _event_voided(books: Ledger, t: Telling) -> None:
    target = books.told.get(t.data["event"])
    if target is None or target.event["site"] != t.site:
        raise Refused("unknown_code")
    if target.event["type"] in NEVER_VOIDED:
        raise Refused("not_voidable")
    if target.voided:
        raise Refused("voided_already")
    target.voided = True
    _unmake(books, target)
    for account in list(books.counts):
        books.counts[account] = [c for c in books.counts[account] if c.number != target.number]
    for account in list(books.entries):
        for e in list(books.entries[account]):
            own = e.number == target.number and e.kept is None
            if own or e.kept == target.number:
                books.post(account, When(e.day, e.at, target.when.timed), -e.delta, t.number)
    books.sales.pop(target.number, None)
    for order in books.orders.values():
        order.done.pop(target.number, None)
    for reservation in books.reservations.values():
        drawn = reservation.drawn.get(target.number)
        if drawn is not None and reservation.state != "released":
            for index, part in drawn.items():
                if index < len(reservation.lines):
                    line = reservation.lines[index]
                    line.open = min(line.open + part, line.promised)
            left = any(line.open for line in reservation.lines)
            reservation.state = "open" if left else "fulfilled"


def _unmake(books: Ledger, target: Told) -> None:
    """What an event said beside its entries is said no more."""
    for lot in books.lots.values():
        rest = {n: parents for n, parents in lot.parents.items() if n != target.number}
        if lot.made_by == target.number:
            lot.gone = True
            # What it descended from is known until it is made anew.
            if not rest:
                continue
        lot.parents = rest
    for bag in books.bags.values():
        bag.gone = bag.gone or bag.made_by == target.number
    kind, data = target.event["type"], target.event["data"]
    if kind == "consignment.sent":
        books.loads[data["consignment"]].gone = True
    elif kind == "consignment.received":
        books.loads[data["consignment"]].received = None
    elif kind == "label.lost":
        hold = books.holds[data["hold"]]
        hold.until = hold.since

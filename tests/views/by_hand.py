"""Answers worked out by hand: a plain walk over the list of events, once for every question.

Balances are those of the plain model of the ledger, told the events up to a position; days, voids
and what stood where are picked out of the exported list in plain Python. Only what a check plan
asks for, given its history, is the trade's own rule.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, NamedTuple

import msgspec

from service.trade.check_plans import LOOKS, CheckedLot, due_checks, plans_in_force
from service.trade.events import EVENT_TYPES
from tests.ledger.model import Account, Ledger
from tests.ledger.model.words import Entry

NOT_TOLD = (
    "event.voided",
    "hold.placed",
    "hold.lifted",
    "treatment.applied",
    "papers.printed",
)
IN_THE_NURSERY = ("bag", "liners", "trees", "transit")
GROWING = ("grafted", "pushed")
LIVE = ("grafted", "pushed", "ready")


class Exported(NamedTuple):
    """An event as the log gives it out: where it stands, and complete."""

    position: int
    body: dict[str, Any]


@dataclass
class Then:
    """What had happened by each site's day, as the log knew it: `known` is the model so far."""

    exported: list[Exported]
    known: Ledger
    days: dict[str, date]

    def _day(self, body: dict[str, Any]) -> date:
        return self.known.told[body["id"]].when.day

    def _came(self, entry: Entry) -> bool:
        """Whether an entry counts: of the event that told it, or that its void takes back."""
        told = next(t for t in self.known.told.values() if t.number == entry.number)
        if told.event["type"] == "event.voided":
            told = self.known.told[told.event["data"]["event"]]
        return entry.day <= self.days[told.event["site"]]

    def balances(self) -> dict[Account, int]:
        """All accounts that were not empty."""
        sums = {
            account: sum(e.delta for e in entries if self._came(e))
            for account, entries in self.known.entries.items()
        }
        return {account: count for account, count in sums.items() if count}

    def standing(self) -> list[Exported]:
        """The events that count, in order of occurrence."""
        kept = [
            one
            for one in self.exported
            if one.body["id"] in self.known.told
            and not self.known.told[one.body["id"]].voided
            and self._day(one.body) <= self.days[one.body["site"]]
        ]
        return sorted(kept, key=lambda e: (self.known.told[e.body["id"]].when.at, e.position))

    def stock(self) -> Counter[tuple[str, ...]]:
        """(kind, site, place, lot, stage, size, grade) → how many."""
        found: Counter[tuple[str, ...]] = Counter()
        for a, count in self.balances().items():
            if a.kind in IN_THE_NURSERY:
                found[a.kind, a.site, a.place, a.lot, a.stage, a.size, a.grade] += count
        return found

    def budwood(self, keeps: int) -> set[tuple[Any, ...]]:
        """(bag, place, lot, site, buds, age in days, use by) of bags with buds left."""
        found = set()
        for a, count in self.balances().items():
            if a.kind == "bag":
                filled = self._made_on(self.known.bags[a.ref].made_by)
                start = self._lot_day(a.lot) or filled
                age = (self.days[a.site] - start).days
                found.add(
                    (a.ref, a.place, a.lot, a.site, count, age, start + timedelta(days=keeps))
                )
        return found

    def _made_on(self, number: int) -> date:
        return next(t.when.day for t in self.known.told.values() if t.number == number)

    def _lot_day(self, lot: str) -> date | None:
        """The day of cutting, receipt or grafting, where it is known."""
        number = self.known.lots[lot].made_by
        event = next(t.event for t in self.known.told.values() if t.number == number)
        if event["type"] in ("stock.opened", "label.lost", "trees.received"):
            return None
        return self._made_on(number)

    def lots(self, kind: str) -> dict[str, tuple[int, int, int]]:
        """Lots that were there: on hand, failed, in transit."""
        unvoided = {t.number for t in self.known.told.values() if not t.voided}
        voids = {t.number for t in self.known.told.values() if t.event["type"] == "event.voided"}
        there = {
            account.lot
            for account, entries in self.known.entries.items()
            if any(e.number in unvoided - voids and self._came(e) for e in entries)
        }
        found = {
            code: (0, 0, 0)
            for code, lot in self.known.lots.items()
            if lot.kind == kind and not lot.gone and code in there
        }
        for a, count in self.balances().items():
            if a.lot in found and a.kind in IN_THE_NURSERY:
                hand, failed, transit = found[a.lot]
                if a.kind == "transit":
                    transit += count
                elif a.stage == "failed":
                    failed += count
                else:
                    hand += count
                found[a.lot] = (hand, failed, transit)
        return found

    def live(self) -> dict[str, dict[str, dict[str, int]]]:
        """Lot → place → stage → living trees."""
        found: dict[str, dict[str, dict[str, int]]] = defaultdict(lambda: defaultdict(Counter))
        for a, count in self.balances().items():
            if a.kind == "trees" and a.stage in LIVE:
                found[a.lot][a.place][a.stage] += count
        return found

    def checks(self) -> set[tuple[Any, ...]]:
        """(lot, place, check, due on, last done, trees) by the default plans."""
        events = [e for e in self.standing() if e.body["type"] not in NOT_TOLD]
        found = set()
        for lot, live in self.live().items():
            said = [e for e in events if lot in _lots_in(e.body["data"])]
            said += [e for e in events if e not in said and self._forced_before(lot, e)]
            said.sort(key=lambda e: (self.known.told[e.body["id"]].when.at, e.position))
            history = [_decoded(e.body) for e in said]
            days = {index: self._day(e.body) for index, e in enumerate(said)}
            opened = [
                self._day(e.body)
                for e in said
                if (e.body["type"] == "trees.received" and e.body["data"]["lot"] == lot)
                or (
                    e.body["type"] == "stock.opened"
                    and lot in [line["lot"] for line in e.body["data"]["lines"]]
                )
            ]
            kept = self.known.lots[lot]
            checked = CheckedLot(
                lot=lot,
                crop="citrus",
                method=kept.method,
                grafted_on=self._lot_day(lot),
                opened_on=opened[0] if opened else None,
            )
            for due in due_checks(checked, history, plans_in_force([]), live, days):
                found.add((lot, due.place, due.check, due.due_on, due.last_done, due.trees))
        return found

    def _forced_before(self, lot: str, event: Exported) -> bool:
        """Tops that were bent on the stocks before they were grafted."""
        if event.body["type"] not in ("tops.forced", "tops.removed"):
            return False
        parents = frozenset[str]().union(*self.known.lots[lot].parents.values())
        return f"lot:{event.body['data']['lot']}" in parents

    def looks(self, every: int = 14) -> set[tuple[Any, ...]]:
        """(place, due on, last look, trees) of places with living trees."""
        trees: Counter[str] = Counter()
        for a, count in self.balances().items():
            if a.kind == "trees" and a.stage in LIVE:
                trees[a.place] += count
        found = set()
        for place, count in trees.items():
            seen = [
                e
                for e in self.standing()
                if e.body["type"] in LOOKS and place in _places_in(e.body["data"])
            ]
            last = self._day(seen[-1].body) if seen else None
            since = self._standing_since(place)
            if since is not None:
                start = max(last, since) if last else since
                found.add((place, start + timedelta(days=every), last, count))
        return found

    def _standing_since(self, place: str) -> date | None:
        told = {t.number: t for t in self.known.told.values()}
        living = {lot for lot, at in self.live().items() if place in at}
        days = [
            e.day
            for a, entries in self.known.entries.items()
            if a.kind == "trees" and a.place == place and a.lot in living
            for e in entries
            if e.delta > 0
            and self._came(e)
            and not told[e.number].voided
            and told[e.number].event["type"] != "event.voided"
        ]
        return min(days, default=None)


def _decoded(body: dict[str, Any]) -> Any:
    whole = {name: body[name] for name in ("type", "site", "occurred", "data")}
    return msgspec.convert(whole, EVENT_TYPES[body["type"]])


def _named(data: Any, names: tuple[str, ...]) -> set[str]:
    found: set[str] = set()
    if isinstance(data, list):
        return found.union(*(_named(part, names) for part in data))
    if isinstance(data, dict):
        for name, value in data.items():
            if name in names and isinstance(value, str):
                found.add(value)
            elif not isinstance(value, str):
                found |= _named(value, names)
    return found


def _lots_in(data: Any) -> set[str]:
    return _named(data, ("lot", "of", "liner_lot", "tree_lot"))


def _places_in(data: Any) -> set[str]:
    return _named(data, ("place", "to", "of_place"))

"""A plain model of the ledger, to hold the service against: slow, small, and written apart.

Accounts are lists of dated entries. To decide a unit it is laid over a copy; then every
end-of-day balance of every account is computed anew over the whole history, and one bounded
account below zero on one day refuses the unit. Nothing is shared with the service's own rules.

Known events: those of `Ledger._TELL`. An event must name place, stage and size wherever it could.
"""

import copy
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any, ClassVar, NamedTuple
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Madrid")
MAY_BE_NEGATIVE = ("source", "variance")
NEVER_VOIDED = ("event.voided", "reservation.made", "reservation.released")
BRINGS_IN = ("liners.received", "budwood.received")


class Account(NamedTuple):
    """What an account holds: empty text where a part does not apply."""

    lot: str
    kind: str
    place: str = ""
    stage: str = ""
    size: str = ""
    grade: str = ""
    ref: str = ""


class Entry(NamedTuple):
    """So many came or went on a day, told by the event with this number; `kept` is the number of
    the count that the entry keeps true."""

    day: date
    at: datetime
    timed: bool
    delta: int
    number: int
    kept: int | None = None


class Count(NamedTuple):
    """Somebody counted an account."""

    day: date
    at: datetime
    timed: bool
    number: int


class When(NamedTuple):
    """A moment as people say it: a time, or only a day (told among others as if at noon)."""

    day: date
    at: datetime
    timed: bool


class Low(NamedTuple):
    """An account below zero: since which day, and how far on that day."""

    account: Account
    day: date
    short: int


@dataclass
class Verdict:
    """What should become of an event."""

    word: str
    why: str = ""
    low: frozenset[Low] = frozenset()


@dataclass
class Told:
    """An event in the ledger."""

    number: int
    event: dict[str, Any]
    when: When
    voided: bool = False


@dataclass
class Batch:
    """A lot or a bag: who made it, and what else may be put into it."""

    made_by: int
    kind: str
    facts: tuple[Any, ...] = ()
    gone: bool = False


class Refused(Exception):
    """A unit can't be told."""

    def __init__(self, why: str, low: frozenset[Low] = frozenset()) -> None:
        super().__init__(why)
        self.why = why
        self.low = low


def when(occurred: str) -> When:
    """The moment that an event's `occurred` means at the site."""
    if len(occurred) == 10:
        day = date.fromisoformat(occurred)
        return When(day, datetime.combine(day, time(12), ZONE).astimezone(UTC), False)
    at = datetime.fromisoformat(occurred)
    return When(at.astimezone(ZONE).date(), at.astimezone(UTC), True)


def order(event: dict[str, Any], index: int) -> tuple[Any, ...]:
    """The order of telling: voids, then day by day, what brings things in first."""
    said = when(event["occurred"])
    if event["type"] == "event.voided":
        return (0, said.day, 0, said.at, index)
    return (1, said.day, event["type"] not in BRINGS_IN, said.at, index)


@dataclass
class Ledger:
    """The books, and what is known beside them."""

    entries: dict[Account, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    counts: dict[Account, list[Count]] = field(default_factory=lambda: defaultdict(list))
    lots: dict[str, Batch] = field(default_factory=dict)
    bags: dict[str, Batch] = field(default_factory=dict)
    told: dict[str, Told] = field(default_factory=dict)
    reservations: dict[str, dict[str, Any]] = field(default_factory=dict)
    number: int = 0

    # -- what a request becomes ------------------------------------------------

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
            keys = sorted(order(events[i], i) for i in unit)
            return ([key for key in keys if key[0]] or keys)[0][1:]

        for unit in sorted(units, key=first):
            verdicts |= dict.fromkeys(unit, self._try([(i, events[i]) for i in unit]))
        return [verdicts[i] for i in range(len(events))]

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
        for _, event in sorted(unit, key=lambda pair: order(pair[1], pair[0])):
            self.number += 1
            said = when(event["occurred"])
            self._TELL[event["type"]](self, event["data"], said, event["site"])
            self.told[event["id"]] = Told(self.number, event, said)
        self._draw_on_estimates(before)
        low = self.below_zero()
        if low:
            raise Refused("below_zero", low)
        self._nothing_stands_on_what_is_gone()

    # -- balances ------------------------------------------------------------------

    def balance(self, account: Account, day: date | None = None) -> int:
        """At the end of a day, or now."""
        return sum(e.delta for e in self.entries.get(account, ()) if day is None or e.day <= day)

    def _lows(self, account: Account) -> list[Low]:
        days = sorted({e.day for e in self.entries[account]})
        ends = [(day, self.balance(account, day)) for day in days]
        return [Low(account, day, -end) for day, end in ends if end < 0]

    def below_zero(self) -> frozenset[Low]:
        """Every bounded account that is below zero at the end of some day: the earliest."""
        bounded = [a for a in self.entries if a.kind not in MAY_BE_NEGATIVE]
        return frozenset(low[0] for account in bounded if (low := self._lows(account)))

    def balances(self) -> dict[Account, int]:
        """All that are not zero."""
        sums = {account: self.balance(account) for account in self.entries}
        return {account: value for account, value in sums.items() if value}

    def days(self) -> Counter[tuple[Account, date]]:
        """Net change of each account on each day."""
        nets: Counter[tuple[Account, date]] = Counter()
        for account, entries in self.entries.items():
            for entry in entries:
                nets[account, entry.day] += entry.delta
        return Counter({key: net for key, net in nets.items() if net})

    def _draw_on_estimates(self, before: int) -> None:
        """A bag that was never counted gives more than its figure; variance makes it up."""
        for account in [a for a in self.entries if a.kind == "bag"]:
            mine = [e for e in self.entries[account] if e.number > before and e.kept is None]
            bag = self.bags[account.ref]
            if not mine or bag.facts[1] == "counted":
                continue
            first = min(e.day for e in mine)
            if any(c.day <= first for c in self.counts[account]):
                continue
            worst = max((low.short for low in self._lows(account)), default=0)
            if worst:
                # It belongs to the event that first took from the bag: voided with it.
                by = next((e for e in mine if e.delta < 0), mine[0]).number
                said = When(first, datetime.combine(first, time(12), UTC), False)
                self._post(account, said, worst, by)
                self._post(Account(account.lot, "variance"), said, -worst, by)

    # -- posting -----------------------------------------------------------------------

    def _post(self, account: Account, said: When, delta: int, number: int) -> None:
        """An entry; and where a count of the account comes later, its opposite at that count."""
        if not delta:
            return
        self.entries[account].append(Entry(*said, delta, number))
        later = [
            c
            for c in self.counts[account]
            if c.number != number
            and (
                c.day > said.day
                or (c.day == said.day and c.timed and said.timed and c.at > said.at)
            )
        ]
        if later:
            count = min(later, key=lambda c: (c.day, c.at, c.number))
            at = When(count.day, count.at, count.timed)
            self.entries[account].append(Entry(*at, -delta, number, count.number))
            other = Account(account.lot, "variance")
            self.entries[other].append(Entry(*at, delta, number, count.number))

    def _move(self, origin: Account, target: Account, said: When, count: int) -> None:
        self._post(origin, said, -count, self.number)
        self._post(target, said, count, self.number)

    # -- codes --------------------------------------------------------------------------

    def _lot(self, code: str, kind: str) -> Batch:
        lot = self.lots.get(code)
        if lot is None or lot.gone:
            raise Refused("unknown_code")
        if lot.kind != kind:
            raise Refused("wrong_kind")
        return lot

    def _bag(self, code: str) -> Batch:
        bag = self.bags.get(code)
        if bag is None or bag.gone:
            raise Refused("unknown_code")
        return bag

    def _free(self, code: str) -> None:
        for table in (self.lots, self.bags):
            if code in table and not table[code].gone:
                raise Refused("code_in_use")

    # -- what each event tells --------------------------------------------------------------

    def _liners_received(self, d: dict[str, Any], said: When, site: str) -> None:
        self._free(d["lot"])
        self.lots[d["lot"]] = Batch(self.number, "liner")
        for line in d["lines"]:
            target = Account(d["lot"], "liners", line["place"], size=d["size"])
            source = Account(d["lot"], "source", ref=d["supplier"])
            self._move(source, target, said, line["count"])

    def _budwood_received(self, d: dict[str, Any], said: When, site: str) -> None:
        self._free(d["lot"])
        self.lots[d["lot"]] = Batch(self.number, "budwood", (d["cultivar"],))
        for fill in d["bags"]:
            self._free(fill["bag"])
            self.bags[fill["bag"]] = Batch(self.number, "bag", (d["lot"], fill["basis"]))
            target = Account(d["lot"], "bag", fill["place"], ref=fill["bag"])
            self._move(Account(d["lot"], "source", ref=d["supplier"]), target, said, fill["buds"])

    def _trees_grafted(self, d: dict[str, Any], said: When, site: str) -> None:
        (line,) = d["from"]
        wood, _ = self._bag(line["bag"]).facts
        onto = d["onto"]
        self._lot(onto["liner_lot"], "liner")
        is_of = (wood, onto["liner_lot"], d["method"], (said.day.year, said.day.month))
        old = self.lots.get(d["lot"])
        if old is None or old.gone:
            self._free(d["lot"])
            cultivar = self.lots[wood].facts[0]
            self.lots[d["lot"]] = Batch(self.number, "tree", (*is_of, cultivar))
        elif old.kind != "tree" or old.facts[:4] != is_of:
            raise Refused("lot_differs")
        stocks = Account(onto["liner_lot"], "liners", onto["place"], size=onto["size"])
        trees = Account(d["lot"], "trees", d["place"], "grafted", onto["size"])
        self._post(stocks, said, -d["count"], self.number)
        self._post(trees, said, d["count"], self.number)
        bag = Account(wood, "bag", line["place"], ref=line["bag"])
        self._move(bag, Account(wood, "used"), said, line["buds"])

    def _push_counted(self, d: dict[str, Any], said: When, site: str) -> None:
        self._lot(d["lot"], "tree")
        seen = {"grafted": d["waiting"], "pushed": d["pushed"], "failed": d["failed"]}
        variance = Account(d["lot"], "variance")
        changes: list[tuple[Account, int]] = []
        for stage, counted in seen.items():
            account = Account(d["lot"], "trees", d["place"], stage, d["size"])
            changes.append((account, counted - max(self.balance(account, said.day), 0)))
            self.counts[account].append(Count(*said, self.number))
        for taken in d["removed"]:
            changes.append((Account(d["lot"], "lost", ref=taken["cause"]), taken["count"]))
        changes.append((variance, -sum(change for _, change in changes)))
        for account, change in changes:
            self._post(account, said, change, self.number)

    def _stock_counted(self, d: dict[str, Any], said: When, site: str) -> None:
        for line in d["lines"]:
            if "bag" in line:
                lot = self._bag(line["bag"]).facts[0]
                account = Account(lot, "bag", line["place"], ref=line["bag"])
            elif "stage" in line:
                lot = line["lot"]
                self._lot(lot, "tree")
                account = self._trees(line, line["stage"])
            else:
                lot = line["lot"]
                self._lot(lot, "liner")
                account = Account(lot, "liners", line["place"], size=line["size"])
            change = line["counted"] - max(self.balance(account, said.day), 0)
            self.counts[account].append(Count(*said, self.number))
            self._move(Account(lot, "variance"), account, said, change)

    @staticmethod
    def _trees(d: dict[str, Any], stage: str, place: str = "place") -> Account:
        return Account(d["lot"], "trees", d[place], stage, d["size"], d.get("grade") or "")

    def _trees_lost(self, d: dict[str, Any], said: When, site: str) -> None:
        self._lot(d["lot"], "tree")
        lost = Account(d["lot"], "lost", ref=d["cause"])
        self._move(self._trees(d, d["stage"]), lost, said, d["count"])

    def _trees_moved(self, d: dict[str, Any], said: When, site: str) -> None:
        self._lot(d["lot"], "tree")
        target = self._trees(d, d["stage"], "to")
        self._move(self._trees(d, d["stage"]), target, said, d["count"])

    def _trees_graded(self, d: dict[str, Any], said: When, site: str) -> None:
        self._lot(d["lot"], "tree")
        for outcome in d["outcomes"]:
            target = Account(
                d["lot"], "trees", d["place"], "ready", d["size"], outcome.get("grade") or ""
            )
            if target != self._trees(d, d["stage"]):
                self._move(self._trees(d, d["stage"]), target, said, outcome["count"])

    def _trees_sold(self, d: dict[str, Any], said: When, site: str) -> None:
        code = d.get("reservation")
        if code is not None and code not in self.reservations:
            raise Refused("unknown_code")
        for line in d["lines"]:
            lot = self._lot(line["lot"], "tree")
            sold = Account(line["lot"], "customer", ref=d["customer"])
            self._move(self._trees(line, "ready"), sold, said, line["count"])
            if code is not None:
                drawn = self._draw(self.reservations[code], lot, line)
                self.reservations[code]["drawn"].append((self.number, drawn))

    @staticmethod
    def _draw(reservation: dict[str, Any], lot: Batch, line: dict[str, Any]) -> dict[int, int]:
        """What a sale takes off the open lines: those that ask for its grade, then any grade."""
        rest, drawn = line["count"], {}
        fits = [
            (index, asked)
            for index, asked in enumerate(reservation["lines"])
            if asked["cultivar"] == lot.facts[4]
            and asked["size"] == line["size"]
            and asked.get("grade") in (None, line.get("grade"))
        ]
        for index, asked in sorted(fits, key=lambda pair: pair[1].get("grade") is None):
            part = min(rest, asked["open"])
            asked["open"] -= part
            rest -= part
            drawn[index] = part
        if reservation["state"] == "open" and not any(a["open"] for a in reservation["lines"]):
            reservation["state"] = "fulfilled"
        return drawn

    def _reservation_made(self, d: dict[str, Any], said: When, site: str) -> None:
        if d["reservation"] in self.reservations:
            raise Refused("code_in_use")
        lines = [line | {"open": line["count"]} for line in d["lines"]]
        for line in lines:
            for grade in {line.get("grade"), None}:
                ready = sum(
                    self.balance(account)
                    for account in self.entries
                    if account.kind == "trees"
                    and account.stage == "ready"
                    and account.size == line["size"]
                    and grade in (None, account.grade)
                    and self.lots[account.lot].facts[4] == line["cultivar"]
                )
                claims = [x for r in self.reservations.values() for x in r["lines"]]
                taken = sum(
                    x["open"]
                    for x in claims + lines
                    if x["cultivar"] == line["cultivar"]
                    and x["size"] == line["size"]
                    and grade in (None, x.get("grade"))
                )
                if taken > ready:
                    raise Refused("not_enough_to_promise")
        self.reservations[d["reservation"]] = {"lines": lines, "state": "open", "drawn": []}

    def _reservation_released(self, d: dict[str, Any], said: When, site: str) -> None:
        reservation = self.reservations.get(d["reservation"])
        if reservation is None:
            raise Refused("unknown_code")
        if reservation["state"] != "open":
            raise Refused("not_open")
        reservation["state"] = "released"
        for line in reservation["lines"]:
            line["open"] = 0

    # -- voiding --------------------------------------------------------------------------

    def _event_voided(self, d: dict[str, Any], said: When, site: str) -> None:
        target = self.told.get(d["event"])
        if target is None:
            raise Refused("unknown_code")
        if target.event["type"] in NEVER_VOIDED:
            raise Refused("not_voidable")
        if target.voided:
            raise Refused("voided_already")
        target.voided = True
        for batch in (*self.lots.values(), *self.bags.values()):
            if batch.made_by == target.number:
                batch.gone = True
        for account in list(self.counts):
            self.counts[account] = [c for c in self.counts[account] if c.number != target.number]
        for account in list(self.entries):
            for e in list(self.entries[account]):
                own = e.number == target.number and e.kept is None
                if own or e.kept == target.number:
                    timed = target.when.timed
                    self._post(account, When(e.day, e.at, timed), -e.delta, self.number)
        for reservation in self.reservations.values():
            for number, drawn in reservation["drawn"]:
                if number == target.number and reservation["state"] != "released":
                    for index, part in drawn.items():
                        reservation["lines"][index]["open"] += part
                    if any(line["open"] for line in reservation["lines"]):
                        reservation["state"] = "open"

    def _nothing_stands_on_what_is_gone(self) -> None:
        gone = {c for table in (self.lots, self.bags) for c, b in table.items() if b.gone}
        for told in self.told.values():
            if told.voided or told.event["type"] == "event.voided":
                continue
            if gone & set(_codes(told.event["data"])):
                raise Refused("others_stand_on_it")

    _TELL: ClassVar[dict[str, Callable[..., None]]] = {
        "liners.received": _liners_received,
        "budwood.received": _budwood_received,
        "trees.grafted": _trees_grafted,
        "push.counted": _push_counted,
        "stock.counted": _stock_counted,
        "trees.lost": _trees_lost,
        "trees.moved": _trees_moved,
        "trees.graded": _trees_graded,
        "trees.sold": _trees_sold,
        "reservation.made": _reservation_made,
        "reservation.released": _reservation_released,
        "event.voided": _event_voided,
    }


def _codes(data: Any) -> list[str]:
    """Codes of lots and bags that an event names."""
    found: list[str] = []
    if isinstance(data, dict):
        for name, value in data.items():
            if name in ("lot", "liner_lot", "bag") and isinstance(value, str):
                found.append(value)
            else:
                found += _codes(value)
    elif isinstance(data, list):
        for part in data:
            found += _codes(part)
    return found

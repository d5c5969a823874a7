"""The books of the plain model: accounts as lists of dated entries, and what is known beside."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any

from tests.ledger.model.words import (
    MAY_BE_NEGATIVE,
    Account,
    Bag,
    Count,
    Entry,
    Hold,
    Load,
    Lot,
    Low,
    Order,
    Override,
    Refused,
    Reservation,
    Sale,
    Site,
    Telling,
    Told,
    When,
)

# What each kind of hold stops.
STOPS = {
    "plant_health": {"use", "move", "send", "sell", "discard"},
    "licence": {"use", "send", "sell"},
    "identity": {"use", "sell"},
    "quality": {"sell"},
    "other": {"sell"},
}


@dataclass
class Books:
    """Every account's history, counts, lots, bags, holds, loads, claims."""

    sites: dict[str, Site] = field(default_factory=dict)
    source_trees: set[str] = field(default_factory=set)
    entries: dict[Account, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    counts: dict[Account, list[Count]] = field(default_factory=lambda: defaultdict(list))
    lots: dict[str, Lot] = field(default_factory=dict)
    bags: dict[str, Bag] = field(default_factory=dict)
    holds: dict[str, Hold] = field(default_factory=dict)
    loads: dict[str, Load] = field(default_factory=dict)
    told: dict[str, Told] = field(default_factory=dict)
    reservations: dict[str, Reservation] = field(default_factory=dict)
    orders: dict[str, Order] = field(default_factory=dict)
    overrides: dict[str, Override] = field(default_factory=dict)
    # by the number of the event that sold
    sales: dict[int, list[Sale]] = field(default_factory=dict)
    number: int = 0

    # -- balances ------------------------------------------------------------------

    def balance(self, account: Account, day: date | None = None) -> int:
        """At the end of a day, or now."""
        return sum(e.delta for e in self.entries.get(account, ()) if day is None or e.day <= day)

    def stood(self, account: Account) -> bool:
        """Whether there ever was such an account; refused where an event needs one."""
        return account in self.entries or account in self.counts

    def need(self, account: Account) -> Account:
        if not self.stood(account):
            raise Refused("nothing_there")
        return account

    def lows(self, account: Account) -> list[Low]:
        """The days on which an account was below zero at the end."""
        days = sorted({e.day for e in self.entries[account]})
        ends = [(day, self.balance(account, day)) for day in days]
        return [Low(account, day, -end) for day, end in ends if end < 0]

    def below_zero(self) -> frozenset[Low]:
        """Every bounded account that is below zero at the end of some day: the earliest."""
        bounded = [a for a in self.entries if a.kind not in MAY_BE_NEGATIVE]
        return frozenset(low[0] for account in bounded if (low := self.lows(account)))

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

    # -- posting -----------------------------------------------------------------------

    def post(self, account: Account, said: When, delta: int, number: int) -> None:
        """An entry; and where a count of the account comes later, its opposite at that count."""
        if not delta:
            return
        self.entries[account].append(Entry(*said, delta, number))
        later = [
            c
            for c in self.counts.get(account, ())
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
            other = variance(account)
            self.entries[other].append(Entry(*at, delta, number, count.number))

    def move(self, origin: Account, target: Account, t: Telling, count: int) -> None:
        """So many from one account to another."""
        self.post(origin, t.when, -count, t.number)
        self.post(target, t.when, count, t.number)

    def count(self, account: Account, t: Telling) -> None:
        """Somebody counted the account."""
        self.counts[account].append(Count(*t.when, t.number))

    def draw_on_estimates(self, before: int) -> None:
        """What was never counted gives more than its figure; variance makes it up."""
        for account in [a for a in self.entries if a.kind in ("bag", "liners")]:
            mine = [e for e in self.entries[account] if e.number > before and e.kept is None]
            basis = self.bags[account.ref].basis if account.ref else self.lots[account.lot].basis
            if not mine or basis == "counted":
                continue
            first = min(e.day for e in mine)
            if any(c.day <= first for c in self.counts.get(account, ())):
                continue
            worst = max((low.short for low in self.lows(account) if low.day >= first), default=0)
            if worst:
                # It belongs to the event that first took from it: voided with it.
                by = next((e for e in mine if e.delta < 0), mine[0]).number
                said = When(first, datetime.combine(first, time(12), UTC), False)
                self.post(account, said, worst, by)
                self.post(variance(account), said, -worst, by)

    # -- codes --------------------------------------------------------------------------

    def lot(self, code: str, *kinds: str) -> Lot:
        """A lot that stands, of one of the kinds."""
        lot = self.lots.get(code)
        if lot is None or lot.gone:
            raise Refused("unknown_code")
        if kinds and lot.kind not in kinds:
            raise Refused("wrong_kind")
        return lot

    def is_here(self, t: Telling, code: str) -> bool:
        """Whether anything of a lot is, was or was made at the acting site."""
        told = [account for account, entries in self.entries.items() if entries]
        counted = [account for account, counts in self.counts.items() if counts]
        return any((a.lot, a.site) == (code, t.site) for a in (*told, *counted))

    def here(self, t: Telling, code: str, *kinds: str) -> Lot:
        """A lot that stands and is the acting site's too."""
        if not self.is_here(t, code):
            raise Refused("unknown_code")
        return self.lot(code, *kinds)

    def bag(self, code: str) -> Bag:
        """A bag that stands."""
        bag = self.bags.get(code)
        if bag is None or bag.gone:
            raise Refused("unknown_code")
        return bag

    def free(self, code: str) -> None:
        """Refuse a code that a standing lot or bag has."""
        for table in (self.lots, self.bags):
            if code in table and not table[code].gone:  # type: ignore[attr-defined]
                raise Refused("code_in_use")

    def place(self, t: Telling, code: str) -> str:
        """A place of the acting site; a retired one breaks a rule."""
        if code not in self.sites[t.site].places:
            raise Refused("unknown_code")
        if self.sites[t.site].places[code]:
            t.broken.append("retired")
        return code

    # -- descent, and the holds on it ---------------------------------------------------------

    def ancestry(self, code: str) -> set[str]:
        """`lot:`, `bag:` and `source_tree:` of a lot and all that it descends from."""
        tokens, todo = {f"lot:{code}"}, [f"lot:{code}"]
        while todo:
            kind, _, name = todo.pop().partition(":")
            above: Iterable[str] = ()
            if kind == "lot" and name in self.lots:
                above = frozenset().union(*self.lots[name].parents.values())
            elif kind == "bag":
                above = self.bag_tokens(name)
            todo += [token for token in above if token not in tokens]
            tokens.update(above)
        return tokens

    def bag_tokens(self, code: str) -> set[str]:
        """The bag, and the bags that its pieces were cut from."""
        tokens: set[str] = set()
        name: str | None = code
        while name and f"bag:{name}" not in tokens:
            tokens.add(f"bag:{name}")
            name = self.bags[name].cut_from if name in self.bags else None
        return tokens

    def source(self, code: str) -> str | None:
        """The original source of a lot's wood."""
        lot = self.lots[code]
        if lot.wood is None:
            return lot.source
        return self.source(lot.wood) or (f"lot:{lot.wood}" if lot.kind == "budwood" else None)

    def is_held(self, action: str, day: date, tokens: set[str]) -> bool:
        """Whether a hold in force on the day stops it."""
        return any(
            hold.token in tokens
            and action in STOPS[hold.kind]
            and hold.since <= day
            and (hold.until is None or day < hold.until)
            for hold in self.holds.values()
        )

    def stop(self, t: Telling, action: str, lot: str | None, *where: Account) -> None:
        """Break the rule where a hold stops the action on the lot, a bag, a place or the site."""
        tokens = {f"site:{t.site}"} | (self.ancestry(lot) if lot else set())
        for account in where:
            tokens.add(f"place:{account.place}")
            if account.kind == "bag":
                tokens |= self.bag_tokens(account.ref)
        if self.is_held(action, t.when.day, tokens):
            t.broken.append("held")


def variance(account: Account) -> Account:
    """Where differences of an account go."""
    return Account(account.lot, account.site, "variance")


def trees(t: Telling, line: dict[str, Any], lot: str | None = None, **instead: str) -> Account:
    """The account of trees that a line speaks of."""
    d = line | instead
    grade = d.get("grade") or ""
    named = "" if grade == "ungraded" else grade
    return Account(lot or d["lot"], t.site, "trees", d["place"], d["stage"], d["size"], named)


def liners(t: Telling, line: dict[str, Any], **instead: str) -> Account:
    """The account of liners that a line speaks of."""
    d = line | instead
    return Account(d["lot"], t.site, "liners", d["place"], size=d["size"])

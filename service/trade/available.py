"""What of each item can be reserved, from today on: the writer's own arithmetic, for all days.

Of every row: so many are accepted for that day and not one more, as the books stand. Days are
ordinals (`date.toordinal()`).
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

import msgspec

from service.trade.accounts import UNGRADED
from service.trade.books import Books, Claim
from service.trade.covering import Covering, Stock
from service.trade.events.catalogue import Site
from service.trade.items import Item, parse_item
from service.trade.promising import ALL_SITES, lefts

LAST_DAY = date.max.toordinal()
_Lefts = tuple[list[int], list[int]]
"""Days from today on, and how many are left from each on; less than none where it is short."""


class Point(NamedTuple):
    """So many can be reserved for `day` and each later day, up to the next point."""

    day: int
    quantity: int


class Row(msgspec.Struct, frozen=True, gc=False):
    """How many of an item can be reserved at a site; `site` empty: trees of any site will do.

    From each of the `days` on so many can be reserved, up to the next of them; the first is today.
    `foretold`: it goes by what was told ahead, else by what is ready. `ready`: how many stand ready
    today (`Covering.ready`), promised or not. Plain numbers: Python's collector need not look at
    them.
    """

    item: Item
    site: str
    days: tuple[int, ...]
    quantities: tuple[int, ...]
    foretold: bool
    ready: int

    @property
    def key(self) -> str:
        """The row's name, and its place in order."""
        return key_of(self.item, self.site)

    @property
    def points(self) -> list[Point]:
        """The days on which it changes, today first."""
        return list(map(Point, self.days, self.quantities))

    @property
    def today(self) -> int:
        return self.days[0]

    def on(self, day: int) -> int:
        """How many for a day; before today as for today."""
        return self.quantities[max(bisect_right(self.days, day) - 1, 0)]

    def ever(self, day: int) -> bool:
        """Whether any can be reserved, for a day or a later one."""
        from_day = max(bisect_right(self.days, day) - 1, 0)
        return any(self.quantities[from_day:])

    def first_day(self, quantity: int, day: int) -> int | None:
        """The first day from `day` on for which so many can be reserved; None: not in sight."""
        if self.on(day) >= quantity:
            return max(day, self.today)
        later = bisect_right(self.days, day)
        enough = (at for at in range(later, len(self.days)) if self.quantities[at] >= quantity)
        found = next(enough, None)
        return None if found is None else self.days[found]


def key_of(item: Item, site: str) -> str:
    """`trees/NAVEL/CARRIZO/L2//CORIN` or `buds/NAVEL////CORIN`: an item at a site."""
    return "/".join(("buds" if item.buds else "trees", *item[:4], site))


@dataclass
class _Acting:
    """Who acts at a site."""

    books: Books
    site: Site


class Kin:
    """One cultivar on one rootstock, or the buds of a cultivar: all that its claims draw on.

    `books` hold what concerns it and no more, so that asking stays quick; `books.now` is the moment
    asked about.
    """

    def __init__(self, cultivar: str, rootstock: str, buds: bool, books: Books) -> None:
        self.cultivar, self.rootstock, self.buds = cultivar, rootstock, buds
        self.books = books
        self._acting: dict[str, Covering] = {}
        self._lefts: dict[tuple[int, Stock], _Lefts] = {}

    def rows(self) -> list[Row]:
        """A row for each item and site that has, or was told, anything of it."""
        self._acting = self._who_acts()
        try:
            return list(self._rows()) if self._acting else []
        finally:
            self._acting, self._lefts = {}, {}

    def _rows(self) -> Iterator[Row]:
        having = self._having()
        for item in sorted({item for item, _ in having}):
            if not item.buds and not (item.rootstock and item.size):
                # Of unknown parts: nobody can ask for it as an item.
                continue
            sites = {site for one, site in having if one == item}
            for site in sorted(sites | {ALL_SITES}):
                yield self._row(item, site)

    def next_expiry(self) -> datetime | None:
        """When the next claim runs out, after the moment asked about; None: none does."""
        now = self.books.now
        assert now is not None
        ends = [
            one.expires_at
            for one in self.books.reservations.values()
            if one.expires_at is not None and one.counts_at(now)
        ]
        return min(ends, default=None)

    def _row(self, item: Item, site: str) -> Row:
        acting = self._acting[site]
        claim = Claim(
            line=0, item=item.text, lot=None, site=site or None, asked=0, open=0, promised=0
        )
        sets = acting.sets_of(claim)
        days, quantities = _least([self._lefts_of(acting, of) for of in sets])
        foretold = any(acting.foretold(of) for of in sets)
        return Row(item, site, days, quantities, foretold, acting.ready(sets[0]))

    def _who_acts(self) -> dict[str, Covering]:
        """By site what the books say to who acts there; of all sites the one furthest behind, for
        its day is the last to end."""
        found: dict[str, Covering] = {}
        on_day: dict[date, Covering] = {}
        for entry, _ in self.books.catalogue.entries.values():
            if isinstance(entry, Site):
                acting = Covering(_Acting(self.books, entry))
                # Where it is the same day they say the same.
                found[entry.code] = on_day.setdefault(acting.day, acting)
        if found:
            found[ALL_SITES] = min(found.values(), key=lambda one: one.today)
        return found

    def _having(self) -> set[tuple[Item, str]]:
        """Items and sites of which something stands, is told, claimed or said; of each grade and
        of any."""
        found: set[tuple[str, str, str]] = set()
        for table in self.books.accounts.values():
            found |= {(key.size, key.grade or UNGRADED, key.site) for key in table}
        for key in self.books.supply:
            found.add(key[2:])
        for override in self.books.overrides.values():
            found.add(override.of[2:])
        for one in self.books.reservations.values():
            for claim in one.claims:
                item = parse_item(claim.item)
                found.add((item.size, item.grade, claim.site or ALL_SITES))
        if self.buds:
            item = Item(self.cultivar, "", "", "", True)
            return {(item, site) for _, _, site in found if site in self._acting}
        return {
            (Item(self.cultivar, self.rootstock, size, each, False), site)
            for size, grade, site in found
            for each in {grade, ""}
            if site in self._acting
        }

    def _lefts_of(self, acting: Covering, of: Stock) -> _Lefts:
        asked = (acting.today, of)
        if asked not in self._lefts:
            self._lefts[asked] = _lefts(acting, of)
        return self._lefts[asked]


def _lefts(acting: Covering, of: Stock) -> _Lefts:
    today, due = acting.today, acting.due(of)
    # A ruling counts for claims on its days alone: between two last days all is asked alike.
    ends = sorted({one.days.last for one in acting.rulings if one.days.last >= today})
    begins = [today, *(end + 1 for end in ends if end < LAST_DAY)]
    days: list[int] = []
    left: list[int] = []
    for begin, end in zip(begins, [*begins[1:], LAST_DAY + 1], strict=True):
        steps = acting.steps(of, begin)
        # Within a step it changes only where something is due.
        changing = {begin, *[step.first for step in steps], *[one.day for one in due]}
        inside = sorted([day for day in changing if begin <= day < end])
        days += inside
        left += lefts(steps, due, inside)
    return days, left


def _least(sets: Sequence[_Lefts]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The least of all sets, never below none, from day to day; only where it changes."""
    days = sets[0][0]
    columns = [left for _, left in sets]
    if any(other != days for other, _ in sets):
        days = sorted(set().union(*(other for other, _ in sets)))
        # Each holds until its own next day; all begin today.
        columns = [[left[bisect_right(own, day) - 1] for day in days] for own, left in sets]
    changing: list[int] = []
    quantities: list[int] = []
    for day, least in zip(days, map(min, zip(*columns, strict=True)), strict=True):
        quantity = max(0, least)
        if not quantities or quantity != quantities[-1]:
            changing.append(day)
            quantities.append(quantity)
    return tuple(changing), tuple(quantities)

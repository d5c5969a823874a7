"""Whether claims are covered: by supply told ahead, or else by what is ready and not held.

A claim must be covered in every set of stock it can draw on (its lot; its grade or any grade; its
site or all sites; where claims cross, some sites and some grades together, see `crossing`), so
that no later claim can be starved by an earlier wider one. A lot is a hard
allocation: of it what is ready now must do, and a claim on it counts in each set of an item where
alone it can be served (see `drawn`). Of an item, what the forecast told counts (or what somebody
with the right to said instead), on the day for which it is wanted and on each later one that
something is promised for; of an item of which nothing is told, what is ready now. "Today" is the
site's day when it is recorded.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple, Protocol
from zoneinfo import ZoneInfo

from service.trade import holds
from service.trade.accounts import UNGRADED, grade_of
from service.trade.books import Account, Books, Claim, Lot
from service.trade.claimed import claimed
from service.trade.crossing import Cross, crosses
from service.trade.drawn import Holding, Part, Wish, drawn_by_day
from service.trade.events.catalogue import Place, Site
from service.trade.fitting import buds_wanted
from service.trade.items import Item, parse_item
from service.trade.outgoing import went_out
from service.trade.overriding import Ruling, concerning, first_by, told
from service.trade.promising import FOR_EVER, OLD_DAYS, Due, Step, due_by, left, steps_of
from service.trade.supply import OutKey, Supply

# A set of stock: an item, at a site or anywhere, of a lot or of any.
Plain = tuple[Item, str | None, str | None]
# Or several of them together.
Stock = Plain | Cross


def _standing(books: Books, item: Item, lot: str | None) -> Iterator[tuple[Lot, Account]]:
    """Ready trees, or buds in bags, that an item (or one lot) can draw on."""
    kind = "bag" if item.buds else "trees"
    named = books.lots.get(lot) if lot else None
    for candidate in books.lots.values() if not lot else [named] if named else ():
        if (candidate.cultivar or "") != item.cultivar:
            continue
        if not item.buds and (candidate.rootstock or "") != item.rootstock:
            continue
        for key, account in books.accounts_of(candidate.code).items():
            if key.kind != kind or account.balance <= 0:
                continue
            if not item.buds and (
                key.stage != "ready"
                or key.size != item.size
                or (item.grade and key.grade != grade_of(item.grade))
            ):
                continue
            yield candidate, account


class Claiming(Protocol):
    """What a claim asks for: an open one, or all of a kind."""

    @property
    def item(self) -> str: ...

    @property
    def lot(self) -> str | None: ...

    @property
    def site(self) -> str | None: ...


def _alike(claim: Claiming, item: Item) -> bool:
    """Whether a claim is on an item, whatever the grade."""
    asked = parse_item(claim.item)
    return asked[:3] == item[:3] and asked.buds == item.buds


def _part(claim: Claiming) -> Part:
    return Part(parse_item(claim.item).grade, claim.site)


def _of_any_lot(of: Stock) -> Holding:
    """The grades and sites of a set of stock."""
    return of if isinstance(of, Cross) else Part(of[0].grade, of[1])


def _lot_of(of: Stock) -> str | None:
    return None if isinstance(of, Cross) else of[2]


def _sets_of(claim: Claim) -> list[Plain]:
    """The sets of stock a claim lies in, narrowest first."""
    item, site, lot = parse_item(claim.item), claim.site, claim.lot
    grades = [item, item._replace(grade="")] if item.grade else [item]
    sites = [site, None] if site else [None]
    lots: list[str | None] = [lot, None] if lot else [None]
    if lot and not (item.cultivar and (item.buds or item.rootstock)):
        # Of a lot with unknown parts nobody can say what other lots are like it.
        lots = [lot]
    return [(grade, where, which) for which in lots for grade in grades for where in sites]


class _Asked(NamedTuple):
    """So many of an item are asked for, of what, and for which day."""

    lot: str | None
    part: Part
    wanted: int
    day: int


class Where(Protocol):
    """Books and a site: a bench is one."""

    books: Books

    @property
    def site(self) -> Site: ...


class Covering:
    """What the books say of sets of stock, for who acts at a site."""

    def __init__(self, where: Where, leave_out: str | None = None) -> None:
        """It is good until something is recorded. `leave_out`: a reservation whose present lines do
        not count."""
        self.books, self.leave_out = where.books, leave_out
        # Asked for again and again; nothing is recorded meanwhile.
        self._asked: dict[Item, Sequence[_Asked]] = {}
        self._parts: dict[tuple[str | None, Item], Mapping[Part, int]] = {}
        self._steps: dict[tuple[Stock, int], list[Step]] = {}
        self._every_site: list[str] | None = None
        assert self.books.now is not None
        self.now = self.books.now
        # Whatever day is told of: what is held by now is promised to nobody.
        self.day = self.now.astimezone(ZoneInfo(where.site.time_zone)).date()
        self.today = self.day.toordinal()
        self.rulings = [
            Ruling(one.of, Step(one.from_day.toordinal(), one.until_day.toordinal(), still))
            for one in sorted(self.books.overrides.values(), key=lambda one: one.position)
            if one.ended_day is None
            for still in [one.quantity - went_out(self.books, one.of) + one.went_out]
        ]

    # -- what is there -----------------------------------------------------------------

    def ready(self, of: Stock) -> int:
        """How many are ready and not held now; those grown for a customer only where the lot is
        named."""
        where = _of_any_lot(of)
        counts = self._where(_lot_of(of), _item_of(of))
        return sum(count for part, count in counts.items() if where.holds(part))

    def _free(self, item: Item, lot: str | None) -> Iterator[tuple[Lot, Account]]:
        """What an item, or one lot, can draw on: neither held nor kept apart."""
        for candidate, account in _standing(self.books, item, lot):
            key = account.key
            if self._apart(key.place):
                continue
            tokens = {*candidate.ancestry, f"place:{key.place}", f"site:{key.site}"}
            if item.buds:
                tokens |= self.books.bag_tokens(key.ref)
            if not holds.blocking(self.books, holds.SELL, tokens, self.day):
                yield candidate, account

    def _where(self, lot: str | None, item: Item) -> Mapping[Part, int]:
        """Where so many can be promised now, of any grade of an item or of one lot of it."""
        item = item._replace(grade="")
        found = self._parts.get((lot, item))
        if found is None:
            counts: dict[Part, int] = {}
            for candidate, account in self._free(item, lot):
                if lot is None and candidate.grown_for is not None:
                    continue
                grade = "" if item.buds else account.key.grade or UNGRADED
                part = Part(grade, account.key.site)
                counts[part] = counts.get(part, 0) + account.balance
            found = self._parts[lot, item] = counts
        return found

    def for_orders(self, of: Stock) -> int:
        """Buds of it that the nursery's own open grafting orders still take. No order names a lot
        of budwood, so a claim on one is held against the lot alone, and against the cultivar."""
        if isinstance(of, Cross):
            return 0
        item, site, lot = of
        if not item.buds or lot is not None:
            return 0
        return buds_wanted(
            (order.left, order.method)
            for order in self.books.work_orders.values()
            if order.ended is None
            and order.cultivar == item.cultivar
            and site in (None, order.site)
        )

    def _now(self, of: Plain) -> list[Step]:
        return [Step(0, FOR_EVER, self.ready(of) - self.for_orders(of))]

    def _apart(self, place: str) -> bool:
        """Whether trees that came back are kept there: nobody is promised these."""
        found = self.books.catalogue.entries.get(("place", place), (None, 0))[0]
        return isinstance(found, Place) and found.for_returns

    def _supply(self, of: OutKey) -> Supply | None:
        """What is told of a set. What is told for days to come, by the clock of who records,
        says nothing yet: old records are imported while the forecast is of today; what was told
        long ago says nothing any more."""
        found = self.books.supply.get(of)
        # Somewhere else the day may have begun already.
        if found is None or not self.today - OLD_DAYS <= found.first <= self.today + 1:
            return None
        return found

    def _base(self, of: OutKey) -> list[Step]:
        found = self._supply(of)
        if found is None:
            stock = (Item(*of[:4], False), of[4] or None, None)
            return self._now(stock)
        gone = went_out(self.books, of) - found.went_out
        return steps_of(found.first, found.quantities, gone)

    def foretold(self, of: Stock) -> bool:
        """Whether more is known of a set than what is ready: told by forecast or by hand."""
        if isinstance(of, Cross):
            return any(self.foretold(_plain(of, part)) for part in of.parts(self._sites()))
        key = _key(of)
        return key is not None and (
            self._supply(key) is not None or bool(concerning(key, self.rulings, self.today))
        )

    def steps(self, of: Stock, day: int) -> list[Step]:
        """How many are there from when to when, for a claim on `day`."""
        asked = (of, day)
        if asked not in self._steps:
            self._steps[asked] = self._steps_of(of, day)
        return self._steps[asked]

    def _steps_of(self, of: Stock, day: int) -> list[Step]:
        if isinstance(of, Cross):
            return of.there(self._sites(), lambda part: self.steps(_plain(of, part), day))
        key = _key(of)
        if key is None or not self.foretold(of):
            return self._now(of)
        return told(key, self._base, self.rulings, day)

    def _sites(self) -> list[str]:
        if self._every_site is None:
            entries = self.books.catalogue.entries.values()
            self._every_site = [entry.code for entry, _ in entries if isinstance(entry, Site)]
        return self._every_site

    def first_day(self, of: Stock, count: int, day: int) -> int | None:
        """The first day from `day` on for which so many more can be promised."""
        due = self.due(of)
        key = _key((of.item, None, None) if isinstance(of, Cross) else of)
        if key is None or not self.foretold(of):
            return day if left(self.steps(of, day), due, day) >= count else None
        return first_by(lambda on: self.steps(of, on), key, self.rulings, due, count, day)

    # -- what is promised ----------------------------------------------------------------

    def sets_of(self, claim: Claim, beside: Iterable[Claim] = ()) -> list[Stock]:
        """The sets of stock a claim can take from: those it lies in, narrowest first, of one on a
        lot those in which the lot stands, and those that it crosses with others or with those
        `beside` it."""
        plain, item = _sets_of(claim), parse_item(claim.item)
        of_any_lot = any(lot is None for _, _, lot in plain)
        found: list[Stock] = [*plain]
        if claim.lot is not None and of_any_lot:
            found += [
                (item._replace(grade=grade), site, None)
                for part in self._where(claim.lot, item)
                for grade in (part.grade, "")
                for site in (part.site, None)
            ]
        if of_any_lot and not item.buds:
            where = [_part(claim)] if claim.lot is None else self._where(claim.lot, item)
            found += self.crossing(item, where, beside)
        return list(dict.fromkeys(found))

    def crossing(
        self, item: Item, where: Collection[Part], beside: Iterable[Claim] = ()
    ) -> list[Cross]:
        """The unions of sites and grades that have to do with what is `where`, as claims that are
        open, and those `beside`, cross."""
        parts = {one.part for one in self._open(item) if one.lot is None}
        parts.update(_part(one) for one in beside if one.lot is None and _alike(one, item))
        found = crosses(item, parts, where)
        # Every site together is the item as a whole.
        return [cross for cross in found if len(cross.sites) < len(self._sites())] if found else []

    def due(self, of: Stock, wished: Iterable[Claim] = (), day: int = 0) -> list[Due]:
        """Open claims on the set by their days, and those `wished` for a day; those without a day,
        or past it, are for today."""
        found: dict[int, int] = {}
        on_lots: dict[str, list[_Asked]] = {}
        item, where, own = _item_of(of), _of_any_lot(of), _lot_of(of)
        new = [
            _Asked(claim.lot, _part(claim), claim.open, day)
            for claim in wished
            if _alike(claim, item)
        ]
        for asked in (*self._open(item), *new):
            lot, part, count, on = asked
            if lot is not None and own is None:
                on_lots.setdefault(lot, []).append(asked)
            elif own in (None, lot) and where.holds(part):
                found[on] = found.get(on, 0) + count
        for one, all_asked in on_lots.items():
            for on, count in self._of_lot(one, all_asked, of):
                found[on] = found.get(on, 0) + count
        return [Due(on, count) for on, count in found.items()]

    def _open(self, item: Item) -> Sequence[_Asked]:
        """Open claims on an item of whatever grade."""
        item = item._replace(grade="")
        if item not in self._asked:
            bound = claimed(self.books)
            left_out = bound.part(self.leave_out)
            self._asked[item] = [
                _Asked(kind.lot, _part(kind), still, self.on(kind.needed_by))
                for kind, count in bound.of(item.cultivar).items()
                if (still := count - left_out.get(kind, 0)) and _alike(kind, item)
            ]
        return self._asked[item]

    def _of_lot(self, lot: str, asked: Iterable[_Asked], of: Stock) -> Iterable[Due]:
        """What claims on a lot take of a set of an item. Trees grown for a customer are in no such
        set, so a claim on their lot is held against the lot alone."""
        known = self.books.lots.get(lot)
        item = _item_of(of)
        if known is not None and known.grown_for is not None and not item.buds:
            return ()
        wishes = [Wish(one.day, one.part, one.wanted) for one in asked]
        return drawn_by_day(wishes, self._where(lot, item), _of_any_lot(of))

    def left(self, of: Stock, wished: Sequence[Claim], day: int) -> int | None:
        """How many of a set are left beside those `wished` for a day; None: they take none of it,
        however short it is."""
        due = self.due(of, wished, day)
        if due == self.due(of):
            return None
        return left(self.steps(of, day), due, day)

    def taken(self, of: Stock, wished: Sequence[Claim], day: int) -> int:
        """How many of a set those wished for a day take."""
        return due_by(self.due(of, wished, day), FOR_EVER) - due_by(self.due(of), FOR_EVER)

    def on(self, needed_by: date | None) -> int:
        """The day on which what is needed by a day must be there."""
        return max(self.today, needed_by.toordinal() if needed_by else 0)


def _item_of(of: Stock) -> Item:
    return of.item if isinstance(of, Cross) else of[0]


def _plain(of: Cross, part: Part) -> Plain:
    """One of the sets that a union is reckoned by."""
    return (of.item._replace(grade=part.grade), part.site, None)


def _key(of: Plain) -> OutKey | None:
    """A set of trees of any lot, as supply names it."""
    item, site, lot = of
    if item.buds or lot is not None:
        return None
    return (item.cultivar, item.rootstock, item.size, item.grade, site or "")

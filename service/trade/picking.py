"""What a sale by item may take of the books: ready, held by nothing, kept for nobody else."""

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple
from zoneinfo import ZoneInfo

from service.trade import holds
from service.trade.accounts import UNGRADED, grade_of
from service.trade.allocating import Limit, Stand, choose
from service.trade.bench import Bench
from service.trade.books import Account, Claim, Lot
from service.trade.items import Item, parse_item
from service.trade.keeping import KEEPING_DAYS
from service.trade.verdicts import Refusal, refuse


class Picked(NamedTuple):
    """So many out of one account."""

    lot: Lot
    account: Account
    taken: int


class Picking:
    """What one sale takes, line by line: a later line finds what earlier ones left."""

    def __init__(self, bench: Bench, customer: str, reservation: str | None) -> None:
        """`reservation`: the one that the sale is for, if any."""
        self.bench, self.books = bench, bench.books
        self.customer, self.reservation = customer, reservation
        self.taken: dict[int, int] = {}
        now = bench.books.now or bench.moment.at
        self.now = now
        # Held on the day it is told of, or today: neither is sent.
        today = now.astimezone(ZoneInfo(bench.site.time_zone)).date()
        self.days = {bench.day, today}

    def take(self, account: Account, count: int) -> None:
        """Note that a line takes so many from an account."""
        self.taken[account.account_id] = self.taken.get(account.account_id, 0) + count

    def pick(self, of: Item, place: str | None, count: int, pointer: str) -> list[Picked]:
        """From where so many of an item are taken. Raises a refusal when there is not enough."""
        others = list(self._claims(own=False))
        graded = {item for claim in others if (item := parse_item(claim.item)).grade}
        here = {
            (lot.code, _spot(account), account.key.grade): (lot, account)
            for lot, account in self._of_item(of, place)
            if self._why_not(lot, account) is None and self.left(account) > 0
        }
        stands = [
            Stand(
                lot=lot.code,
                place=_spot(account),
                grade=account.key.grade,
                count=self.left(account),
                since=self._since(lot, account),
                asked_for=of._replace(grade=account.key.grade or UNGRADED) in graded,
            )
            for lot, account in here.values()
        ]
        lots = {stand.lot for stand in stands}
        by_lot: dict[str, list[Claim]] = {}
        for claim in others:
            if claim.lot is not None and claim.lot in lots and _alike(claim, of):
                by_lot.setdefault(claim.lot, []).append(claim)
        limits = [one for code, held in by_lot.items() for one in self._limits(code, of, held)]
        found = choose(count, stands, limits, self._kept(lots, of, count))
        available = sum(one.count for one in found)
        if available < count:
            raise self._too_few(of, place, count, available, pointer)
        picked = [(here[one.lot, one.place, one.grade], one.count) for one in found]
        for (_, account), taken in picked:
            self.take(account, taken)
        return [Picked(lot, account, taken) for (lot, account), taken in picked]

    # -- what is there -------------------------------------------------------------------

    def _of_item(
        self, of: Item, place: str | None, *, only: str | None = None
    ) -> Iterator[tuple[Lot, Account]]:
        """Ready trees, or buds in bags, of an item at the site; of one lot anywhere, any grade."""
        lots = self.books.lots
        for lot in lots.values() if only is None else (lots[only],):
            if lot.voided or lot.cultivar != of.cultivar:
                continue
            if lot.kind != ("budwood" if of.buds else "tree"):
                continue
            if not of.buds and lot.rootstock != of.rootstock:
                continue
            for key, account in self.books.accounts_of(lot.code).items():
                fits = ("bag", "", "") if of.buds else ("trees", "ready", of.size)
                if (key.kind, key.stage, key.size) != fits:
                    continue
                here = key.site == self.bench.here and place in (None, key.place)
                graded = not of.grade or key.grade == grade_of(of.grade)
                if only is not None or (here and graded):
                    yield lot, account

    def left(self, account: Account) -> int:
        """How many may be taken on the sale's day without any later day falling short."""
        day = self.bench.day
        days = [day, *(later for later in account.nets if later > day)]
        there = min(account.at_end_of(one) for one in days)
        return there - self.taken.get(account.account_id, 0)

    def _why_not(self, lot: Lot, account: Account) -> str | None:
        """Why none of an account may be taken; None: it may."""
        if self._held(lot, account):
            return "held"
        if self._came_back(account):
            return "came_back"
        if lot.grown_for not in (None, self.customer):
            return "grown_for_others"
        return "too_old" if lot.kind == "budwood" and self._too_old(lot) else None

    def _held(self, lot: Lot, account: Account) -> bool:
        tokens = {*lot.ancestry, f"place:{account.key.place}", f"site:{account.key.site}"}
        if lot.kind == "budwood":
            tokens |= self.books.bag_tokens(account.key.ref)
        return any(holds.blocking(self.books, holds.SELL, tokens, day) for day in self.days)

    def _too_old(self, lot: Lot) -> bool:
        """Wood past its crop's keeping time is for a person to choose."""
        entry = self.books.catalogue.entries.get(("cultivar", lot.cultivar or ""))
        keeps = KEEPING_DAYS.get(getattr(entry[0], "crop", "")) if entry else None
        if keeps is None or lot.day is None:
            return False
        return (self.bench.day - lot.day).days > keeps

    def _came_back(self, account: Account) -> bool:
        """Trees that came back stand apart until somebody has looked at them and moved them."""
        found = self.books.catalogue.entries.get(("place", account.key.place))
        return found is not None and getattr(found[0], "for_returns", False)

    def _since(self, lot: Lot, account: Account) -> date:
        if lot.kind == "budwood":
            # Of wood that nobody knows the age of, what is known to be old goes first.
            return lot.day or self.bench.day
        # What the loader knows nothing of became ready in this very group.
        return self.books.ready_since.get(lot.code) or account.last_day or self.bench.day

    # -- what others hold ----------------------------------------------------------------

    def _claims(self, *, own: bool) -> Iterator[Claim]:
        """Open claims of the sale's own reservation, or those of others that bind."""
        for one in self.books.reservations.values():
            if (one.code == self.reservation) != own or not one.counts_at(self.now):
                continue
            yield from (claim for claim in one.claims if claim.open)

    def _kept(self, lots: set[str], of: Item, count: int) -> dict[str, int]:
        """How many of which lots are kept for this customer: grown for it, or reserved by lot."""
        kept: dict[str, int] = {}
        for claim in self._claims(own=True):
            if claim.lot is not None and claim.lot in lots and _alike(claim, of):
                kept[claim.lot] = kept.get(claim.lot, 0) + claim.open
        for code in lots:
            if self.books.lots[code].grown_for == self.customer:
                kept[code] = count
        return kept

    def _limits(self, code: str, of: Item, held_by: list[Claim]) -> list[Limit]:
        """What may be taken of a lot beside what others hold of it by name."""
        claims = [(claim, parse_item(claim.item)) for claim in held_by]
        accounts = [
            account
            for lot, account in self._of_item(of, None, only=code)
            if self._why_not(lot, account) is None
        ]
        limits = []
        for grade in {None, *(item.grade or None for _, item in claims)}:
            for site in (self.bench.here, None):
                standing = sum(
                    self.left(account)
                    for account in accounts
                    if site in (None, account.key.site)
                    and (grade is None or account.key.grade == grade_of(grade))
                )
                held = sum(
                    claim.open
                    for claim, item in claims
                    if site in (None, claim.site) and grade in (None, item.grade)
                )
                of_grade = None if grade is None else grade_of(grade)
                limits.append(Limit(lot=code, grade=of_grade, most=max(standing - held, 0)))
        return limits

    # -- when there is not enough -----------------------------------------------------------

    def _too_few(
        self, of: Item, place: str | None, asked: int, available: int, pointer: str
    ) -> Refusal:
        why = dict.fromkeys(("held", "grown_for_others", "came_back", "too_old"), 0)
        there = 0
        for lot, account in self._of_item(of, place):
            count = max(self.left(account), 0)
            there += count
            if (reason := self._why_not(lot, account)) is not None:
                why[reason] += count
        why["reserved_by_lot"] = there - sum(why.values()) - available
        but = "; ".join(f"{count} are {_WORDS[name]}" for name, count in why.items() if count)
        at, why_not = place or self.bench.here, f": {but}." if but else "."
        are = "in bags" if of.buds else "ready"
        return refuse(
            "not_enough_ready",
            f"{asked} of {of.words} asked; {there} are {are} at {at}, {available} of them can go"
            f"{why_not}",
            pointer,
            asked=asked,
            available=available,
            ready=there,
            site=self.bench.here,
            **why,
        )


_WORDS = {
    "held": "held",
    "grown_for_others": "grown for other customers",
    "came_back": "standing apart because they came back",
    "too_old": "past their keeping time",
    "reserved_by_lot": "reserved by lot for others",
}


def _spot(account: Account) -> str:
    """Where the trees stand; of buds the bag, and where it lies."""
    key = account.key
    return f"{key.ref} {key.place}" if key.kind == "bag" else key.place


def _alike(claim: Claim, of: Item) -> bool:
    """Whether a claim on a lot is on what an item is of: buds, or trees of its size."""
    item = parse_item(claim.item)
    return item.buds == of.buds and item.size == of.size

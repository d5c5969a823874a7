"""What of the books a sale by item may take: ready, held by nothing, and kept for nobody else."""

from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

from service.trade import holds
from service.trade.accounts import UNGRADED, grade_of
from service.trade.allocating import Limit, Stand, Taken, choose
from service.trade.bench import Bench
from service.trade.books import Account, Claim, Lot
from service.trade.events.selling import SoldLine
from service.trade.items import Item, parse_item
from service.trade.verdicts import Refusal, refuse


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

    def pick(self, line: SoldLine, pointer: str) -> list[SoldLine]:
        """A line of an item as lines of lots. Raises a refusal when there is not enough."""
        stands = [
            Stand(
                lot=lot.code,
                place=account.key.place,
                grade=account.key.grade,
                count=self.left(account),
                since=self._since(lot, account),
                asked_for=self._asked_for(lot, account),
            )
            for lot, account in self._of_item(line)
            if self._may_go(lot, account) and self.left(account) > 0
        ]
        lots = {stand.lot for stand in stands}
        limits = [limit for code in sorted(lots) for limit in self._limits(code, line)]
        found = choose(line.count, stands, limits, self._kept(lots, line))
        if sum(one.count for one in found) < line.count:
            raise self._too_few(line, sum(one.count for one in found), pointer)
        return [self._picked(line, one) for one in found]

    def _picked(self, line: SoldLine, one: Taken) -> SoldLine:
        for key, account in self.books.accounts_of(one.lot).items():
            where = (key.kind, key.site, key.place, key.stage, key.size, key.grade)
            if where == ("trees", self.bench.here, one.place, "ready", line.size, one.grade):
                self.take(account, one.count)
        return SoldLine(
            lot=one.lot,
            place=one.place,
            stage="ready",
            size=line.size,
            grade=one.grade or None,
            count=one.count,
        )

    # -- what is there -------------------------------------------------------------------

    def _of_item(self, line: SoldLine, *, anywhere: bool = False) -> Iterator[tuple[Lot, Account]]:
        """Ready trees of the line's item at the site, or at all sites."""
        for lot in self.books.lots.values():
            if lot.kind != "tree" or lot.voided:
                continue
            if (lot.cultivar, lot.rootstock) != (line.cultivar, line.rootstock):
                continue
            for key, account in self.books.accounts_of(lot.code).items():
                if (key.kind, key.stage, key.size) != ("trees", "ready", line.size):
                    continue
                here = key.site == self.bench.here and line.place in (None, key.place)
                graded = line.grade is None or key.grade == grade_of(line.grade)
                if anywhere or (here and graded):
                    yield lot, account

    def left(self, account: Account) -> int:
        """How many may be taken on the sale's day without any later day falling short."""
        day = self.bench.day
        days = [day, *(later for later in account.nets if later > day)]
        there = min(account.at_end_of(one) for one in days)
        return there - self.taken.get(account.account_id, 0)

    def _may_go(self, lot: Lot, account: Account) -> bool:
        own = lot.grown_for in (None, self.customer)
        return own and not self._held(lot, account) and not self._came_back(account)

    def _held(self, lot: Lot, account: Account) -> bool:
        tokens = {*lot.ancestry, f"place:{account.key.place}", f"site:{account.key.site}"}
        return any(holds.blocking(self.books, holds.SELL, tokens, day) for day in self.days)

    def _came_back(self, account: Account) -> bool:
        """Trees that came back stand apart until somebody has looked at them and moved them."""
        found = self.books.catalogue.entries.get(("place", account.key.place))
        return found is not None and getattr(found[0], "for_returns", False)

    def _since(self, lot: Lot, account: Account) -> Any:
        # What the loader knows nothing of became ready in this very group.
        return self.books.ready_since.get(lot.code) or account.last_day or self.bench.day

    # -- what others hold ----------------------------------------------------------------

    def _claims(self, *, own: bool) -> Iterator[Claim]:
        """Open claims of the sale's own reservation, or those of others that bind."""
        for one in self.books.reservations.values():
            if (one.code == self.reservation) != own or not one.counts_at(self.now):
                continue
            yield from (claim for claim in one.claims if claim.open)

    def _kept(self, lots: set[str], line: SoldLine) -> dict[str, int]:
        """How many of which lots are kept for this customer: grown for it, or reserved by lot."""
        kept: dict[str, int] = {}
        for claim in self._claims(own=True):
            item = parse_item(claim.item)
            if claim.lot in lots and item.size == line.size and claim.lot is not None:
                kept[claim.lot] = kept.get(claim.lot, 0) + claim.open
        for code in lots:
            if self.books.lots[code].grown_for == self.customer:
                kept[code] = line.count
        return kept

    def _limits(self, code: str, line: SoldLine) -> list[Limit]:
        """What may be taken of a lot beside what others hold of it by name."""
        claims = [
            (claim, parse_item(claim.item))
            for claim in self._claims(own=False)
            if claim.lot == code
        ]
        claims = [(claim, item) for claim, item in claims if item.size == line.size]
        if not claims:
            return []
        accounts = [
            account
            for lot, account in self._of_item(line, anywhere=True)
            if lot.code == code and self._may_go(lot, account)
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

    def _asked_for(self, lot: Lot, account: Account) -> bool:
        """Whether somebody else was promised trees of this item in this very grade."""
        key = account.key
        of = (lot.cultivar, lot.rootstock, key.size, key.grade or UNGRADED, False)
        return any(parse_item(claim.item) == of for claim in self._claims(own=False))

    # -- when there is not enough -----------------------------------------------------------

    def _too_few(self, line: SoldLine, available: int, pointer: str) -> Refusal:
        why = {"held": 0, "grown_for_others": 0, "came_back": 0}
        ready = 0
        for lot, account in self._of_item(line):
            count = max(self.left(account), 0)
            ready += count
            if self._held(lot, account):
                why["held"] += count
            elif self._came_back(account):
                why["came_back"] += count
            elif lot.grown_for not in (None, self.customer):
                why["grown_for_others"] += count
        why["reserved_by_lot"] = ready - sum(why.values()) - available
        words = {
            "held": "held",
            "grown_for_others": "grown for other customers",
            "came_back": "standing apart because they came back",
            "reserved_by_lot": "reserved by lot for others",
        }
        but = "; ".join(f"{count} are {words[name]}" for name, count in why.items() if count)
        of = (line.cultivar or "", line.rootstock or "", line.size or "", line.grade or "")
        item = Item(*of, False)
        at = line.place or self.bench.here
        return refuse(
            "not_enough_ready",
            f"{line.count} of {item.words} asked; "
            f"{ready} are ready at {at}, {available} of them can go"
            + (f": {but}." if but else "."),
            f"{pointer}/count",
            asked=line.count,
            available=available,
            ready=ready,
            site=self.bench.here,
            **why,
        )

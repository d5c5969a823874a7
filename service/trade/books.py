"""The writer's books in memory: lots, bags, accounts, holds, claims, and the catalogue.

The same books serve the live writer (which loads into them what a group touches) and a full
refold (which starts with nothing): both go through the same code, so they must agree.
Every change is journalled, so that a unit which turns out refused leaves no trace.
"""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import msgspec

from service.trade.accounts import UNBOUNDED, Key, Posting
from service.trade.claimed import Claimed
from service.trade.entries import Catalogue
from service.trade.promising import PROMISED_AT
from service.trade.supply import ItemOut, OutKey, Override, Supply
from service.trade.verdicts import Refusal, refuse
from service.trade.work_orders import WorkDone, WorkOrder


class Lot(msgspec.Struct, kw_only=True, gc=False):
    """A budwood, liner or tree lot. `parents` and `ancestry` hold tokens like `bag:B12`."""

    lot_id: int
    code: str
    kind: str
    site: str
    cultivar: str | None = None
    rootstock: str | None = None
    source: str | None = None
    method: str | None = None
    day: date | None = None
    attempt: int = 1
    basis: str = "counted"
    identified: bool = True
    grown_for: str | None = None
    parents: tuple[str, ...] = ()
    ancestry: tuple[str, ...] = ()
    position: int = 0
    changed_position: int = 0
    voided: bool = False


class Bag(msgspec.Struct, kw_only=True, gc=False):
    """A labelled bag of a budwood lot."""

    code: str
    lot: str
    buds: int
    sticks: int | None = None
    basis: str = "counted"
    parent: str | None = None
    pieces: int | None = None
    buds_per_piece: int | None = None
    position: int = 0
    voided: bool = False


class Anchor(msgspec.Struct, frozen=True, gc=False):
    """A count of an account: late events before it don't change what stood there after it."""

    day: date
    at: datetime
    timed: bool
    position: int


class Account(msgspec.Struct, kw_only=True):
    """An account with its balance now and its net changes by day.

    `nets` is complete for the days after `Books.nets_from[lot]`, which is all that judging and
    deriving need.
    """

    account_id: int
    lot: str
    key: Key
    balance: int = 0
    last_day: date | None = None
    nets: dict[date, int] = msgspec.field(default_factory=dict)
    anchors: list[Anchor] = msgspec.field(default_factory=list)

    @property
    def bounded(self) -> bool:
        return self.key.kind not in UNBOUNDED

    def at_end_of(self, day: date) -> int:
        """Balance at the end of `day`."""
        if self.last_day is None or self.last_day <= day:
            return self.balance
        return self.balance - sum(net for when, net in self.nets.items() if when > day)


class Hold(msgspec.Struct, kw_only=True, gc=False):
    """A stop; in force from `from_day` until the day before `lifted_day`."""

    code: str
    kind: str
    target: str
    target_code: str
    site: str
    reason: str
    from_day: date
    position: int
    lifted_day: date | None = None
    lifted_position: int | None = None

    def in_force(self, day: date) -> bool:
        return self.from_day <= day and (self.lifted_day is None or day < self.lifted_day)

    @property
    def token(self) -> str:
        return f"{self.target}:{self.target_code}"


class Consignment(msgspec.Struct, kw_only=True, gc=False):
    """A load between two sites."""

    code: str
    from_site: str
    to_site: str
    sent_day: date
    sent_position: int
    received_day: date | None = None
    received_position: int | None = None
    voided: bool = False


class Claim(msgspec.Struct, kw_only=True, gc=False):
    """One line of a reservation: of those `asked` so many were `promised`, and are `open`."""

    line: int
    item: str
    lot: str | None
    site: str | None
    asked: int
    open: int
    promised: int


class Reservation(msgspec.Struct, kw_only=True):
    """A customer's claims."""

    code: str
    customer: str
    site: str
    any_site: bool
    made_day: date
    needed_by: date | None
    expires_at: datetime | None
    state: str
    position: int
    changed_position: int
    order_ref: str | None = None
    destination: list[str] = []
    confirmed_day: date | None = None
    # once its expiry was recorded
    expired_day: date | None = None
    claims: list[Claim]

    def counts_at(self, now: datetime) -> bool:
        """Whether its open lines still bind: an expired claim stops by itself."""
        return self.state == "open" and (self.expires_at is None or now < self.expires_at)


class Recorded(msgspec.Struct, kw_only=True):
    """An accepted event as the books remember it, for voiding and for known ids."""

    position: int
    event_id: str
    type: str
    digest: bytes
    event: Any = None
    day: date | None = None
    at: datetime | None = None
    timed: bool = False
    voided_by: int | None = None
    postings: list[Posting] = msgspec.field(default_factory=list)


def unknown_lot(code: str, pointer: str) -> Refusal:
    return refuse("unknown_code", f"No lot {code} is known.", pointer, code=code)


class Books:
    """All that judging one group needs. See the module's docstring."""

    def __init__(self) -> None:
        self.position = 0
        self.now: datetime | None = None
        self.next_account_id = 1
        self.next_lot_id = 1
        self.catalogue = Catalogue()
        self.lots: dict[str, Lot] = {}
        self.lot_by_id: dict[int, Lot] = {}
        self.bags: dict[str, Bag] = {}
        self.accounts: dict[str, dict[Key, Account]] = {}
        self.account_by_id: dict[int, Account] = {}
        self.holds: dict[str, Hold] = {}
        self.consignments: dict[str, Consignment] = {}
        self.reservations: dict[str, Reservation] = {}
        # what binds, added up when it was last asked for; and the reservations that changed since
        self.claimed: Claimed | None = None
        self.reclaimed: set[str] = set()
        self.work_orders: dict[str, WorkOrder] = {}
        # graftings for orders, by their events' positions
        self.work_done: dict[int, WorkDone] = {}
        # what of each item was sold at each site, after the position `out_from`
        self.items_out: dict[OutKey, ItemOut] = {}
        self.out_from = 0
        self.overrides: dict[str, Override] = {}
        # told by the forecast, at the confidence; the loader's, and never part of a refold
        self.supply: dict[OutKey, Supply] = {}
        self.confidence = PROMISED_AT
        self.recorded: dict[str, Recorded] = {}
        # later facts of a lot, by token: positions of unvoided events that speak of it
        self.spoken: dict[str, dict[int, str]] = {}
        # parents that each standing event told of a lot, by its code and the event's position
        self.makings: dict[str, dict[int, tuple[str, ...]]] = {}
        # opposites that late events posted at a count, by the count's position
        self.anchored: dict[int, list[Posting]] = {}
        # minted codes looked up and found free
        self.fresh: list[str] = []
        # since when trees of a lot are ready, where a sale by item may take them; the loader's
        self.ready_since: dict[str, date] = {}
        # what was sold since the day of a hold that is dated back, by the hold's token
        self.sold_since: dict[str, list[dict[str, Any]]] = {}
        self.journal: list[Callable[[], None]] = []
        # lots that events spoke of, by id: at least the position of their last change moved
        self.touched: dict[int, Lot] = {}
        # what may have changed, by identity: a superset of what the writer has to write
        self.dirty: dict[int, Any] = {}

    # -- journalled change --------------------------------------------------

    def mark(self) -> int:
        """A point to return to with `roll_back`."""
        return len(self.journal)

    def roll_back(self, mark: int) -> None:
        """Undo every change since `mark`."""
        while len(self.journal) > mark:
            self.journal.pop()()

    def let_go(self) -> None:
        """Forget what changed and how to undo it. Both refer to these books, and they to both: a
        group's tens of thousands of objects would stay until the collector comes for them."""
        self.journal.clear()
        self.dirty.clear()

    def put(self, table: dict[Any, Any], key: Any, value: Any) -> None:
        """Set `table[key]`, journalled."""
        missing = key not in table
        old = table.get(key)

        def undo() -> None:
            self._reclaim(value)
            if missing:
                del table[key]
            else:
                table[key] = old

        self._reclaim(value)
        table[key] = value
        self.dirty[id(value)] = value
        self.journal.append(undo)

    def alter(self, thing: Any, **values: Any) -> None:
        """Set attributes of a mutable record, journalled."""
        old = {name: getattr(thing, name) for name in values}

        def undo() -> None:
            self._reclaim(thing)
            for name, value in old.items():
                setattr(thing, name, value)

        self._reclaim(thing)
        for name, value in values.items():
            setattr(thing, name, value)
        self.dirty[id(thing)] = thing
        self.journal.append(undo)

    def _reclaim(self, thing: Any) -> None:
        """Lines of a reservation never change but with the reservation."""
        if type(thing) is Reservation:
            self.reclaimed.add(thing.code)

    def touch(self, lot: Lot, position: int) -> None:
        """Say that an event spoke of the lot, journalled."""
        old = lot.changed_position

        def undo() -> None:
            lot.changed_position = old

        lot.changed_position = position
        self.touched[lot.lot_id] = lot
        self.journal.append(undo)

    def set_anchors(self, account: Account, anchors: list[Anchor]) -> None:
        self.alter(account, anchors=anchors)

    # -- lots, bags, accounts -------------------------------------------------

    def lot(self, code: str, pointer: str, kind: str | None = None) -> Lot:
        """The lot, or a refusal. One whose making was voided is not known any more."""
        lot = self.lots.get(code)
        if lot is None or lot.voided:
            raise unknown_lot(code, pointer)
        if kind is not None and lot.kind != kind:
            raise refuse(
                "wrong_kind",
                f"{code} is a {lot.kind} lot, not a {kind} lot.",
                pointer,
                code=code,
                is_a=lot.kind,
            )
        return lot

    def bag(self, code: str, pointer: str) -> Bag:
        """The bag, or a refusal. One whose filling was voided is not known any more."""
        found = self.bags.get(code)
        if found is None or found.voided:
            raise refuse("unknown_code", f"No bag {code} is known.", pointer, code=code)
        return found

    def bag_tokens(self, code: str) -> set[str]:
        """Tokens of the bag and of the bags that its pieces were cut from."""
        tokens: set[str] = set()
        next_one: str | None = code
        # Codes may be used again after a void: a ring of bags must end all the same.
        while next_one and f"bag:{next_one}" not in tokens:
            tokens.add(f"bag:{next_one}")
            bag = self.bags.get(next_one)
            next_one = bag.parent if bag else None
        return tokens

    def accounts_of(self, lot: str) -> dict[Key, Account]:
        return self.accounts.setdefault(lot, {})

    def account(self, lot: str, key: Key) -> Account:
        """The account, opened when it is new."""
        table = self.accounts_of(lot)
        account = table.get(key)
        if account is None:
            account = Account(account_id=self.next_account_id, lot=lot, key=key)
            self.next_account_id += 1
            self.account_by_id[account.account_id] = account
            made = account

            def undo() -> None:
                # Accounts are undone newest first, so the counter falls back in step.
                del table[key]
                del self.account_by_id[made.account_id]
                self.next_account_id -= 1

            table[key] = account
            self.dirty[id(account)] = account
            self.journal.append(undo)
        return account

    def post(self, account: Account, day: date, delta: int) -> None:
        """Change a balance and its day's net, journalled."""
        old_balance, old_last, old_net = account.balance, account.last_day, account.nets.get(day)

        def undo() -> None:
            account.balance, account.last_day = old_balance, old_last
            if old_net is None:
                del account.nets[day]
            else:
                account.nets[day] = old_net

        account.balance = old_balance + delta
        if old_last is None or day > old_last:
            account.last_day = day
        account.nets[day] = (old_net or 0) + delta
        self.dirty[id(account)] = account
        self.journal.append(undo)

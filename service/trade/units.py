"""A unit of events, taken into the books as one: all of it, or nothing.

The same code serves the live writer and the refold. Live, each event is first completed; in a
refold the stored events are complete already. Then legs, counts, draws and facts follow alike.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

import msgspec

from service.trade import accounts as acc
from service.trade.accounts import Posting
from service.trade.bench import Bench
from service.trade.books import Account, Books, Recorded
from service.trade.completing import complete
from service.trade.events import selling, stock
from service.trade.events.envelope import Envelope
from service.trade.items import Item
from service.trade.judging import Short, shortage, soft
from service.trade.legs import legs_of
from service.trade.recording import record
from service.trade.shortages import below_zero
from service.trade.shortfalls import shortfalls
from service.trade.subjects import Subject, sites_of, subjects_of
from service.trade.verdicts import Fault, Refusal, Remark
from service.trade.voiding import others_on, undo_facts
from service.trade.words import Moment


class Incoming(msgspec.Struct, frozen=True, gc=False):
    """An event to be taken in. `event.id` is set; `index` is its place in the request."""

    event: Envelope
    moment: Moment
    digest: bytes
    index: int = 0


class Accepted(msgspec.Struct, kw_only=True):
    """An event in the books, complete, at its position."""

    event: Envelope
    moment: Moment
    digest: bytes
    index: int
    position: int
    remarks: list[Remark]
    subjects: set[Subject] = set()
    sites: list[str] = []
    postings: list[Posting] = []


class UnitRefused(Exception):
    """A unit can't be recorded: faults by the index of the event they are about."""

    def __init__(self, faults: dict[int, list[Fault]]) -> None:
        super().__init__(str(faults))
        self.faults = faults


# Within one day, what brings things in is told first, then what is ordered, so that receipts,
# orders and uses of one day may be sent in any order; voids come before everything that may replace
# what they void.
_TOLD_FIRST = {
    "catalogue.changed": 0,
    "stock.opened": 0,
    "budwood.cut": 0,
    "budwood.received": 0,
    "liners.received": 0,
    "trees.received": 0,
    "consignment.received": 0,
    "grafting.ordered": 1,
}


def order_key(incoming: Incoming) -> tuple[Any, ...]:
    """Order of telling inside a unit and among units."""
    kind = str(incoming.event.__struct_config__.tag)
    moment = incoming.moment
    if kind == "event.voided":
        return (0, moment.day, 0, moment.at, incoming.index)
    return (1, moment.day, _TOLD_FIRST.get(kind, 2), moment.at, incoming.index)


def take_in(
    books: Books, unit: Sequence[Incoming], *, completed: bool = False, judged: bool = False
) -> list[Accepted]:
    """Judge a unit and leave it in the books, or raise UnitRefused and leave no trace.

    With `completed` the events are taken as stored and nothing is refused: a refold, which shows a
    damaged log as it is. With `judged` too, what falls below zero is refused all the same.
    """
    mark = books.mark()
    try:
        return _Unit(books).run(unit, completed, judged or not completed)
    except UnitRefused:
        books.roll_back(mark)
        raise


class _Unit:
    def __init__(self, books: Books) -> None:
        self.books = books
        self.accepted: list[Accepted] = []
        # by account id
        self.touched: dict[int, _Touched] = {}
        self.faults: dict[int, list[Fault]] = {}

    def run(self, unit: Sequence[Incoming], completed: bool, judged: bool) -> list[Accepted]:
        for incoming in sorted(unit, key=order_key):
            try:
                self._one(incoming, completed)
            except Refusal as refusal:
                self.faults.setdefault(incoming.index, []).extend(refusal.faults)
        if not self.faults:
            self._judge(judged)
        if not self.faults and not completed:
            self._stand_on()
        if self.faults:
            raise UnitRefused(self.faults)
        return self.accepted

    def _one(self, incoming: Incoming, completed: bool) -> None:
        books, event, moment = self.books, incoming.event, incoming.moment
        bench = Bench(books, event, moment)
        if not completed:
            event = complete(bench)
        position = books.position + 1
        accepted = Accepted(
            event=event,
            moment=moment,
            digest=incoming.digest,
            index=incoming.index,
            position=position,
            remarks=bench.remarks,
        )
        books.alter(books, position=position)
        if isinstance(event, stock.EventVoided):
            self._void(accepted, event)
        else:
            record(books, event, moment, position)
            self._before_a_count(accepted, legs := legs_of(event))
            for leg in legs:
                account = books.account(leg.lot, leg.key)
                self._post(accepted, account, moment.day, moment.at, moment.timed, leg.delta)
        accepted.subjects = subjects_of(event, books)
        accepted.sites = sites_of(event, books)
        self._remember(accepted)
        if not completed:
            self._shortfalls(bench, accepted)
        self.accepted.append(accepted)

    def _remember(self, accepted: Accepted) -> None:
        books, event = self.books, accepted.event
        recorded = Recorded(
            position=accepted.position,
            event_id=event.id or "",
            type=str(event.__struct_config__.tag),
            digest=accepted.digest,
            event=event,
            day=accepted.moment.day,
            at=accepted.moment.at,
            timed=accepted.moment.timed,
            postings=accepted.postings,
        )
        books.put(books.recorded, event.id, recorded)
        for kind, code in accepted.subjects:
            if kind == "lot" and code in books.lots:
                books.touch(books.lots[code], accepted.position)
            if not isinstance(event, stock.EventVoided):
                spoken = books.spoken.setdefault(f"{kind}:{code}", {})
                books.put(spoken, accepted.position, event.id)

    # -- postings ---------------------------------------------------------------

    def _post(
        self,
        accepted: Accepted,
        account: Account,
        day: date,
        at: datetime,
        timed: bool,
        delta: int,
        anchor: int | None = None,
    ) -> None:
        """Post a leg; if a count of the account comes after it, its opposite is posted there."""
        if not delta:
            return
        books = self.books
        lot = books.lots[account.lot]
        accepted.postings.append(
            Posting(
                lot.lot_id,
                account.account_id,
                day,
                at,
                accepted.position,
                account.key.site,
                delta,
                anchor,
            )
        )
        books.post(account, day, delta)
        touched = self.touched.get(account.account_id)
        if touched is None:
            self.touched[account.account_id] = _Touched(account, day, at, accepted, delta < 0)
        else:
            if day < touched.first:
                touched.first, touched.at = day, at
            if delta < 0 and not touched.taken:
                touched.by, touched.taken = accepted, True
        if not account.anchors:
            return
        later = [
            count
            for count in account.anchors
            if count.position != accepted.position
            and (count.day > day or (count.day == day and timed and count.timed and count.at > at))
        ]
        if later:
            count = min(later, key=lambda c: (c.day, c.at, c.position))
            variance = books.account(account.lot, acc.variance(account.key.site, account.key[7]))
            for target, part in ((account, -delta), (variance, delta)):
                self._post_at_count(accepted, target, count, part)

    def _post_at_count(self, accepted: Accepted, account: Account, count: Any, part: int) -> None:
        books = self.books
        accepted.postings.append(
            Posting(
                books.lots[account.lot].lot_id,
                account.account_id,
                count.day,
                count.at,
                accepted.position,
                account.key.site,
                part,
                count.position,
            )
        )
        books.post(account, count.day, part)
        posting = accepted.postings[-1]
        held = books.anchored.setdefault(count.position, [])
        held.append(posting)

        def undo() -> None:
            held.pop()

        books.journal.append(undo)

    def _before_a_count(self, accepted: Accepted, legs: list[acc.Leg]) -> None:
        day = accepted.moment.day
        for leg in legs:
            account = self.books.accounts_of(leg.lot).get(leg.key)
            if account is None:
                continue
            counts = [a.day for a in account.anchors if a.day > day]
            if counts:
                accepted.remarks.append(
                    Remark(
                        kind="before_a_count",
                        detail=f"It lies before the count of {min(counts)}; what was counted then "
                        "stays what was counted.",
                        numbers={"lot": leg.lot, "counted_on": str(min(counts))},
                    )
                )
                return

    # -- voiding ------------------------------------------------------------------

    def _void(self, accepted: Accepted, event: stock.EventVoided) -> None:
        """Reverse the voided event's legs at its own date, and undo its facts."""
        books = self.books
        recorded = books.recorded[event.data.event]
        books.alter(recorded, voided_by=accepted.position)
        voided = recorded.event
        timed = recorded.timed
        undo_facts(books, voided, recorded.position, accepted.position)
        base = [p for p in recorded.postings if p.anchor is None]
        for posting in base:
            account = books.account_by_id[posting.account_id]
            self._post(accepted, account, posting.day, posting.at, timed, -posting.delta)
        # A voided count no longer keeps anything true: late events before it count in full again.
        kept = list(books.anchored.get(recorded.position, ()))
        for posting in kept:
            account = books.account_by_id[posting.account_id]
            self._post(accepted, account, posting.day, posting.at, timed, -posting.delta)
        if kept:
            books.put(books.anchored, recorded.position, [])

    def _stand_on(self) -> None:
        for accepted in self.accepted:
            if isinstance(accepted.event, stock.EventVoided):
                fault = others_on(self.books, accepted.event)
                if fault is not None:
                    self.faults.setdefault(accepted.index, []).append(fault)

    # -- judging --------------------------------------------------------------------

    def _judge(self, judged: bool) -> None:
        """Walk every touched account; an estimated one draws what it lacks from variance."""
        for touched in list(self.touched.values()):
            short = shortage(touched.account, touched.first)
            if short is None:
                continue
            if soft(self.books, touched.account, touched.first):
                self._draw(touched, short)
                # A count in between has set the book again: what is taken after it is not covered.
                short = shortage(touched.account, touched.first)
            if short is not None and judged:
                faults = self.faults.setdefault(touched.by.index, [])
                faults.append(below_zero(self.books, short, self._asked(short)))

    def _asked(self, short: Short) -> int:
        """How much the unit takes from the account by the day on which it falls short."""
        account_id = short.account.account_id
        return -sum(
            posting.delta
            for accepted in self.accepted
            for posting in accepted.postings
            if posting.account_id == account_id and posting.day <= short.day
        )

    def _draw(self, touched: "_Touched", short: Short) -> None:
        account, accepted, first = touched.account, touched.by, touched.first
        moment = accepted.moment
        ats = (p.at for p in accepted.postings if p.day == first)
        at = next(ats, touched.at)
        variance = self.books.account(account.lot, acc.variance(account.key.site, account.key[7]))
        for target, part in ((account, short.worst), (variance, -short.worst)):
            self._post(accepted, target, first, at, moment.timed, part)
        what = account.key.ref or account.lot
        accepted.remarks.append(
            Remark(
                kind="drawn_on_estimate",
                detail=f"{what} was not counted and gave {short.worst} more than its figure.",
                numbers={"of": what, "more": short.worst},
            )
        )

    def _shortfalls(self, bench: Bench, accepted: Accepted) -> None:
        """Losses and sales are never refused for what is promised; they are remarked."""
        if not self.books.reservations or isinstance(
            accepted.event, selling.ReservationMade | selling.ReservationChanged
        ):
            return
        touched: dict[str, set[tuple[Item, str]]] = {}
        for posting in accepted.postings:
            account = self.books.account_by_id[posting.account_id]
            key, lot = account.key, self.books.lots[account.lot]
            if posting.delta >= 0:
                continue
            if key.kind == "trees" and key.stage == "ready":
                item = Item(lot.cultivar or "", lot.rootstock or "", key.size, "", False)
            elif key.kind == "bag":
                item = Item(lot.cultivar or "", "", "", "", True)
            else:
                continue
            touched.setdefault(key.site, set()).add((item, lot.code))
        for site, items in touched.items():
            shortfalls(bench, items, site)


class _Touched(msgspec.Struct):
    """An account of a unit: its first day in it with a time of that day, and the
    event that first took from it."""

    account: Account
    first: date
    at: datetime
    by: Accepted
    taken: bool

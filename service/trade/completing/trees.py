"""Completing events of trees after grafting, and of consignments."""

from typing import Any

from msgspec.structs import replace

from service.trade import holds
from service.trade.accounts import Key, grade_of
from service.trade.bench import Bench
from service.trade.books import Account, Lot
from service.trade.completing import completes
from service.trade.completing.budwood import day_given
from service.trade.completing.liners import all_of, no_stage
from service.trade.events.trees import (
    ConsignmentReceived,
    ConsignmentReceivedData,
    ConsignmentSent,
    ConsignmentSentData,
    ReceivedLine,
    SentLine,
    TreesGraded,
    TreesGradedData,
    TreesLost,
    TreesLostData,
    TreesMoved,
    TreesMovedData,
    TreesPotted,
    TreesPottedData,
    TreesReceived,
    TreesReceivedData,
)
from service.trade.verdicts import refuse


@completes(TreesReceived)
def _received(bench: Bench, d: TreesReceivedData) -> TreesReceivedData:
    bench.books.catalogue.cultivar(d.cultivar, "#/data/cultivar")
    bench.books.catalogue.rootstock(d.rootstock, "#/data/rootstock")
    bench.size(d.size, "#/data/size")
    bench.place(d.place, "#/data/place")
    day_given(bench, d.grafted_on, "#/data/grafted_on")
    if d.document is None:
        bench.remark(
            "no_document",
            "Bought-in trees came without a passport or certificate number; local rules may ask "
            "for one.",
        )
    lot = bench.mint(d.lot)
    bench.new_lot(lot, "#/data/lot")
    return replace(d, lot=lot)


def _standing(bench: Bench, d: Any, action: str) -> tuple[Lot, Account]:
    lot = bench.books.lot(d.lot, "#/data/lot", "tree")
    account = bench.pick_key(lot, d, "#/data/place")
    bench.held(action, lot, [account.key], "#/data/lot")
    return lot, account


def _where(key: Key) -> dict[str, Any]:
    return {
        "place": key.place,
        "stage": key.stage,
        "size": key.size,
        "grade": key.grade or None,
    }


@completes(TreesLost)
def _lost(bench: Bench, d: TreesLostData) -> TreesLostData:
    lot = bench.books.lot(d.lot, "#/data/lot", "tree")
    account = bench.pick_key(lot, d, "#/data/place")
    # Writing down a death is a fact that no hold may hinder; throwing live trees away is not.
    if d.cause == "culled":
        bench.held(holds.DISCARD, lot, [account.key], "#/data/cause")
    return replace(d, **_where(account.key))


@completes(TreesMoved)
def _moved(bench: Bench, d: TreesMovedData) -> TreesMovedData:
    bench.place(d.to, "#/data/to")
    _, account = _standing(bench, d, holds.MOVE)
    bench.changes(account, "#/data/to", place=d.to)
    count = all_of(bench, account, d.count, "#/data/count")
    return replace(d, count=count, **_where(account.key))


@completes(TreesPotted)
def _potted(bench: Bench, d: TreesPottedData) -> TreesPottedData:
    bench.size(d.to_size, "#/data/to_size")
    if d.to is not None:
        bench.place(d.to, "#/data/to")
    _, account = _standing(bench, d, holds.MOVE)
    bench.changes(account, "#/data/to_size", size=d.to_size, place=d.to)
    count = all_of(bench, account, d.count, "#/data/count")
    return replace(d, count=count, to=d.to or account.key.place, **_where(account.key))


@completes(TreesGraded)
def _graded(bench: Bench, d: TreesGradedData) -> TreesGradedData:
    lot = bench.books.lot(d.lot, "#/data/lot", "tree")
    account = bench.pick_key(lot, d, "#/data/place")
    graded, there = sum(outcome.count for outcome in d.outcomes), account.at_end_of(bench.day)
    # Trees that keep stage and grade have no legs by which the judge could see them.
    if graded > there:
        raise refuse(
            "counts_disagree",
            f"{graded} were graded, the book has {there} there. A stock count would settle it.",
            "#/data/outcomes",
            graded=graded,
            book=there,
        )
    return replace(d, **_where(account.key))


@completes(ConsignmentSent)
def _sent(bench: Bench, d: ConsignmentSentData) -> ConsignmentSentData:
    bench.books.catalogue.site(d.to_site, "#/data/to_site")
    if d.to_site == bench.here:
        raise refuse(
            "counts_disagree",
            "A consignment goes to another site; inside a site plants are moved.",
            "#/data/to_site",
            site=bench.here,
        )
    code = bench.mint(d.consignment)
    known = bench.books.consignments.get(code)
    if known is not None and not known.voided:
        raise refuse("code_in_use", f"Consignment {code} exists.", "#/data/consignment", code=code)
    lines, taken = [], dict[int, int]()
    for index, line in enumerate(d.lines):
        at = f"#/data/lines/{index}"
        lot, account = _line_account(bench, line, at)
        bench.held(holds.SEND, lot, [account.key], at)
        count = line.count
        if count is None:
            count = account.at_end_of(bench.day) - taken.get(account.account_id, 0)
            if count <= 0:
                raise refuse("nothing_there", "By the book nothing stands there.", at)
        taken[account.account_id] = taken.get(account.account_id, 0) + count
        where = (
            _where(account.key)
            if account.key.kind == "trees"
            else {
                "place": account.key.place,
                "size": account.key.size or None,
            }
        )
        lines.append(replace(line, lot=lot.code, count=count, **where))
    return replace(d, consignment=code, lines=lines)


def _line_account(bench: Bench, line: SentLine, at: str) -> tuple[Lot, Account]:
    if (line.bag is None) == (line.lot is None):
        raise refuse("missing", "Name either `lot` or `bag`.", at)
    if line.bag is not None:
        bag = bench.books.bag(line.bag, f"{at}/bag")
        return bench.books.lots[bag.lot], bench.bag_account(bag, line.place, f"{at}/bag")
    lot = bench.books.lot(line.lot or "", f"{at}/lot")
    if lot.kind == "budwood":
        raise refuse("missing", "Name the bag that is sent.", f"{at}/bag", lot=lot.code)
    no_stage(lot, line.stage, at)
    if lot.kind == "tree":
        return lot, bench.pick_key(lot, line, f"{at}/lot")
    return lot, bench.pick(lot, "liners", f"{at}/lot", place=line.place, size=line.size)


@completes(ConsignmentReceived)
def _consignment_received(bench: Bench, d: ConsignmentReceivedData) -> ConsignmentReceivedData:
    load = bench.books.consignments.get(d.consignment)
    if load is None or load.voided or load.to_site != bench.here:
        raise refuse(
            "unknown_code",
            f"No consignment {d.consignment} is on its way to {bench.here}.",
            "#/data/consignment",
            code=d.consignment,
        )
    if load.received_position is not None:
        raise refuse(
            "received_already",
            f"Consignment {load.code} was received on {load.received_day}. What came later is "
            "recorded with a stock count where it stands now.",
            "#/data/consignment",
            consignment=load.code,
            received_on=str(load.received_day),
        )
    arrived = [_arrived(bench, d, index) for index in range(len(d.lines))]
    travelling = {id(account): account for _, account in arrived if account is not None}
    rest = {key: account.balance for key, account in travelling.items()}
    lines: list[ReceivedLine] = []
    last = {id(account): i for i, (_, account) in enumerate(arrived)}
    for index, (line, account) in enumerate(arrived):
        if account is None:
            lines.append(replace(line, sent=0))
            continue
        key = id(account)
        sent = rest[key] if last[key] == index else min(rest[key], line.count + line.dead)
        rest[key] -= sent
        lines.append(replace(line, sent=sent))
    lines += _never_arrived(bench, d, set(travelling))
    for line in lines:
        _say_difference(bench, line)
    return replace(d, lines=lines)


def _arrived(
    bench: Bench, d: ConsignmentReceivedData, index: int
) -> tuple[ReceivedLine, Account | None]:
    """The line with its lot, stage, size and grade filled, and the account in transit.

    What arrived without having been sent in this load (a surplus) has no account in transit.
    """
    at, line = f"#/data/lines/{index}", d.lines[index]
    bench.place(line.place, f"{at}/place")
    if (line.bag is None) == (line.lot is None):
        raise refuse("missing", "Name either `lot` or `bag`.", at)
    bag = bench.books.bag(line.bag, f"{at}/bag") if line.bag else None
    lot = bench.books.lot(bag.lot if bag else line.lot or "", f"{at}/lot")
    if bag is None and lot.kind == "budwood":
        raise refuse("missing", "Name the bag that arrived.", f"{at}/bag", lot=lot.code)
    no_stage(lot, line.stage, at)
    fits = [
        account
        for key, account in bench.books.accounts_of(lot.code).items()
        if key.kind == "transit"
        and key.place == d.consignment
        and key.site == bench.here
        and key.ref == (bag.code if bag else "")
        and line.stage in (None, key.stage)
        and line.size in (None, key.size)
        and (line.grade is None or grade_of(line.grade) == key.grade)
    ]
    if len(fits) > 1:
        # not what a voided sending left empty
        fits = [account for account in fits if account.balance > 0] or fits
    if len(fits) > 1:
        raise refuse("say_which", f"{lot.code} was sent in several stages or sizes.", at)
    if not fits:
        if lot.kind == "tree" and (line.stage is None or line.size is None):
            raise refuse(
                "nothing_there",
                f"{lot.code} is not in consignment {d.consignment}; name stage and size to record "
                "it as surplus.",
                at,
                lot=lot.code,
            )
        if lot.kind == "liner" and line.size is None:
            raise refuse("nothing_there", f"{lot.code} is not in the load; name its size.", at)
        return replace(line, lot=lot.code), None
    key = fits[0].key
    filled = replace(
        line,
        lot=lot.code,
        stage=key.stage or None,
        size=key.size or None,
        grade=key.grade or None,
    )
    return filled, fits[0]


def _never_arrived(bench: Bench, d: ConsignmentReceivedData, seen: set[int]) -> list[ReceivedLine]:
    """Lines for what was sent and nobody wrote down as arrived: short by all of it."""
    lines = []
    for lot, table in bench.books.accounts.items():
        for key, account in table.items():
            if (
                key.kind == "transit"
                and key.place == d.consignment
                and account.balance > 0
                and id(account) not in seen
            ):
                lines.append(
                    ReceivedLine(
                        lot=lot,
                        bag=key.ref or None,
                        stage=key.stage or None,  # type: ignore[arg-type]
                        size=key.size or None,
                        grade=key.grade or None,
                        place=d.lines[0].place,
                        count=0,
                        dead=0,
                        sent=account.balance,
                    )
                )
    return lines


def _say_difference(bench: Bench, line: ReceivedLine) -> None:
    difference = line.count + line.dead - (line.sent or 0)
    if difference or line.dead:
        word = "surplus" if difference > 0 else "short" if difference < 0 else "dead on arrival"
        bench.remark(
            "consignment_differs",
            f"{line.bag or line.lot}: sent {line.sent}, arrived {line.count}, dead {line.dead} "
            f"({word}).",
            lot=line.lot,
            sent=line.sent,
            arrived=line.count,
            dead=line.dead,
            difference=difference,
        )

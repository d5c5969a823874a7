"""Completing liner events."""

from msgspec.structs import replace

from service.trade import holds
from service.trade.bench import Bench
from service.trade.books import Account, Lot
from service.trade.completing import completes
from service.trade.events.liners import (
    LinersDiscarded,
    LinersDiscardedData,
    LinersMoved,
    LinersMovedData,
    LinersPotted,
    LinersPottedData,
    LinersReceived,
    LinersReceivedData,
)
from service.trade.verdicts import refuse


@completes(LinersReceived)
def _received(bench: Bench, d: LinersReceivedData) -> LinersReceivedData:
    bench.books.catalogue.rootstock(d.rootstock, "#/data/rootstock")
    bench.size(d.size, "#/data/size")
    for index, line in enumerate(d.lines):
        bench.place(line.place, f"#/data/lines/{index}/place")
    lot = bench.mint(d.lot)
    bench.new_lot(lot, "#/data/lot")
    return replace(d, lot=lot)


def standing(
    bench: Bench, d: LinersDiscardedData | LinersMovedData | LinersPottedData, action: str | None
) -> Account:
    """The account of liners that the event speaks of; `action` is what a hold may block."""
    lot = bench.books.lot(d.lot, "#/data/lot", "liner")
    account = bench.pick(lot, "liners", "#/data/place", place=d.place, size=d.size)
    if action is not None:
        bench.held(action, lot, [account.key], "#/data/lot")
    return account


def no_stage(lot: Lot, stage: str | None, at: str) -> None:
    """Refuse a stage said of what has none: it would stand on an account of trees."""
    if stage is not None and lot.kind != "tree":
        raise refuse(
            "wrong_kind",
            f"{lot.code} is a {lot.kind} lot; only trees have a stage.",
            f"{at}/stage",
            code=lot.code,
            is_a=lot.kind,
        )


def all_of(bench: Bench, account: Account, count: int | None, pointer: str) -> int:
    """The number said, or all that stands there on that day."""
    if count is not None:
        return count
    there = account.at_end_of(bench.day)
    if there <= 0:
        raise refuse(
            "nothing_there",
            f"By the book nothing of {account.lot} stands there on {bench.day}.",
            pointer,
            lot=account.lot,
        )
    return there


@completes(LinersDiscarded)
def _discarded(bench: Bench, d: LinersDiscardedData) -> LinersDiscardedData:
    # Writing down a death is a fact that no hold may hinder; throwing live plants away is not.
    account = standing(bench, d, holds.DISCARD if d.cause == "culled" else None)
    return replace(d, place=account.key.place, size=account.key.size)


@completes(LinersMoved)
def _moved(bench: Bench, d: LinersMovedData) -> LinersMovedData:
    bench.place(d.to, "#/data/to")
    account = standing(bench, d, holds.MOVE)
    bench.changes(account, "#/data/to", place=d.to)
    count = all_of(bench, account, d.count, "#/data/count")
    return replace(d, place=account.key.place, size=account.key.size, count=count)


@completes(LinersPotted)
def _potted(bench: Bench, d: LinersPottedData) -> LinersPottedData:
    bench.size(d.to_size, "#/data/to_size")
    if d.to is not None:
        bench.place(d.to, "#/data/to")
    account = standing(bench, d, holds.MOVE)
    bench.changes(account, "#/data/to_size", size=d.to_size, place=d.to)
    count = all_of(bench, account, d.count, "#/data/count")
    place = account.key.place
    return replace(d, place=place, size=account.key.size, count=count, to=d.to or place)

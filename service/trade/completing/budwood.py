"""Completing budwood events."""

from zoneinfo import ZoneInfo

from msgspec.structs import replace

from service.trade import holds
from service.trade.bench import Bench
from service.trade.books import Lot
from service.trade.completing import completes
from service.trade.events.budwood import (
    BagFill,
    BudLine,
    BudwoodCut,
    BudwoodCutData,
    BudwoodDiscarded,
    BudwoodDiscardedData,
    BudwoodMoved,
    BudwoodMovedData,
    BudwoodReceived,
    BudwoodReceivedData,
    ScionsPrepared,
    ScionsPreparedData,
)
from service.trade.events.catalogue import Site
from service.trade.verdicts import refuse
from service.trade.words import understand_occurred


def new_bags(bench: Bench, bags: list[BagFill], pointer: str, seen: set[str]) -> list[BagFill]:
    """Bags with their codes; a bag below the site's norm is remarked as short.

    `seen` are codes that the event gives to other things; the bags' own are added to it.
    """
    norm = bench.site.norms.bag_buds_min
    filled: list[BagFill] = []
    for index, fill in enumerate(bags):
        at = f"{pointer}/{index}"
        code = bench.mint(fill.bag)
        if code in seen:
            raise refuse("code_in_use", f"{code} is named twice.", f"{at}/bag", code=code)
        seen.add(code)
        bench.new_lot(code, f"{at}/bag")
        bench.place(fill.place, f"{at}/place")
        if fill.buds < norm:
            bench.remark(
                "short_bag",
                f"Bag {code} holds {fill.buds} buds; the site's norm is at least {norm}.",
                bag=code,
                buds=fill.buds,
                norm=norm,
            )
        filled.append(replace(fill, bag=code))
    return filled


def new_budwood_lot(bench: Bench, code: str | None) -> str:
    lot = bench.mint(code)
    bench.new_lot(lot, "#/data/lot")
    return lot


def source_expired(bench: Bench, code: str, pointer: str) -> None:
    """Break the rule when the tree's registration had ended by the day of the event."""
    tree = bench.books.catalogue.source_tree(code, pointer)
    if tree.expires_on and str(bench.day) > tree.expires_on[:10]:
        bench.break_rule(
            "source_expired",
            f"The registration of source tree {code} ended on {tree.expires_on[:10]}.",
            pointer,
            source_tree=code,
            expired_on=tree.expires_on[:10],
        )


@completes(BudwoodCut)
def _cut(bench: Bench, d: BudwoodCutData) -> BudwoodCutData:
    bench.books.catalogue.cultivar(d.cultivar, "#/data/cultivar")
    if (d.source_tree is None) == (d.tree_lot is None):
        raise refuse(
            "missing",
            "Say which tree it was cut from: either `source_tree` or `tree_lot`.",
            "#/data/source_tree",
        )
    if d.source_tree is not None:
        tree = bench.books.catalogue.source_tree(d.source_tree, "#/data/source_tree")
        if tree.cultivar != d.cultivar:
            raise refuse(
                "counts_disagree",
                f"Source tree {tree.code} is {tree.cultivar}, not {d.cultivar}.",
                "#/data/cultivar",
                source_tree_is=tree.cultivar,
            )
        source_expired(bench, d.source_tree, "#/data/source_tree")
        bench.blocked(holds.USE, {f"source_tree:{tree.code}"}, "#/data/source_tree")
    else:
        lot = bench.lot_here(d.tree_lot or "", "#/data/tree_lot", "tree")
        if lot.cultivar != d.cultivar:
            raise refuse(
                "counts_disagree",
                f"Tree lot {lot.code} is {lot.cultivar}, not {d.cultivar}.",
                "#/data/cultivar",
                tree_lot_is=lot.cultivar,
            )
        bench.held(holds.USE, lot, (), "#/data/tree_lot")
    lot_code = new_budwood_lot(bench, d.lot)
    return replace(d, lot=lot_code, bags=new_bags(bench, d.bags, "#/data/bags", {lot_code}))


@completes(BudwoodReceived)
def _received(bench: Bench, d: BudwoodReceivedData) -> BudwoodReceivedData:
    bench.books.catalogue.cultivar(d.cultivar, "#/data/cultivar")
    if d.source_tree is not None:
        bench.books.catalogue.source_tree(d.source_tree, "#/data/source_tree")
        source_expired(bench, d.source_tree, "#/data/source_tree")
    day_before(bench, d.cut_on, "#/data/cut_on", "cut", "came")
    lot = new_budwood_lot(bench, d.lot)
    return replace(d, lot=lot, bags=new_bags(bench, d.bags, "#/data/bags", {lot}))


def day_given(bench: Bench, text: str | None, pointer: str) -> None:
    """Refuse a text that is no day of the calendar."""
    if text is not None:
        day_in(bench.site, text, pointer)


def day_in(site: Site, text: str, pointer: str) -> None:
    """Refuse a text that is no day of the site's calendar."""
    try:
        understand_occurred(text, ZoneInfo(site.time_zone))
    except ValueError as error:
        raise refuse("not_a_day", str(error), pointer) from error


def day_before(bench: Bench, text: str | None, pointer: str, done: str, then: str) -> None:
    """Refuse a text that is no day, or a day after the event's own: `done` comes before `then`."""
    day_given(bench, text, pointer)
    if text is not None and text[:10] > str(bench.day):
        raise refuse(
            "counts_disagree",
            f"It can't have been {done} on {text[:10]}: it {then} on {bench.day}.",
            pointer,
        )


def taken_lines(
    bench: Bench, lines: list[BudLine], action: str, numbers: list[int] | None = None
) -> list[BudLine]:
    """Bud lines with lot, place and number filled: all that the bag holds where none is said.

    `numbers`: which lines of the event they are, where there are others.
    """
    filled: list[BudLine] = []
    taken: dict[int, int] = {}
    for index, line in zip(numbers or range(len(lines)), lines, strict=True):
        at = f"#/data/lines/{index}"
        bag, account = bench.bud_line(line, at)
        bench.held(action, bench.books.lots[bag.lot], [account.key], at)
        buds = line.buds
        if buds is None:
            buds = account.at_end_of(bench.day) - taken.get(account.account_id, 0)
            if buds <= 0:
                raise refuse(
                    "nothing_there",
                    f"By the book bag {bag.code} is empty on {bench.day}.",
                    f"{at}/bag",
                    bag=bag.code,
                )
        taken[account.account_id] = taken.get(account.account_id, 0) + buds
        filled.append(replace(line, lot=bag.lot, place=account.key.place, buds=buds))
    return filled


@completes(BudwoodDiscarded)
def _discarded(bench: Bench, d: BudwoodDiscardedData) -> BudwoodDiscardedData:
    return replace(d, lines=taken_lines(bench, d.lines, holds.DISCARD))


@completes(BudwoodMoved)
def _moved(bench: Bench, d: BudwoodMovedData) -> BudwoodMovedData:
    bench.place(d.to, "#/data/to")
    lines = taken_lines(bench, d.lines, holds.MOVE)
    for index, line in enumerate(lines):
        _, account = bench.bud_line(line, f"#/data/lines/{index}")
        bench.changes(account, f"#/data/lines/{index}", place=d.to)
    return replace(d, lines=lines)


@completes(ScionsPrepared)
def _prepared(bench: Bench, d: ScionsPreparedData) -> ScionsPreparedData:
    norms = bench.site.norms
    bag, account = bench.bud_line(BudLine(bag=d.bag, place=d.place), "#/data")
    lot: Lot = bench.books.lots[bag.lot]
    bench.held(holds.USE, lot, [account.key], "#/data/bag")
    into = bench.mint(d.into)
    bench.new_lot(into, "#/data/into")
    if d.to is not None:
        bench.place(d.to, "#/data/to")
    return replace(
        d,
        lot=lot.code,
        place=account.key.place,
        into=into,
        to=d.to or account.key.place,
        buds_per_piece=d.buds_per_piece or norms.scion_buds,
        length_mm=d.length_mm or norms.scion_length_mm,
    )

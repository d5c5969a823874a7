"""Completing grafting and regrafting."""

from zoneinfo import ZoneInfo

from msgspec.structs import replace

from service.trade import holds
from service.trade.bench import Bench
from service.trade.books import Account, Bag, Lot
from service.trade.completing import completes
from service.trade.events.budwood import BudLine
from service.trade.events.grafting import (
    GraftedBy,
    TreesGrafted,
    TreesGraftedData,
    TreesRegrafted,
    TreesRegraftedData,
)
from service.trade.keeping import KEEPING_DAYS
from service.trade.methods import METHODS
from service.trade.orders import order_for
from service.trade.verdicts import refuse
from service.trade.words import understand_occurred


def number_grafted(count: int | None, grafters: list[GraftedBy]) -> int:
    """The number of trees, from the event or its grafters; refused when they disagree."""
    by_hand = sum(part.count for part in grafters)
    if count is None and not grafters:
        raise refuse("missing", "Say how many: `count` or `grafters`.", "#/data/count")
    if count is not None and grafters and count != by_hand:
        raise refuse(
            "counts_disagree",
            f"The grafters' numbers sum to {by_hand}, the event says {count}.",
            "#/data/count",
            grafters=by_hand,
            count=count,
        )
    return by_hand if count is None else count


def buds_used(
    bench: Bench, lines: list[BudLine], count: int, method: str
) -> tuple[list[BudLine], Lot]:
    """Bud lines filled in the order of the bags, and the one budwood lot they are of.

    Buds per tree are the method's, or the piece's where pieces were prepared beforehand.
    """
    picked = [bench.bud_line(line, f"#/data/from/{i}") for i, line in enumerate(lines)]
    if not picked:
        raise refuse("missing", "Say which bags were used.", "#/data/from")
    lots = {bag.lot for bag, _ in picked}
    if len(lots) > 1:
        raise refuse(
            "lot_differs",
            "One tree lot is of one budwood lot; record one event for each: "
            f"{', '.join(sorted(lots))}.",
            "#/data/from",
            budwood_lots=sorted(lots),
        )
    lot = bench.books.lots[lots.pop()]
    bench.held(holds.USE, lot, [account.key for _, account in picked], "#/data/from")
    per_tree = [bag.buds_per_piece or METHODS[method].buds_per_tree for bag, _ in picked]
    said = sum(line.buds or 0 for line in lines)
    open_lines = [i for i, line in enumerate(lines) if line.buds is None]
    if not open_lines and said < count:
        raise refuse(
            "counts_disagree",
            f"{count} trees need at least {count} buds; the bags' lines sum to {said}.",
            "#/data/from",
            trees=count,
            buds=said,
        )
    wanted = max(count * max(per_tree) - said, 0)
    filled = []
    for index, (line, (bag, account)) in enumerate(zip(lines, picked, strict=True)):
        buds = line.buds
        if buds is None:
            last = index == open_lines[-1]
            buds = wanted if last else min(wanted, max(account.at_end_of(bench.day), 0))
            wanted -= buds
        if buds > 0:
            filled.append(replace(line, lot=lot.code, place=account.key.place, buds=buds))
        _old_wood(bench, bag, lot)
    return filled, lot


def _old_wood(bench: Bench, bag: Bag, lot: Lot) -> None:
    """Remark wood that is older than its crop's keeping time."""
    if lot.day is None or lot.cultivar is None:
        return
    crop = bench.books.catalogue.cultivar(lot.cultivar, "#/data/from").crop
    age, keeps = (bench.day - lot.day).days, KEEPING_DAYS.get(crop)
    if keeps is not None and age > keeps:
        bench.remark(
            "old_budwood",
            f"Bag {bag.code} is {age} days old; {crop} budwood keeps about {keeps} days.",
            bag=bag.code,
            age_days=age,
            keeps_days=keeps,
        )


def label_day(bench: Bench, label: str | None) -> None:
    """Say so when a label's date does not count as the budding date."""
    if label is None:
        return
    try:
        day = understand_occurred(label, ZoneInfo(bench.site.time_zone)).day
    except ValueError as error:
        raise refuse("not_a_day", str(error), "#/data/label_date") from error
    if (day.year, day.month) != (bench.day.year, bench.day.month):
        bench.remark(
            "label_date_differs",
            f"The label says {day}, the grafting was on {bench.day}: another month, so the label's "
            "date does not count as the budding date.",
            label=str(day),
            grafted=str(bench.day),
        )


def joins_lot(bench: Bench, code: str, method: str, parents: set[str], pointer: str) -> None:
    """A further event may add to a lot only if nothing about it differs."""
    lot = bench.books.lots.get(code)
    if lot is None or lot.voided:
        bench.new_lot(code, pointer)
        return
    ours = {p for p in parents if p.startswith("lot:")}
    theirs = {p for p in lot.parents if p.startswith("lot:")}
    same_day = lot.day is not None and (lot.day.year, lot.day.month) == (
        bench.day.year,
        bench.day.month,
    )
    if lot.kind != "tree" or lot.method != method or ours != theirs or not same_day:
        if not bench.known_here(lot):
            bench.new_lot(code, pointer)
        raise refuse(
            "lot_differs",
            f"Lot {code} exists and is of another budwood, stock, method or day; lots are never "
            "mixed. Choose another code.",
            pointer,
            lot=code,
            its_method=lot.method,
            its_day=str(lot.day),
            its_parents=sorted(theirs),
        )


@completes(TreesGrafted)
def _grafted(bench: Bench, d: TreesGraftedData) -> TreesGraftedData:
    count = number_grafted(d.count, d.grafters)
    bench.place(d.place, "#/data/place")
    if (d.onto.liner_lot is None) == (d.onto.tree_lot is None):
        raise refuse(
            "missing", "Say what it was grafted on: `liner_lot` or `tree_lot`.", "#/data/onto"
        )
    lines, budwood = buds_used(bench, d.from_, count, d.method)
    stock, account = _stocks(bench, d)
    label_day(bench, d.label_date)
    _same_crop(bench, budwood, stock)
    lot = bench.mint(d.lot)
    joins_lot(bench, lot, d.method, {f"lot:{budwood.code}", f"lot:{stock.code}"}, "#/data/lot")
    order = order_for(bench, d.work_order, budwood, stock, d.method, count)
    key = account.key
    onto = replace(d.onto, place=key.place, size=key.size, stage=key.stage or None)
    return replace(d, lot=lot, from_=lines, onto=onto, count=count, work_order=order)


def _same_crop(bench: Bench, budwood: Lot, stock: Lot) -> None:
    """Remark a scion on a stock of another crop: rarely meant, though some unite."""
    entries = bench.books.catalogue.entries
    scion = entries.get(("cultivar", budwood.cultivar or ""))
    under = entries.get(("rootstock", stock.rootstock or ""))
    if scion is None or under is None:
        return
    ours, theirs = scion[0].crop, under[0].crop  # type: ignore[union-attr]
    if ours != theirs:
        bench.remark(
            "other_crop",
            f"{budwood.cultivar} is {ours}, {stock.rootstock} is {theirs}. Is it the right bag, "
            "and the right stock?",
            cultivar=budwood.cultivar,
            rootstock=stock.rootstock,
        )


def _stocks(bench: Bench, d: TreesGraftedData) -> tuple[Lot, Account]:
    """The stocks' lot and account; where several would fit, those at the event's own place."""
    onto = d.onto
    kind, code = ("liner", onto.liner_lot) if onto.liner_lot else ("tree", onto.tree_lot)
    pointer = f"#/data/onto/{kind}_lot"
    lot = bench.books.lot(code or "", pointer, kind)
    family = "liners" if kind == "liner" else "trees"
    place = onto.place
    if place is None:
        here = [
            a
            for k, a in bench.books.accounts_of(lot.code).items()
            if k.kind == family and k.site == bench.here and a.at_end_of(bench.day) > 0
        ]
        if len(here) > 1 and any(a.key.place == d.place for a in here):
            place = d.place
    # The event has no word for a grade, so ungraded trees are meant; likewise below.
    account = bench.pick(
        lot, family, pointer, place=place, stage=onto.stage, size=onto.size, grade=""
    )
    bench.held(holds.USE, lot, [account.key], pointer)
    return lot, account


@completes(TreesRegrafted)
def _regrafted(bench: Bench, d: TreesRegraftedData) -> TreesRegraftedData:
    count = number_grafted(d.count, d.grafters)
    bench.place(d.place, "#/data/place")
    old = bench.books.lot(d.of, "#/data/of", "tree")
    lines, budwood = buds_used(bench, d.from_, count, d.method)
    account = bench.pick(
        old, "trees", "#/data/of_place", place=d.of_place, stage=d.stage, size=d.size, grade=""
    )
    bench.held(holds.USE, old, [account.key], "#/data/of")
    known = old.source is not None and budwood.source is not None
    if bench.site.norms.regraft_same_source and known and old.source != budwood.source:
        bench.break_rule(
            "other_source",
            f"Lot {old.code} is of {old.source}, bag {lines[0].bag} of {budwood.source}; this site "
            "regrafts only from the same source.",
            "#/data/from",
            lot_source=old.source,
            bag_source=budwood.source,
        )
    lot = bench.mint(d.lot)
    joins_lot(bench, lot, d.method, {f"lot:{budwood.code}", f"lot:{old.code}"}, "#/data/lot")
    order = order_for(bench, d.work_order, budwood, old, d.method, count)
    where = {"of_place": account.key.place, "size": account.key.size}
    return replace(d, lot=lot, from_=lines, count=count, work_order=order, **where)

"""Completing sales of trees and buds, and returns."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

import msgspec
from msgspec.structs import replace

from service.trade import holds
from service.trade.bench import Bench
from service.trade.claims import fulfil_buds, fulfil_trees
from service.trade.completing import completes
from service.trade.completing.budwood import taken_lines
from service.trade.completing.sending import may_be_sent
from service.trade.events.budwood import BudLine, BudwoodSold, BudwoodSoldData, SoldBuds
from service.trade.events.catalogue import Place
from service.trade.events.selling import (
    SOLD_LINES,
    ReturnedLine,
    SoldLine,
    TreesReturned,
    TreesReturnedData,
    TreesSold,
    TreesSoldData,
)
from service.trade.items import Item
from service.trade.picking import Picking
from service.trade.verdicts import refuse

L = TypeVar("L", SoldLine, SoldBuds)


@completes(TreesSold)
def _sold(bench: Bench, d: TreesSoldData) -> TreesSoldData:
    picking = Picking(bench, d.customer, d.reservation)
    # What the clerk named is taken first: an item line then takes from what is left.
    named = {
        index: _of_lot(bench, line, f"#/data/lines/{index}", picking)
        for index, line in enumerate(d.lines)
        if line.lot is not None
    }
    lines, chosen = _completed(d.lines, named, lambda line, at: _of_item(bench, line, at, picking))
    shown = [
        (index, {"lot": one.lot, "place": one.place, "grade": one.grade, "count": one.count})
        for index, one in chosen
    ]
    _say_which(bench, "has been ready longest", shown)
    may_be_sent(bench, d, lines)
    return replace(d, lines=lines, fulfils=fulfil_trees(bench, d.reservation, lines))


def _completed(
    given: Sequence[L], named: Mapping[int, L], choose: Callable[[L, str], list[L]]
) -> tuple[list[L], list[tuple[int, L]]]:
    """The lines as the clerk named them or as they are chosen here; and the chosen ones, each with
    the number of the line that they are for."""
    lines: list[L] = []
    chosen: list[tuple[int, L]] = []
    for index, line in enumerate(given):
        if index in named:
            lines.append(named[index])
            continue
        found = choose(line, f"#/data/lines/{index}")
        lines += found
        chosen += [(index, one) for one in found]
    _few_enough(lines)
    return lines, chosen


def _of_lot(bench: Bench, line: SoldLine, at: str, picking: Picking) -> SoldLine:
    """A line as the clerk named it, complete."""
    if line.cultivar is not None or line.rootstock is not None:
        raise refuse(
            "say_which", "Name a lot, or an item (cultivar and rootstock), not both.", f"{at}/lot"
        )
    lot = bench.books.lot(line.lot or "", f"{at}/lot", "tree")
    account = bench.pick_key(lot, line, f"{at}/lot", stage=line.stage or "ready")
    bench.held(holds.SELL, lot, [account.key], f"{at}/lot")
    picking.take(account, line.count)
    key = account.key
    if lot.grown_for not in (None, picking.customer):
        bench.remark(
            "grown_for_another",
            f"Lot {lot.code} was grown for {lot.grown_for}, not for {picking.customer}.",
            lot=lot.code,
            grown_for=lot.grown_for,
        )
    if key.stage != "ready":
        bench.remark(
            "not_ready",
            f"{line.count} of {lot.code} were sold while {key.stage}, not graded ready.",
            lot=lot.code,
            stage=key.stage,
        )
    return replace(line, place=key.place, stage=key.stage, size=key.size, grade=key.grade or None)


def _of_item(bench: Bench, line: SoldLine, at: str, picking: Picking) -> list[SoldLine]:
    """A line of an item: the lots are chosen here."""
    catalogue = bench.books.catalogue
    for name in ("cultivar", "rootstock", "size"):
        if getattr(line, name) is None:
            raise refuse(
                "missing",
                "Name a lot, or an item: a cultivar on a rootstock in a size.",
                f"{at}/{name if line.cultivar or line.rootstock else 'lot'}",
            )
    catalogue.cultivar(line.cultivar or "", f"{at}/cultivar")
    catalogue.rootstock(line.rootstock or "", f"{at}/rootstock")
    catalogue.size(line.size or "", f"{at}/size")
    if line.stage not in (None, "ready"):
        raise refuse(
            "say_which",
            f"Only ready trees are chosen by item; name the lot of those that are {line.stage}.",
            f"{at}/stage",
        )
    of = (line.cultivar or "", line.rootstock or "", line.size or "", line.grade or "")
    if line.place is not None:
        bench.place(line.place, f"{at}/place")
    return [
        SoldLine(
            lot=lot.code,
            place=account.key.place,
            stage="ready",
            size=line.size,
            grade=account.key.grade or None,
            count=count,
        )
        for lot, account, count in picking.pick(
            Item(*of, False), line.place, line.count, f"{at}/count"
        )
    ]


def _say_which(bench: Bench, why: str, chosen: list[tuple[int, dict[str, Any]]]) -> None:
    """Remark which lots or bags were chosen, if any, and from where they are to be fetched."""
    if not chosen:
        return
    shown = ", ".join(
        " ".join(
            word
            for word in (
                f"{one['count']} of {one.get('bag') or one['lot']}",
                # Two grades of a lot may stand at one place.
                one.get("grade"),
                f"at {one['place']}",
            )
            if word
        )
        for _, one in chosen[:5]
    )
    more = f", and from {len(chosen) - 5} more places" if len(chosen) > 5 else ""
    bench.remark(
        "lots_chosen",
        f"Chosen from what {why}: {shown}{more}.",
        lines=[{"line": index} | one for index, one in chosen],
    )


def _few_enough(lines: Sequence[SoldLine | SoldBuds]) -> None:
    if len(lines) > SOLD_LINES:
        raise refuse(
            "too_many_lines",
            f"It comes from {len(lines)} places; a sale has at most {SOLD_LINES} lines.",
            "#/data/lines",
            lines=len(lines),
            most=SOLD_LINES,
        )


# -- buds ------------------------------------------------------------------------------------


@completes(BudwoodSold)
def _buds_sold(bench: Bench, d: BudwoodSoldData) -> BudwoodSoldData:
    picking = Picking(bench, d.customer, d.reservation)
    numbers = [index for index, line in enumerate(d.lines) if line.bag is not None]
    taken = taken_lines(bench, [_of_bag(d.lines[n], n) for n in numbers], holds.SELL, numbers)
    for bag in taken:
        picking.take(bench.bud_line(bag, "#/data/lines")[1], bag.buds or 0)
    named = {
        index: SoldBuds(**msgspec.structs.asdict(bag))
        for index, bag in zip(numbers, taken, strict=True)
    }
    lines, chosen = _completed(
        d.lines, named, lambda line, at: _of_cultivar(bench, line, at, picking)
    )
    shown = [
        (index, {"lot": one.lot, "bag": one.bag, "place": one.place, "count": one.buds})
        for index, one in chosen
    ]
    _say_which(bench, "was cut first", shown)
    may_be_sent(bench, d, lines)
    return replace(d, lines=lines, fulfils=fulfil_buds(bench, d.reservation, lines))


def _of_bag(line: SoldBuds, index: int) -> BudLine:
    if line.cultivar is not None:
        raise refuse(
            "say_which", "Name a bag or a cultivar, not both.", f"#/data/lines/{index}/bag"
        )
    return BudLine(bag=line.bag or "", lot=line.lot, buds=line.buds, place=line.place)


def _of_cultivar(bench: Bench, line: SoldBuds, at: str, picking: Picking) -> list[SoldBuds]:
    """A line of a cultivar: the bags are chosen here."""
    if line.cultivar is None:
        raise refuse("missing", "Name a bag or a cultivar.", f"{at}/bag")
    if line.buds is None:
        raise refuse("missing", "Say how many buds.", f"{at}/buds")
    bench.books.catalogue.cultivar(line.cultivar, f"{at}/cultivar")
    if line.place is not None:
        bench.place(line.place, f"{at}/place")
    item = Item(line.cultivar, "", "", "", True)
    return [
        SoldBuds(bag=account.key.ref, lot=lot.code, buds=count, place=account.key.place)
        for lot, account, count in picking.pick(item, line.place, line.buds, f"{at}/buds")
    ]


# -- returns -------------------------------------------------------------------------------


@completes(TreesReturned)
def _returned(bench: Bench, d: TreesReturnedData) -> TreesReturnedData:
    if not bench.site.norms.returns_allowed:
        bench.break_rule(
            "returns_not_allowed",
            f"Site {bench.here} takes no sold trees back.",
            "#/site",
            site=bench.here,
        )
    lines = [_back(bench, line, f"#/data/lines/{index}") for index, line in enumerate(d.lines)]
    return replace(d, lines=lines)


def _back(bench: Bench, line: ReturnedLine, at: str) -> ReturnedLine:
    bench.books.lot(line.lot, f"{at}/lot", "tree")
    size = line.size or _only_size(bench, line.lot, f"{at}/size")
    bench.size(size, f"{at}/size")
    place = line.place or _place_for_returns(bench, f"{at}/place")
    if not bench.place(place, f"{at}/place").for_returns:
        bench.break_rule(
            "returns_not_allowed",
            f"{place} is not a place for returns; returned trees stand apart.",
            f"{at}/place",
            place=place,
        )
    return replace(line, place=place, size=size)


def _only_size(bench: Bench, lot: str, at: str) -> str:
    sizes = sorted(
        {
            key.size
            for key in bench.books.accounts_of(lot)
            if key.kind == "trees" and key.stage == "ready" and key.site == bench.here
        }
    )
    if len(sizes) != 1:
        raise refuse(
            "say_which",
            f"Say in which size trees of {lot} came back.",
            at,
            ready_sizes=sizes,
        )
    return sizes[0]


def _place_for_returns(bench: Bench, at: str) -> str:
    places = sorted(
        entry.code
        for entry, _ in bench.books.catalogue.entries.values()
        if isinstance(entry, Place) and entry.site == bench.here
        if entry.for_returns and not entry.retired
    )
    if len(places) != 1:
        raise refuse(
            "say_which",
            f"Say to which place they came back: {', '.join(places)}."
            if places
            else f"Site {bench.here} has no place for returns; the catalogue makes one.",
            at,
            places_for_returns=places,
        )
    return places[0]

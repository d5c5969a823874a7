"""Lots and bags: made, made anew after a void, added to, with their ancestry."""

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from service.trade.books import Bag, Books, Lot
from service.trade.events import budwood, grafting, liners, stock, trees
from service.trade.words import Moment, understand_occurred


def ancestry_of(books: Books, code: str, parents: Iterable[str]) -> tuple[str, ...]:
    """Tokens of the lot itself, its parents, and all that those descend from."""
    tokens = {f"lot:{code}"}
    for token in parents:
        tokens.add(token)
        kind, _, name = token.partition(":")
        if kind == "lot" and name in books.lots:
            tokens.update(books.lots[name].ancestry)
        if kind == "bag":
            tokens |= books.bag_tokens(name)
    return tuple(sorted(tokens))


# What a lot is before anything is told of it.
_DEFAULTS = Lot.__struct_defaults__
_UNTOLD: dict[str, Any] = dict(
    zip(Lot.__struct_fields__[-len(_DEFAULTS) :], _DEFAULTS, strict=True)
)


def make_lot(books: Books, code: str, position: int, parents: Iterable[str], **facts: Any) -> Lot:
    """A new lot, or one whose making was voided, or a further event of the same lot."""
    old = books.lots.get(code)
    tokens = set(parents)
    told = books.makings.setdefault(code, {})
    if old is not None and old.voided:
        # Other events that added to it may stand, and so does what they were made of.
        tokens = tokens.union(*told.values())
    books.put(told, position, tuple(parents))
    if old is not None and not old.voided:
        tokens |= set(old.parents)
        books.alter(
            old,
            parents=tuple(sorted(tokens)),
            ancestry=ancestry_of(books, code, tokens),
            changed_position=position,
        )
        _pass_on(books, code)
        return old
    ancestry = ancestry_of(books, code, tokens)
    facts = facts | {
        "parents": tuple(sorted(tokens)),
        "ancestry": ancestry,
        "position": position,
        "changed_position": position,
    }
    if old is not None:
        # Nothing of what the code named before stays.
        books.alter(old, **(_UNTOLD | facts))
        _pass_on(books, code)
        return old
    lot = Lot(lot_id=books.next_lot_id, code=code, **facts)
    books.alter(books, next_lot_id=books.next_lot_id + 1)
    books.put(books.lots, code, lot)
    books.put(books.lot_by_id, lot.lot_id, lot)
    return lot


def unmake(books: Books, position: int, by: int) -> None:
    """The event at `position` made or added to lots no more."""
    for lot in list(books.lots.values()):
        if lot.position == position and not lot.voided:
            books.alter(lot, voided=True, changed_position=by)
    for code, told in list(books.makings.items()):
        if position not in told:
            continue
        rest = {at: parents for at, parents in told.items() if at != position}
        books.put(books.makings, code, rest)
        lot = books.lots[code]
        if not lot.voided:
            parents = tuple(sorted(set().union(*rest.values())))
            books.alter(lot, parents=parents, ancestry=ancestry_of(books, code, parents))
            _pass_on(books, code)


def _pass_on(books: Books, code: str) -> None:
    """What descends from a changed lot takes over what it now says of itself."""
    token = f"lot:{code}"
    heirs = [
        lot
        for lot in books.lots.values()
        if token in lot.ancestry and lot.code != code and not lot.voided
    ]
    # An heir's ancestry holds its parents' and itself, so parents come first.
    for lot in sorted(heirs, key=lambda heir: (len(heir.ancestry), heir.code)):
        books.alter(
            lot, ancestry=ancestry_of(books, lot.code, lot.parents), **_inherited(books, lot)
        )


def _inherited(books: Books, lot: Lot) -> dict[str, Any]:
    """What a lot is by its parents."""
    ours = [books.lots[p[4:]] for p in lot.parents if p.startswith("lot:")]
    if not lot.identified:
        return shared(ours)
    told: dict[str, Any] = {}
    for parent in ours:
        if lot.kind == "budwood":
            # cut from a tree lot
            told["cultivar"] = parent.cultivar or lot.cultivar
            told["source"] = parent.source or f"lot:{parent.code}"
        elif parent.kind == "budwood":
            told |= {"cultivar": parent.cultivar, "source": parent.source}
        else:
            told["rootstock"] = parent.rootstock
            if lot.attempt > 1:
                told |= {"attempt": parent.attempt + 1, "grown_for": parent.grown_for}
    return told


def shared(candidates: list[Lot]) -> dict[str, Any]:
    """Cultivar and rootstock of trees that may be of any of these lots."""
    same = {(lot.cultivar, lot.rootstock) for lot in candidates}
    cultivar, rootstock = same.pop() if len(same) == 1 else (None, None)
    return {"cultivar": cultivar, "rootstock": rootstock}


def _bags(books: Books, lot: str, fills: list[budwood.BagFill], position: int) -> None:
    for fill in fills:
        books.put(
            books.bags,
            fill.bag,
            Bag(
                code=fill.bag or "",
                lot=lot,
                buds=fill.buds,
                sticks=fill.sticks,
                basis=fill.basis,
                position=position,
            ),
        )


def day_of(books: Books, site: str, text: str | None) -> date | None:
    """The day of a text in the site's calendar."""
    if text is None:
        return None
    return understand_occurred(text, ZoneInfo(books.catalogue.site(site).time_zone)).day


def expiry_of(books: Books, site: str, text: str | None) -> datetime | None:
    """The moment from which a claim no longer counts; of a day alone, its end at the site."""
    if text is None:
        return None
    zone = ZoneInfo(books.catalogue.site(site).time_zone)
    moment = understand_occurred(text, zone)
    if moment.timed:
        return moment.at
    return datetime.combine(moment.day + timedelta(days=1), time(), zone).astimezone(UTC)


def _cut(books: Books, e: budwood.BudwoodCut, moment: Moment, position: int) -> None:
    d = e.data
    if d.source_tree:
        parents, source = [f"source_tree:{d.source_tree}"], f"source_tree:{d.source_tree}"
    else:
        tree_lot = books.lots[d.tree_lot or ""]
        parents, source = [f"lot:{tree_lot.code}"], tree_lot.source or f"lot:{tree_lot.code}"
    make_lot(
        books,
        d.lot or "",
        position,
        parents,
        kind="budwood",
        site=e.site,
        cultivar=d.cultivar,
        source=source,
        day=moment.day,
    )
    _bags(books, d.lot or "", d.bags, position)


def _received(books: Books, e: budwood.BudwoodReceived, moment: Moment, position: int) -> None:
    d = e.data
    tree = f"source_tree:{d.source_tree}" if d.source_tree else None
    make_lot(
        books,
        d.lot or "",
        position,
        [tree] if tree else [],
        kind="budwood",
        site=e.site,
        cultivar=d.cultivar,
        source=tree or f"lot:{d.lot}",
        day=day_of(books, e.site, d.cut_on) or moment.day,
    )
    _bags(books, d.lot or "", d.bags, position)


def _prepared(books: Books, e: budwood.ScionsPrepared, moment: Moment, position: int) -> None:
    d = e.data
    books.put(
        books.bags,
        d.into,
        Bag(
            code=d.into or "",
            lot=d.lot or "",
            buds=d.pieces * (d.buds_per_piece or 1),
            parent=d.bag,
            pieces=d.pieces,
            buds_per_piece=d.buds_per_piece,
            position=position,
        ),
    )


def _liners(books: Books, e: liners.LinersReceived, moment: Moment, position: int) -> None:
    d = e.data
    make_lot(
        books,
        d.lot or "",
        position,
        [],
        kind="liner",
        site=e.site,
        rootstock=d.rootstock,
        day=moment.day,
        basis=d.basis,
    )


def _trees(books: Books, e: trees.TreesReceived, moment: Moment, position: int) -> None:
    d = e.data
    make_lot(
        books,
        d.lot or "",
        position,
        [],
        kind="tree",
        site=e.site,
        cultivar=d.cultivar,
        rootstock=d.rootstock,
        source=f"lot:{d.lot}",
        method=d.method,
        day=day_of(books, e.site, d.grafted_on),
    )


def graft_parents(e: grafting.TreesGrafted | grafting.TreesRegrafted) -> list[str]:
    """The bags, the budwood lot and the stocks' lot that a grafting is made of."""
    if isinstance(e, grafting.TreesGrafted):
        stocks = e.data.onto.liner_lot or e.data.onto.tree_lot
    else:
        stocks = e.data.of
    lines = e.data.from_
    return [*(f"bag:{li.bag}" for li in lines), *(f"lot:{li.lot}" for li in lines), f"lot:{stocks}"]


def _graft_lot(
    books: Books,
    e: grafting.TreesGrafted | grafting.TreesRegrafted,
    position: int,
    stocks: Lot,
    **facts: Any,
) -> None:
    """The tree lot of a grafting: cultivar and source by its wood, rootstock by what it is on."""
    wood = books.lots[e.data.from_[0].lot or ""]
    make_lot(
        books,
        e.data.lot or "",
        position,
        graft_parents(e),
        kind="tree",
        site=e.site,
        cultivar=wood.cultivar,
        rootstock=stocks.rootstock,
        source=wood.source,
        method=e.data.method,
        **facts,
    )


def _grafted(books: Books, e: grafting.TreesGrafted, moment: Moment, position: int) -> None:
    d, day = e.data, moment.day
    label = day_of(books, e.site, d.label_date)
    if label is not None and (label.year, label.month) == (day.year, day.month):
        day = label
    stocks = books.lots[d.onto.liner_lot or d.onto.tree_lot or ""]
    _graft_lot(books, e, position, stocks, day=day, grown_for=d.grown_for)


def _regrafted(books: Books, e: grafting.TreesRegrafted, moment: Moment, position: int) -> None:
    old = books.lots[e.data.of]
    _graft_lot(
        books,
        e,
        position,
        old,
        day=moment.day,
        attempt=old.attempt + 1,
        grown_for=old.grown_for,
    )


def _opened(books: Books, e: stock.StockOpened, moment: Moment, position: int) -> None:
    for line in e.data.lines:
        if isinstance(line, stock.OpenedBudwood):
            tree = f"source_tree:{line.source_tree}" if line.source_tree else None
            make_lot(
                books,
                line.lot,
                position,
                [tree] if tree else [],
                kind="budwood",
                site=e.site,
                cultivar=line.cultivar,
                source=tree,
                day=day_of(books, e.site, line.cut_on),
            )
            _bags(books, line.lot, line.bags, position)
        elif isinstance(line, stock.OpenedLiners):
            make_lot(
                books,
                line.lot,
                position,
                [],
                kind="liner",
                site=e.site,
                rootstock=line.rootstock,
                basis=line.basis,
            )
        else:
            make_lot(
                books,
                line.lot,
                position,
                [],
                kind="tree",
                site=e.site,
                cultivar=line.cultivar,
                rootstock=line.rootstock,
                method=line.method,
                day=day_of(books, e.site, line.grafted_on),
            )


MAKERS: dict[type, Callable[[Books, Any, Moment, int], None]] = {
    budwood.BudwoodCut: _cut,
    budwood.BudwoodReceived: _received,
    budwood.ScionsPrepared: _prepared,
    liners.LinersReceived: _liners,
    trees.TreesReceived: _trees,
    grafting.TreesGrafted: _grafted,
    grafting.TreesRegrafted: _regrafted,
    stock.StockOpened: _opened,
}

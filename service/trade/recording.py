"""Write a completed event's facts into the books: lots, bags, holds, claims, loads, counts."""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from service.trade import accounts as acc
from service.trade.books import (
    Anchor,
    Bag,
    Books,
    Claim,
    Consignment,
    Hold,
    Lot,
    Reservation,
)
from service.trade.events import budwood, catalogue, grafting, liners, selling, stock, trees
from service.trade.events.envelope import Envelope
from service.trade.items import claimed_item
from service.trade.legs import standing_key
from service.trade.words import Moment, understand_occurred


def record(books: Books, event: Envelope, moment: Moment, position: int) -> None:
    """All that the event says beside its legs."""
    writer = _WRITERS.get(type(event))
    if writer is not None:
        writer(books, event, moment, position)


# -- lots ---------------------------------------------------------------------------


def ancestry_of(books: Books, code: str, parents: Iterable[str]) -> tuple[str, ...]:
    """Tokens of the lot itself, its parents, and all that those descend from."""
    tokens = {f"lot:{code}"}
    for token in parents:
        tokens.add(token)
        kind, _, name = token.partition(":")
        if kind == "lot" and name in books.lots:
            tokens.update(books.lots[name].ancestry)
        while kind == "bag" and name in books.bags and books.bags[name].parent:
            name = books.bags[name].parent or ""
            tokens.add(f"bag:{name}")
    return tuple(sorted(tokens))


def make_lot(books: Books, code: str, position: int, parents: Iterable[str], **facts: Any) -> Lot:
    """A new lot, or one whose making was voided, or a further event of the same lot."""
    old = books.lots.get(code)
    tokens = set(parents)
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
        books.alter(old, voided=False, **facts)
        _pass_on(books, code)
        return old
    lot = Lot(lot_id=books.next_lot_id, code=code, **facts)
    books.alter(books, next_lot_id=books.next_lot_id + 1)
    books.put(books.lots, code, lot)
    books.put(books.lot_by_id, lot.lot_id, lot)
    return lot


def _pass_on(books: Books, code: str) -> None:
    """What descends from a changed lot takes over what it now says of itself."""
    token = f"lot:{code}"
    heirs = [lot for lot in books.lots.values() if token in lot.ancestry and lot.code != code]
    for lot in sorted(heirs, key=lambda heir: heir.position):
        changes: dict[str, Any] = {"ancestry": ancestry_of(books, lot.code, lot.parents)}
        ours = [books.lots[p[4:]] for p in lot.parents if p.startswith("lot:")]
        for parent in ours:
            if parent.kind == "budwood":
                changes |= {"cultivar": parent.cultivar, "source": parent.source}
            else:
                changes |= {"rootstock": parent.rootstock}
        books.alter(lot, **changes)


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
                basis_first=fill.basis,
                position=position,
            ),
        )


def _day(books: Books, site: str, text: str | None) -> Any:
    if text is None:
        return None
    return understand_occurred(text, ZoneInfo(books.catalogue.site(site).time_zone)).day


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
        day=_day(books, e.site, d.cut_on) or moment.day,
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
        day=_day(books, e.site, d.grafted_on),
    )


def _scion_parents(lines: list[budwood.BudLine]) -> list[str]:
    return [f"bag:{line.bag}" for line in lines] + [f"lot:{line.lot}" for line in lines]


def _grafted(books: Books, e: grafting.TreesGrafted, moment: Moment, position: int) -> None:
    d = e.data
    wood = books.lots[d.from_[0].lot or ""]
    base = books.lots[d.onto.liner_lot or d.onto.tree_lot or ""]
    label = _day(books, e.site, d.label_date)
    day = moment.day
    if label is not None and (label.year, label.month) == (day.year, day.month):
        day = label
    make_lot(
        books,
        d.lot or "",
        position,
        [*_scion_parents(d.from_), f"lot:{base.code}"],
        kind="tree",
        site=e.site,
        cultivar=wood.cultivar,
        rootstock=base.rootstock,
        source=wood.source,
        method=d.method,
        day=day,
        grown_for=d.grown_for,
    )


def _regrafted(books: Books, e: grafting.TreesRegrafted, moment: Moment, position: int) -> None:
    d = e.data
    wood, old = books.lots[d.from_[0].lot or ""], books.lots[d.of]
    make_lot(
        books,
        d.lot or "",
        position,
        [*_scion_parents(d.from_), f"lot:{old.code}"],
        kind="tree",
        site=e.site,
        cultivar=wood.cultivar,
        rootstock=old.rootstock,
        source=wood.source,
        method=d.method,
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
                day=_day(books, e.site, line.cut_on),
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
                day=_day(books, e.site, line.grafted_on),
            )


# -- counts ---------------------------------------------------------------------------


def _anchor(books: Books, lot: str, key: acc.Key, moment: Moment, position: int) -> None:
    account = books.account(lot, key)
    if account.last_day is None or moment.day > account.last_day:
        books.alter(account, last_day=moment.day)
    anchor = Anchor(moment.day, moment.at, moment.timed, position)
    books.set_anchors(account, [*account.anchors, anchor])


def _push_counted(books: Books, e: grafting.PushCounted, moment: Moment, position: int) -> None:
    d = e.data
    for stage in ("grafted", "pushed", "failed"):
        key = acc.trees(e.site, d.place or "", stage, d.size or "")
        _anchor(books, d.lot, key, moment, position)


def _counted(books: Books, e: stock.StockCounted, moment: Moment, position: int) -> None:
    for line in e.data.lines:
        _anchor(books, line.lot or "", standing_key(e.site, line), moment, position)


# -- loads, holds, claims ----------------------------------------------------------------


def _sent(books: Books, e: trees.ConsignmentSent, moment: Moment, position: int) -> None:
    code = e.data.consignment or ""
    load = Consignment(
        code=code,
        from_site=e.site,
        to_site=e.data.to_site,
        sent_day=moment.day,
        sent_position=position,
    )
    books.put(books.consignments, code, load)


def _load_received(
    books: Books, e: trees.ConsignmentReceived, moment: Moment, position: int
) -> None:
    load = books.consignments[e.data.consignment]
    books.alter(load, received_day=moment.day, received_position=position)


def _hold(books: Books, e: stock.HoldPlaced, moment: Moment, position: int) -> None:
    d = e.data
    hold = Hold(
        code=d.hold or "",
        kind=d.kind,
        target=d.target,
        target_code=d.code,
        site=e.site,
        reason=d.reason,
        from_day=moment.day,
        position=position,
    )
    books.put(books.holds, hold.code, hold)


def _lifted(books: Books, e: stock.HoldLifted, moment: Moment, position: int) -> None:
    books.alter(books.holds[e.data.hold], lifted_day=moment.day, lifted_position=position)


def _label_lost(books: Books, e: stock.LabelLost, moment: Moment, position: int) -> None:
    d = e.data
    lots = [books.lots[line.lot] for line in d.lines]
    same = {(lot.cultivar, lot.rootstock) for lot in lots}
    cultivar, rootstock = same.pop() if len(same) == 1 else (None, None)
    make_lot(
        books,
        d.lot or "",
        position,
        [f"lot:{lot.code}" for lot in lots],
        kind="tree",
        site=e.site,
        cultivar=cultivar,
        rootstock=rootstock,
        identified=False,
    )
    hold = Hold(
        code=d.hold or "",
        kind="identity",
        target="lot",
        target_code=d.lot or "",
        site=e.site,
        reason="label lost",
        from_day=moment.day,
        position=position,
    )
    books.put(books.holds, hold.code, hold)


def _claims(
    books: Books, site: str, any_site: bool, lines: list[selling.ReservedLine]
) -> list[Claim]:
    return [
        Claim(
            line=index,
            item=claimed_item(books, line).text,
            lot=line.lot,
            site=None if any_site else site,
            asked=line.count,
            open=line.count,
        )
        for index, line in enumerate(lines)
    ]


def _expiry(books: Books, site: str, text: str | None) -> datetime | None:
    """A day without a time expires at its end."""
    if text is None:
        return None
    zone = ZoneInfo(books.catalogue.site(site).time_zone)
    moment = understand_occurred(text, zone)
    if moment.timed:
        return moment.at
    return datetime.combine(moment.day + timedelta(days=1), time(), zone).astimezone(UTC)


def _reserved(books: Books, e: selling.ReservationMade, moment: Moment, position: int) -> None:
    d = e.data
    books.put(
        books.reservations,
        d.reservation,
        Reservation(
            code=d.reservation or "",
            customer=d.customer,
            site=e.site,
            any_site=d.any_site,
            made_day=moment.day,
            needed_by=_day(books, e.site, d.needed_by),
            expires_at=_expiry(books, e.site, d.expires_at),
            state="open",
            position=position,
            changed_position=position,
            claims=_claims(books, e.site, d.any_site, d.lines),
        ),
    )


def _rechanged(books: Books, e: selling.ReservationChanged, moment: Moment, position: int) -> None:
    d = e.data
    reservation = books.reservations[d.reservation]
    changes: dict[str, Any] = {"changed_position": position}
    if d.lines is not None:
        changes["claims"] = _claims(books, e.site, reservation.any_site, d.lines)
    if d.needed_by is not None:
        changes["needed_by"] = _day(books, e.site, d.needed_by)
    if d.expires_at is not None:
        changes["expires_at"] = _expiry(books, e.site, d.expires_at)
    books.alter(reservation, **changes)


def _released(books: Books, e: selling.ReservationReleased, moment: Moment, position: int) -> None:
    reservation = books.reservations[e.data.reservation]
    for claim in reservation.claims:
        books.alter(claim, open=0)
    books.alter(reservation, state="released", changed_position=position)


def draw_claims(
    books: Books, code: str | None, fulfils: list[budwood.Fulfilled], sign: int, position: int
) -> None:
    """Take what a sale fulfilled off the reservation's open lines; sign -1 puts it back."""
    if code is None or code not in books.reservations:
        return
    reservation = books.reservations[code]
    by_line = {claim.line: claim for claim in reservation.claims}
    for part in fulfils:
        claim = by_line.get(part.line)
        if claim is not None:
            books.alter(claim, open=min(max(claim.open - sign * part.count, 0), claim.asked))
    state = reservation.state
    if state != "released":
        left = any(claim.open for claim in reservation.claims)
        state = "open" if left else "fulfilled"
    books.alter(reservation, state=state, changed_position=position)


def _sold(
    books: Books, e: selling.TreesSold | budwood.BudwoodSold, moment: Moment, position: int
) -> None:
    draw_claims(books, e.data.reservation, e.data.fulfils, 1, position)


def _catalogue(books: Books, e: catalogue.CatalogueChanged, moment: Moment, position: int) -> None:
    entry = e.data.entry
    tag = str(entry.__struct_config__.tag)
    books.put(books.catalogue.entries, (tag, entry.code), (entry, position))


_WRITERS: dict[type, Callable[[Books, Any, Moment, int], None]] = {
    budwood.BudwoodCut: _cut,
    budwood.BudwoodReceived: _received,
    budwood.ScionsPrepared: _prepared,
    budwood.BudwoodSold: _sold,
    liners.LinersReceived: _liners,
    trees.TreesReceived: _trees,
    grafting.TreesGrafted: _grafted,
    grafting.TreesRegrafted: _regrafted,
    grafting.PushCounted: _push_counted,
    stock.StockOpened: _opened,
    stock.StockCounted: _counted,
    stock.HoldPlaced: _hold,
    stock.HoldLifted: _lifted,
    stock.LabelLost: _label_lost,
    trees.ConsignmentSent: _sent,
    trees.ConsignmentReceived: _load_received,
    selling.ReservationMade: _reserved,
    selling.ReservationChanged: _rechanged,
    selling.ReservationReleased: _released,
    selling.TreesSold: _sold,
    catalogue.CatalogueChanged: _catalogue,
}

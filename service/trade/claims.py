"""Claims on what is ready: reservations against the books, and what sales fulfil.

Until the forecast feeds a supply, supply is what is ready and not held. A claim must be covered
in every set of stock it can draw on (its lot; its grade or any grade; its site or all sites), so
that no later claim can be starved by an earlier wider one.
"""

from collections.abc import Iterable, Iterator

from msgspec.structs import replace

from service.trade import holds
from service.trade.accounts import grade_of
from service.trade.bench import Bench
from service.trade.books import Account, Books, Claim, Lot, Reservation
from service.trade.events.budwood import BudLine, Fulfilled
from service.trade.events.selling import ReservedLine, SoldLine
from service.trade.items import Item, claimed_item, parse_item
from service.trade.verdicts import refuse

# A set of stock: an item, at a site or anywhere, of a lot or of any.
Stock = tuple[Item, str | None, str | None]


def _standing(books: Books, item: Item, lot: str | None) -> Iterator[tuple[Lot, Account]]:
    """Ready trees, or buds in bags, that an item (or one lot) can draw on."""
    kind = "bag" if item.buds else "trees"
    candidates: Iterable[Lot] = [books.lots[lot]] if lot else books.lots.values()
    for candidate in candidates:
        if (candidate.cultivar or "") != item.cultivar:
            continue
        if not item.buds and (candidate.rootstock or "") != item.rootstock:
            continue
        for key, account in books.accounts_of(candidate.code).items():
            if key.kind != kind or account.balance <= 0:
                continue
            if not item.buds and (
                key.stage != "ready"
                or key.size != item.size
                or (item.grade and key.grade != grade_of(item.grade))
            ):
                continue
            yield candidate, account


def ready(bench: Bench, item: Item, site: str | None, lot: str | None) -> int:
    """How many are ready and not held now, at the site or at all."""
    total = 0
    for candidate, account in _standing(bench.books, item, lot):
        key = account.key
        if site is not None and key.site != site:
            continue
        tokens = {*candidate.ancestry, f"place:{key.place}", f"site:{key.site}"}
        if item.buds:
            tokens |= bench.books.bag_tokens(key.ref)
        if not holds.blocking(bench.books, holds.SELL, tokens, bench.day):
            total += account.balance
    return total


def spoken_for(
    bench: Bench, item: Item, site: str | None, lot: str | None, leave_out: str | None = None
) -> int:
    """How many open claims draw only on this set."""
    now = bench.books.now
    assert now is not None
    total = 0
    for reservation in bench.books.reservations.values():
        if reservation.code == leave_out or not reservation.counts_at(now):
            continue
        for claim in reservation.claims:
            if claim.open and _inside(claim, item, site, lot):
                total += claim.open
    return total


def _inside(claim: Claim, item: Item, site: str | None, lot: str | None) -> bool:
    claimed = parse_item(claim.item)
    return (
        claimed[:3] == item[:3]
        and claimed.buds == item.buds
        and (not item.grade or claimed.grade == item.grade)
        and (site is None or claim.site == site)
        and (lot is None or claim.lot == lot)
    )


def completed_line(bench: Bench, line: ReservedLine, pointer: str) -> ReservedLine:
    """The line with its codes checked and, for a lot, its size filled."""
    catalogue = bench.books.catalogue
    if line.lot is not None:
        return _lot_line(bench, line, pointer)
    if line.cultivar is None:
        raise refuse("missing", "Name a cultivar or a lot.", f"{pointer}/cultivar")
    catalogue.cultivar(line.cultivar, f"{pointer}/cultivar")
    if line.buds:
        return line
    if line.rootstock is None or line.size is None:
        raise refuse(
            "missing", "An item is a cultivar on a rootstock in a size.", f"{pointer}/rootstock"
        )
    catalogue.rootstock(line.rootstock, f"{pointer}/rootstock")
    catalogue.size(line.size, f"{pointer}/size")
    return line


def _lot_line(bench: Bench, line: ReservedLine, pointer: str) -> ReservedLine:
    lot = bench.books.lot(line.lot or "", f"{pointer}/lot")
    if lot.kind == "budwood":
        return line
    sizes = {
        key.size
        for key, account in bench.books.accounts_of(lot.code).items()
        if key.kind == "trees" and key.stage == "ready" and account.balance > 0
    }
    size = line.size or (next(iter(sizes)) if len(sizes) == 1 else None)
    if lot.kind != "tree" or size is None:
        raise refuse(
            "say_which",
            f"Lot {lot.code} has ready trees of several sizes; name the size."
            if sizes
            else f"Lot {lot.code} has no ready trees, so name the size that is promised.",
            f"{pointer}/size",
            ready_sizes=sorted(sizes),
        )
    return replace(line, size=size)


def cover(
    bench: Bench, lines: list[ReservedLine], any_site: bool, leave_out: str | None
) -> list[ReservedLine]:
    """The lines completed; refused when what is ready and not spoken for does not cover them."""
    completed = [completed_line(bench, li, f"#/data/lines/{i}") for i, li in enumerate(lines)]
    claimed: list[Claim] = []
    for index, line in enumerate(completed):
        item, lot = claimed_item(bench.books, line), line.lot
        site = None if any_site else bench.here
        claimed.append(
            Claim(
                line=index,
                item=item.text,
                lot=lot,
                site=site,
                asked=line.count,
                open=line.count,
            )
        )
    covered(bench, claimed, leave_out)
    return completed


def covered(bench: Bench, claimed: list[Claim], leave_out: str | None) -> None:
    """Refuse claims that what is ready and not spoken for does not cover."""
    for index, claim in enumerate(claimed):
        item = parse_item(claim.item)
        for wide in _sets(item, claim.site, claim.lot):
            asked = sum(c.open for c in claimed if _inside(c, *wide))
            there = ready(bench, *wide)
            taken = spoken_for(bench, *wide, leave_out=leave_out)
            if asked > there - taken:
                raise refuse(
                    "not_enough_to_promise",
                    f"{asked} of {wide[0].text} asked; {there} ready and not held"
                    f"{' at ' + wide[1] if wide[1] else ''}, {taken} of them spoken for.",
                    f"#/data/lines/{index}/count",
                    asked=asked,
                    ready=there,
                    spoken_for=taken,
                    available=max(there - taken, 0),
                    item=wide[0].text,
                    site=wide[1],
                )


def _sets(item: Item, site: str | None, lot: str | None) -> list[Stock]:
    """The sets of stock a claim lies in, narrowest first."""
    grades = [item, item._replace(grade="")] if item.grade else [item]
    sites = [site, None] if site else [None]
    lots: list[str | None] = [lot, None] if lot else [None]
    if lot and not (item.cultivar and (item.buds or item.rootstock)):
        # Of a lot with unknown parts nobody can say what other lots are like it.
        lots = [lot]
    return [(grade, where, which) for which in lots for grade in grades for where in sites]


def shortfalls(bench: Bench, touched: set[tuple[Item, str]], site: str) -> None:
    """Remark every item, or lot, touched at the site of which more is promised than is left."""
    said: set[Item] = set()
    for item, lot in sorted(touched):
        if item not in said and any(_shortfall(bench, item, where, None) for where in (site, None)):
            said.add(item)
        _shortfall(bench, item, None, lot)


def _shortfall(bench: Bench, item: Item, site: str | None, lot: str | None) -> bool:
    taken = spoken_for(bench, item, site, lot)
    there = ready(bench, item, site, lot) if taken else 0
    if taken <= there:
        return False
    of = f"lot {lot}" if lot else f"{item.text} at {site}" if site else item.text
    bench.remark(
        "shortfall",
        f"{taken} of {of} are promised, {there} are ready and not held.",
        item=item.text,
        site=site,
        lot=lot,
        promised=taken,
        ready=there,
    )
    return True


def _open_reservation(bench: Bench, code: str | None) -> Reservation | None:
    if code is None:
        return None
    reservation = bench.books.reservations.get(code)
    # One for trees of any site is every site's to fulfil.
    if reservation is None or not (reservation.any_site or reservation.site == bench.here):
        raise refuse(
            "unknown_code",
            f"No reservation {code} is known.",
            "#/data/reservation",
            code=code,
        )
    return reservation


def _draw(
    bench: Bench, code: str | None, wanted: list[tuple[Item, str | None, int]]
) -> list[Fulfilled]:
    """Match what is handed over with the reservation's open lines: lot, then grade, then any."""
    reservation = _open_reservation(bench, code)
    if reservation is None:
        return []
    customer = bench.event.data.customer  # type: ignore[attr-defined]
    if customer != reservation.customer:
        bench.break_rule(
            "other_customer",
            f"Reservation {code} is {reservation.customer}'s, not {customer}'s.",
            "#/data/reservation",
            reserved_for=reservation.customer,
            customer=customer,
        )
    left = {claim.line: claim.open for claim in reservation.claims}
    drawn: dict[int, int] = {}
    outside = 0
    for item, lot, count in wanted:
        rest = count
        for claim in sorted(
            reservation.claims, key=lambda c: (c.lot is None, not parse_item(c.item).grade)
        ):
            claimed = parse_item(claim.item)
            fits = claimed[:3] == item[:3] and claimed.buds == item.buds
            if claimed.grade and grade_of(claimed.grade) != grade_of(item.grade):
                fits = False
            if not fits or (claim.lot is not None and claim.lot != lot):
                continue
            part = min(rest, left[claim.line])
            if part:
                left[claim.line] -= part
                drawn[claim.line] = drawn.get(claim.line, 0) + part
                rest -= part
        outside += rest
    if outside:
        bench.remark(
            "outside_reservation",
            f"{outside} more than reservation {code} has open were handed over.",
            reservation=code,
            outside=outside,
        )
    return [Fulfilled(line=line, count=count) for line, count in sorted(drawn.items())]


def fulfil_buds(bench: Bench, code: str | None, lines: list[BudLine]) -> list[Fulfilled]:
    """What a sale of buds fulfils of a reservation."""
    wanted: list[tuple[Item, str | None, int]] = []
    for line in lines:
        lot = bench.books.lots[line.lot or ""]
        wanted.append((Item(lot.cultivar or "", "", "", "", True), lot.code, line.buds or 0))
    return _draw(bench, code, wanted)


def fulfil_trees(bench: Bench, code: str | None, lines: list[SoldLine]) -> list[Fulfilled]:
    """What a sale of trees fulfils of a reservation."""
    wanted: list[tuple[Item, str | None, int]] = []
    for line in lines:
        lot = bench.books.lots[line.lot]
        item = Item(
            lot.cultivar or "", lot.rootstock or "", line.size or "", line.grade or "", False
        )
        wanted.append((item, lot.code, line.count))
    return _draw(bench, code, wanted)

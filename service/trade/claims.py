"""The lines of claims: what a reservation asks for, and what sales fulfil of it."""

from msgspec.structs import replace

from service.trade.accounts import grade_of
from service.trade.bench import Bench
from service.trade.books import Lot, Reservation
from service.trade.events.budwood import Fulfilled, SoldBuds
from service.trade.events.selling import ReservedLine, SoldLine
from service.trade.items import Item, parse_item
from service.trade.verdicts import refuse


def completed_line(bench: Bench, line: ReservedLine, any_site: bool, pointer: str) -> ReservedLine:
    """The line with its codes checked and, for a lot, its size filled."""
    catalogue = bench.books.catalogue
    if line.lot is not None:
        find = bench.books.lot if any_site else bench.lot_here
        lot = find(line.lot, f"{pointer}/lot")
        for name in ("cultivar", "rootstock"):
            if (said := getattr(line, name)) not in (None, getattr(lot, name)):
                words = f"Lot {lot.code} is not of the {name} {said}: name the lot, or an item."
                raise refuse("say_which", words, f"{pointer}/{name}")
        return _lot_line(bench, line, lot, pointer)
    if line.cultivar is None:
        raise refuse("missing", "Name a cultivar or a lot.", f"{pointer}/cultivar")
    catalogue.cultivar(line.cultivar, f"{pointer}/cultivar")
    if line.buds:
        for name in ("rootstock", "size", "grade"):
            if getattr(line, name) is not None:
                words = f"Buds are named by their cultivar alone: leave {name} out."
                raise refuse("say_which", words, f"{pointer}/{name}")
        return line
    if line.rootstock is None or line.size is None:
        raise refuse(
            "missing", "An item is a cultivar on a rootstock in a size.", f"{pointer}/rootstock"
        )
    catalogue.rootstock(line.rootstock, f"{pointer}/rootstock")
    catalogue.size(line.size, f"{pointer}/size")
    return line


def _lot_line(bench: Bench, line: ReservedLine, lot: Lot, pointer: str) -> ReservedLine:
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
        # Whose it is, is for the site to know that made it.
        whose = reservation.customer if reservation.site == bench.here else None
        bench.break_rule(
            "other_customer",
            f"Reservation {code} is {whose or 'another'}'s, not {customer}'s.",
            "#/data/reservation",
            reserved_for=whose,
            customer=customer,
        )
    left = {claim.line: claim.open for claim in reservation.claims}
    drawn: dict[int, int] = {}
    outside: dict[Item, int] = {}
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
        if rest:
            outside[item] = outside.get(item, 0) + rest
    if outside:
        _say_outside(bench, reservation, outside)
    return [Fulfilled(line=line, count=count) for line, count in sorted(drawn.items())]


def _say_outside(bench: Bench, reservation: Reservation, outside: dict[Item, int]) -> None:
    """Remark what goes and is not open of the reservation: sold twice, perhaps, or something else
    than was wanted."""
    assert bench.books.now is not None
    state = reservation.state
    if state == "open" and not reservation.counts_at(bench.books.now):
        state = "expired"
    what = ", ".join(f"{count} of {item.words}" for item, count in outside.items())
    why = "has no more of these open" if state == "open" else f"is {state} already"
    bench.remark(
        "outside_reservation",
        f"{what} handed over outside reservation {reservation.code}, which {why}.",
        reservation=reservation.code,
        state=state,
        outside=sum(outside.values()),
        items=[{"item": item.text, "count": count} for item, count in outside.items()],
    )


def fulfil_buds(bench: Bench, code: str | None, lines: list[SoldBuds]) -> list[Fulfilled]:
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
        lot = bench.books.lots[line.lot or ""]
        item = Item(
            lot.cultivar or "", lot.rootstock or "", line.size or "", line.grade or "", False
        )
        wanted.append((item, lot.code, line.count))
    return _draw(bench, code, wanted)

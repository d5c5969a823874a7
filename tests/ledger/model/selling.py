"""Reservations, sales and returns."""

from datetime import date
from typing import Any

from tests.ledger.model.books import Books, trees
from tests.ledger.model.incoming import bag_account
from tests.ledger.model.overriding import NOW, there
from tests.ledger.model.words import Account, Claim, Refused, Reservation, Sale, Telling, tells

# A set of stock: size and grade ("" any) or buds, of a lot or any, at a site or anywhere.
Stock = tuple[str, str, bool, str | None, str | None]


def _claims(books: Books, t: Telling, lines: list[dict[str, Any]], any_site: bool) -> list[Claim]:
    claims = []
    for line in lines:
        buds = line.get("buds", False)
        if "lot" in line:
            buds = books.lot(line["lot"], "tree", "budwood").kind == "budwood"
        size = "" if buds else line["size"]
        grade = "" if buds else line.get("grade", "")
        site = None if any_site else t.site
        count = line["count"]
        claims.append(Claim(size, grade, buds, line.get("lot"), site, count, count))
    return claims


def _ready(books: Books, t: Telling, stock: Stock) -> int:
    """How many are there now, and not held."""
    size, grade, buds, lot, site = stock
    total = 0
    for account in books.entries:
        fits = account.kind == "bag" if buds else account.kind == "trees"
        if not buds:
            fits = fits and account.stage == "ready" and account.size == size
            fits = fits and grade in ("", account.grade)
        if not fits or lot not in (None, account.lot) or site not in (None, account.site):
            continue
        tokens = books.ancestry(account.lot) | {f"place:{account.place}", f"site:{account.site}"}
        if buds:
            tokens |= books.bag_tokens(account.ref)
        if not books.is_held("sell", t.when.day, tokens):
            total += max(books.balance(account), 0)
    return total


def _there(books: Books, t: Telling, stock: Stock, asked: date, day: date) -> int:
    """How many are there on a day, of what is asked for a day."""
    size, grade, buds, lot, site = stock
    if buds or lot:
        return _ready(books, t, stock)

    def ready(grade: str, site: str | None) -> int:
        return _ready(books, t, (size, grade, False, None, site))

    return there(books, size, grade, site, asked, day, ready)


def _inside(claim: Claim, stock: Stock) -> bool:
    size, grade, buds, lot, site = stock
    return (
        (claim.size, claim.buds) == (size, buds)
        and grade in ("", claim.grade)
        and lot in (None, claim.lot)
        and site in (None, claim.site)
    )


def _cover(
    books: Books, t: Telling, claims: list[Claim], asked: date, leave_out: str | None = None
) -> None:
    """Every claim in every set of stock that it can draw on: on its day, and on each later one for
    which something of the set is open."""
    others = [
        (reservation.needed, line)
        for code, reservation in books.reservations.items()
        if code != leave_out
        for line in reservation.lines
        if line.open
    ]
    for claim in claims:
        for lot in {claim.lot, None}:
            for grade in {claim.grade, ""}:
                for site in {claim.site, None}:
                    stock = (claim.size, grade, claim.buds, lot, site)
                    new = sum(c.open for c in claims if _inside(c, stock))
                    old = [(day, c.open) for day, c in others if _inside(c, stock)]
                    for day in {asked, *(day for day, _ in old if day > asked)}:
                        by_then = new + sum(count for due, count in old if due <= day)
                        if by_then > _there(books, t, stock, asked, day):
                            raise Refused("not_enough_to_promise")


@tells("reservation.made")
def _made(books: Books, t: Telling) -> None:
    d = t.data
    if d["reservation"] in books.reservations:
        raise Refused("code_in_use")
    claims = _claims(books, t, d["lines"], d["any_site"])
    needed = date.fromisoformat(d["needed_by"]) if "needed_by" in d else NOW
    _cover(books, t, claims, needed)
    made = Reservation(d["customer"], t.site, d["any_site"], claims, needed)
    books.reservations[d["reservation"]] = made


def _open(books: Books, t: Telling) -> Reservation:
    reservation = books.reservations.get(t.data["reservation"])
    if reservation is None or reservation.site != t.site:
        raise Refused("unknown_code")
    if reservation.state != "open":
        raise Refused("not_open")
    return reservation


@tells("reservation.changed")
def _changed(books: Books, t: Telling) -> None:
    reservation = _open(books, t)
    claims = _claims(books, t, t.data["lines"], reservation.any_site)
    _cover(books, t, claims, reservation.needed, leave_out=t.data["reservation"])
    reservation.lines = claims


@tells("reservation.released")
def _released(books: Books, t: Telling) -> None:
    reservation = _open(books, t)
    reservation.state = "released"
    for line in reservation.lines:
        line.open = 0


def _draw(books: Books, t: Telling, sold: list[tuple[Account, int]]) -> None:
    """What a sale takes off the open lines: its lot's first, then its grade's, then any."""
    code = t.data.get("reservation")
    if code is None:
        return
    reservation = books.reservations.get(code)
    if reservation is None or not (reservation.any_site or reservation.site == t.site):
        raise Refused("unknown_code")
    if reservation.customer != t.data["customer"]:
        t.broken.append("other_customer")
    drawn: dict[int, int] = {}
    lines = list(enumerate(reservation.lines))
    for account, count in sold:
        rest = count
        for index, line in sorted(lines, key=lambda pair: (not pair[1].lot, not pair[1].grade)):
            buds = account.kind == "bag"
            if line.buds != buds or line.lot not in (None, account.lot):
                continue
            if not buds and (line.size != account.size or line.grade not in ("", account.grade)):
                continue
            part = min(rest, line.open)
            line.open -= part
            rest -= part
            drawn[index] = drawn.get(index, 0) + part
    if reservation.state != "released":
        left = any(line.open for line in reservation.lines)
        reservation.state = "open" if left else "fulfilled"
    reservation.drawn[t.number] = drawn


@tells("trees.sold")
def _trees_sold(books: Books, t: Telling) -> None:
    sold = []
    for line in t.data["lines"]:
        books.lot(line["lot"], "tree")
        account = books.need(trees(t, line))
        books.stop(t, "sell", line["lot"], account)
        sold.append((account, line["count"]))
    books.sales[t.number] = [Sale(a.size, a.grade, a.site, count) for a, count in sold]
    _draw(books, t, sold)
    for account, count in sold:
        customer = Account(account.lot, t.site, "customer", ref=t.data["customer"])
        books.move(account, customer, t, count)


@tells("budwood.sold")
def _budwood_sold(books: Books, t: Telling) -> None:
    sold = []
    for line in t.data["lines"]:
        account = bag_account(books, t, line)
        books.stop(t, "sell", account.lot, account)
        sold.append((account, line["buds"]))
    _draw(books, t, sold)
    for account, count in sold:
        customer = Account(account.lot, t.site, "customer", ref=t.data["customer"])
        books.move(account, customer, t, count)


@tells("trees.returned")
def _returned(books: Books, t: Telling) -> None:
    site = books.sites[t.site]
    if not site.returns_allowed:
        t.broken.append("returns_not_allowed")
    for line in t.data["lines"]:
        books.lot(line["lot"], "tree")
        if books.place(t, line["place"]) not in site.for_returns:
            t.broken.append("returns_not_allowed")
        customer = Account(line["lot"], t.site, "customer", ref=t.data["customer"])
        books.move(customer, trees(t, line), t, line["count"])

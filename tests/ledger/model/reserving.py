"""Reservations: what can be promised of what stands, to whom, until when."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import combinations, pairwise, product
from typing import Any

from tests.ledger.model.books import Books
from tests.ledger.model.overriding import NOW, there
from tests.ledger.model.words import Claim, Refused, Reservation, Telling, tells

# A set of stock: size and grade ("" any) or buds, of a lot or any, at a site or anywhere.
Stock = tuple[str, str, bool, str | None, str | None]
# One, or several together.
Union = tuple[Stock, ...]


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
        claims.append(Claim(size, grade, buds, line.get("lot"), site, count, count, count))
    return claims


def _ready(books: Books, stock: Stock) -> int:
    """How many are there now, not held, and not kept apart since they came back."""
    size, grade, buds, lot, site = stock
    total = 0
    for account in books.entries:
        fits = account.kind == "bag" if buds else account.kind == "trees"
        if not buds:
            fits = fits and account.stage == "ready" and account.size == size
            fits = fits and grade in ("", account.grade or "ungraded")
        if not fits or lot not in (None, account.lot) or site not in (None, account.site):
            continue
        if account.place in books.sites[account.site].for_returns:
            continue
        tokens = books.ancestry(account.lot) | {f"place:{account.place}", f"site:{account.site}"}
        if buds:
            tokens |= books.bag_tokens(account.ref)
        if not books.is_held("sell", NOW, tokens):
            total += max(books.balance(account), 0)
    return total


def _there(books: Books, stock: Stock, asked: date, day: date) -> int:
    """How many are there on a day, of what is asked for a day."""
    size, grade, buds, lot, site = stock
    if buds or lot:
        return _ready(books, stock) - (_for_orders(books, site) if buds and not lot else 0)

    def ready(grade: str, site: str | None) -> int:
        return _ready(books, (size, grade, False, None, site))

    return there(books, size, grade, site, asked, day, ready)


def _for_orders(books: Books, site: str | None) -> int:
    """Buds that work orders still take. All that the model grafts takes one bud a tree."""
    return sum(
        max(order.wanted - sum(order.done.values()), 0)
        for order in books.orders.values()
        if not order.ended and site in (None, order.site)
    )


def _inside(claim: Claim, stock: Stock) -> bool:
    size, grade, buds, lot, site = stock
    return (
        (claim.size, claim.buds) == (size, buds)
        and grade in ("", claim.grade)
        and lot in (None, claim.lot)
        and site in (None, claim.site)
    )


def _cover(books: Books, claims: list[Claim], asked: date, leave_out: str | None = None) -> None:
    """Every claim in every set of stock that it can draw on: on its day, and on each later one for
    which something of the set is open."""
    others = [
        (reservation.needed, line)
        for code, reservation in books.reservations.items()
        if code != leave_out and reservation.counts
        for line in reservation.lines
        if line.open
    ]
    every = [*claims, *(claim for _, claim in others)]
    for union in {
        union
        for claim in claims
        for union in (*((stock,) for stock in _can_take(books, claim)), *_unions(claim, every))
    }:
        size, _, buds, *_ = union[0]
        old = [(day, c) for day, c in others if (c.size, c.buds) == (size, buds)]
        new = [c for c in claims if (c.size, c.buds) == (size, buds)]

        def taken(day: date, *more: Claim) -> int:
            by_then = [*more, *(c for due, c in old if due <= day)]  # noqa: B023 - used in the loop
            return _taken(books, union, by_then)  # noqa: B023

        later = sorted({day for day, _ in old if day > asked})
        days = [asked, *later]
        due = [asked] + [b for a, b in pairwise(days) if taken(b, *new) > taken(a, *new)]
        short = any(taken(day, *new) > _in_all(books, union, asked, day) for day in due)
        if short and any(taken(day, *new) > taken(day) for day in days):
            raise Refused("not_enough_to_promise")


def _can_take(books: Books, claim: Claim) -> set[Stock]:
    """Every set of stock that a claim lies in; of one on a lot also those in which it stands."""
    places = {(claim.grade, claim.site)}
    if claim.lot:
        for grade, site in _cells(books):
            named = "" if claim.buds else grade
            if _ready(books, (claim.size, named, claim.buds, claim.lot, site)):
                places.add((named, site))
    return {
        (claim.size, grade_, claim.buds, lot, site_)
        for grade, site in places
        for grade_ in {grade, ""}
        for site_ in {site, None}
        for lot in ({claim.lot, None} if (grade, site) == (claim.grade, claim.site) else {None})
    }


def _cells(books: Books) -> set[tuple[str, str]]:
    """Grades and sites; what has no grade is of the grade `ungraded`."""
    return {(account.grade or "ungraded", account.site) for account in books.entries}


def _unions(claim: Claim, claims: list[Claim]) -> Iterator[Union]:
    """Sites with grades, each of which somebody wants: every choice among them."""
    mine = [c for c in claims if c.lot is None and (c.size, c.buds) == (claim.size, claim.buds)]
    if claim.buds:
        return
    sites = {("", c.site) for c in mine if c.site and not c.grade}
    grades = {(c.grade, None) for c in mine if c.grade and not c.site}
    for number, more in product(range(1, len(sites) + 1), range(1, len(grades) + 1)):
        for some, few in product(combinations(sites, number), combinations(grades, more)):
            at = sorted([*some, *few], key=str)
            yield tuple((claim.size, grade, False, None, site) for grade, site in at)


def _in_all(books: Books, union: Union, asked: date, day: date) -> int:
    """How many are there in one or several sets."""

    def there(grade: str, site: str | None) -> int:
        return _there(books, (union[0][0], grade, False, None, site), asked, day)

    if len(union) == 1:
        return _there(books, union[0], asked, day)
    sites = {site for *_, site in union if site}
    grades = {grade for _, grade, *_ in union if grade}
    if not any(there("", site) > 0 for site in books.sites if site not in sites):
        return there("", None)
    rows, columns = sum(there("", s) for s in sites), sum(there(g, None) for g in grades)
    twice = sum(there(grade, site) for grade, site in product(grades, sites))
    return min(there("", None), max(rows, columns, rows + columns - twice))


def _taken(books: Books, union: Union, claims: list[Claim]) -> int:
    """How many claims take of a set at least. Of a lot: what lies in it, and what can be served
    only by it, of all that can be served: by the marriage theorem, over every choice of claims."""
    size, _, buds, named, _ = union[0]

    def inside(claim: Claim) -> bool:
        return any(_inside(claim, stock) for stock in union)

    total = sum(c.open for c in claims if c.lot in (None, named) and inside(c))
    if named:
        return total
    for lot in {c.lot for c in claims if c.lot}:
        mine = [c for c in claims if c.lot == lot]
        cells = {
            (grade, site): _ready(books, (size, "" if buds else grade, buds, lot, site))
            for grade, site in _cells(books)
            if not buds or grade == "ungraded"
        }
        out = {
            at: 0 if any(of[1] in ("", at[0]) and of[4] in (None, at[1]) for of in union) else count
            for at, count in cells.items()
        }
        within = sum(c.open for c in mine if inside(c))
        total += max(within, _served(mine, cells) - _served(mine, out))
    return total


def _served(claims: list[Claim], cells: dict[tuple[str, str], int]) -> int:
    """How many of the claims can be served at once from where so many stand."""
    kinds = {(c.grade, c.site) for c in claims}

    def fits(cell: tuple[str, str], kind: tuple[str, str | None]) -> bool:
        return kind[0] in ("", cell[0]) and kind[1] in (None, cell[1])

    return min(
        sum(c.open for c in claims if (c.grade, c.site) not in some)
        + sum(count for cell, count in cells.items() if any(fits(cell, kind) for kind in some))
        for number in range(len(kinds) + 1)
        for some in combinations(kinds, number)
    )


def _as_many(books: Books, claims: list[Claim], asked: date) -> list[Claim]:
    """Line by line the most that is covered beside those before it, by trying every number."""
    kept: list[Claim] = []
    for claim in claims:
        for count in range(claim.asked, 0, -1):
            fewer = replace(claim, open=count, promised=count)
            try:
                _cover(books, [*kept, fewer], asked)
            except Refused:
                continue
            kept.append(fewer)
            break
    if not kept:
        raise Refused("not_enough_to_promise")
    return kept


def _over(text: str | None) -> bool:
    """Whether an expiry lies before every day on which the service can be running."""
    return text is not None and datetime.fromisoformat(text) < datetime(2026, 1, 1, tzinfo=UTC)


@tells("reservation.made")
def _made(books: Books, t: Telling) -> None:
    d = t.data
    if d["reservation"] in books.reservations:
        raise Refused("code_in_use")
    claims = _claims(books, t, d["lines"], d["any_site"])
    needed = date.fromisoformat(d["needed_by"]) if "needed_by" in d else NOW
    if d.get("partial"):
        claims = _as_many(books, claims, needed)
    else:
        _cover(books, claims, needed)
    made = Reservation(d["customer"], t.site, d["any_site"], claims, needed)
    made.expired = _over(d.get("expires_at"))
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
    reservation, d = _open(books, t), t.data
    later = "expires_at" in d or "expires_at" in d.get("cleared", ())
    if "expires_at" in d and reservation.confirmed:
        raise Refused("confirmed_already")
    if "lines" in d:
        claims = _claims(books, t, d["lines"], reservation.any_site)
        _cover(books, claims, reservation.needed, leave_out=d["reservation"])
        reservation.lines = claims
    elif later and not reservation.counts:
        _again(books, t, reservation)
    if later:
        reservation.expired, reservation.noted = _over(d.get("expires_at")), False


def _again(books: Books, t: Telling, reservation: Reservation) -> None:
    """What had expired is judged as if it were new."""
    still = [line for line in reservation.lines if line.open]
    _cover(books, still, reservation.needed, leave_out=t.data["reservation"])


@tells("reservation.confirmed")
def _confirmed(books: Books, t: Telling) -> None:
    reservation = _open(books, t)
    if reservation.confirmed and t.data.get("order") in (None, reservation.order):
        raise Refused("confirmed_already")
    if not reservation.counts:
        _again(books, t, reservation)
    reservation.confirmed, reservation.expired, reservation.noted = True, False, False
    reservation.order = t.data.get("order", reservation.order)


@tells("reservation.expired")
def _expired(books: Books, t: Telling) -> None:
    reservation = _open(books, t)
    if reservation.noted:
        raise Refused("not_open")
    if reservation.counts:
        raise Refused("not_expired")
    reservation.noted = True


@tells("reservation.released")
def _released(books: Books, t: Telling) -> None:
    reservation = _open(books, t)
    reservation.state = "released"
    for line in reservation.lines:
        line.open = 0

"""Reservations: what can be promised of what stands, to whom, until when."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

from tests.ledger.model.books import Books
from tests.ledger.model.overriding import NOW, there
from tests.ledger.model.words import Claim, Refused, Reservation, Telling, tells

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
        claims.append(Claim(size, grade, buds, line.get("lot"), site, count, count, count))
    return claims


def _ready(books: Books, t: Telling, stock: Stock) -> int:
    """How many are there now, not held, and not kept apart since they came back."""
    size, grade, buds, lot, site = stock
    total = 0
    for account in books.entries:
        fits = account.kind == "bag" if buds else account.kind == "trees"
        if not buds:
            fits = fits and account.stage == "ready" and account.size == size
            fits = fits and grade in ("", account.grade)
        if not fits or lot not in (None, account.lot) or site not in (None, account.site):
            continue
        if account.place in books.sites[account.site].for_returns:
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
        return _ready(books, t, stock) - (_for_orders(books, site) if buds and not lot else 0)

    def ready(grade: str, site: str | None) -> int:
        return _ready(books, t, (size, grade, False, None, site))

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


def _cover(
    books: Books, t: Telling, claims: list[Claim], asked: date, leave_out: str | None = None
) -> None:
    """Every claim in every set of stock that it can draw on: on its day, and on each later one for
    which something of the set is open."""
    others = [
        (reservation.needed, line)
        for code, reservation in books.reservations.items()
        if code != leave_out and reservation.counts
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


def _as_many(books: Books, t: Telling, claims: list[Claim], asked: date) -> list[Claim]:
    """Line by line the most that is covered beside those before it, by trying every number."""
    kept: list[Claim] = []
    for claim in claims:
        for count in range(claim.asked, 0, -1):
            fewer = replace(claim, open=count, promised=count)
            try:
                _cover(books, t, [*kept, fewer], asked)
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
        claims = _as_many(books, t, claims, needed)
    else:
        _cover(books, t, claims, needed)
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
        _cover(books, t, claims, reservation.needed, leave_out=d["reservation"])
        reservation.lines = claims
    elif later and not reservation.counts:
        _again(books, t, reservation)
    if later:
        reservation.expired, reservation.noted = _over(d.get("expires_at")), False


def _again(books: Books, t: Telling, reservation: Reservation) -> None:
    """What had expired is judged as if it were new."""
    still = [line for line in reservation.lines if line.open]
    _cover(books, t, still, reservation.needed, leave_out=t.data["reservation"])


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

"""Sales and returns, and the papers that go with what is sold."""

from tests.ledger.model.books import Books, trees
from tests.ledger.model.incoming import bag_account
from tests.ledger.model.words import Account, Refused, Sale, Telling, tells


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


@tells("papers.printed")
def _papers_printed(books: Books, t: Telling) -> None:
    """Nothing moves. Every refusal stays one, whatever has happened."""
    d, site = t.data, books.sites[t.site]
    lot = books.here(t, d["lot"], "tree", "budwood")
    goods = [
        account
        for account in books.entries
        if (account.lot, account.site) == (d["lot"], t.site)
        and (account.kind in ("bag", "customer") or account.stage in ("grafted", "pushed", "ready"))
    ]
    if d["count"] > sum(books.balance(account, t.when.day) for account in goods):
        raise Refused("counts_disagree")
    tokens = {f"site:{t.site}"} | books.ancestry(d["lot"])
    for account in goods:
        if books.balance(account, t.when.day) > 0:
            tokens.add(f"place:{account.place}")
        tokens |= books.bag_tokens(account.ref) if account.kind == "bag" else set()
    for hold in books.holds.values():
        if hold.token in tokens and (hold.until is None or hold.since <= t.when.day < hold.until):
            raise Refused("held")
    if d["paper"] != "sale_tag":
        if site.inspected is None:
            raise Refused("not_registered")
        if not site.inspected[0] <= t.when.day <= site.inspected[1]:
            raise Refused("inspection_not_current")
    if not lot.labelled:
        raise Refused("missing")

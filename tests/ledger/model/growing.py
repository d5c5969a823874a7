"""Grafting, and what becomes of the trees."""

from tests.ledger.model.books import Books, liners, trees
from tests.ledger.model.incoming import bag_account, make_lot
from tests.ledger.model.ordering import count_toward
from tests.ledger.model.words import Account, Lot, Refused, Telling, tells


def _wood(books: Books, t: Telling) -> str:
    """The budwood lot that the bags' buds are of."""
    accounts = [bag_account(books, t, line) for line in t.data["from"]]
    lots = {account.lot for account in accounts}
    if len(lots) > 1:
        raise Refused("lot_differs")
    wood = lots.pop()
    books.stop(t, "use", wood, *accounts)
    if sum(line["buds"] for line in t.data["from"]) < t.data["count"]:
        raise Refused("counts_disagree")
    return wood


def _grafted_lot(books: Books, t: Telling, wood: str, stocks: str) -> None:
    """The lot of the new trees: made, or added to where nothing about it differs."""
    d, code = t.data, t.data["lot"]
    parents = {f"lot:{wood}", f"lot:{stocks}"}
    month = (t.when.day.year, t.when.day.month)
    old = books.lots.get(code)
    if old is None or old.gone:
        books.free(code)
    else:
        above = {p for made in old.parents.values() for p in made if p.startswith("lot:")}
        if (old.kind, old.method, old.month, above) != ("tree", d["method"], month, parents):
            raise Refused("lot_differs" if books.is_here(t, code) else "code_in_use")
    parents |= {f"bag:{line['bag']}" for line in d["from"]}
    make_lot(books, t, code, parents, Lot(t.number, "tree", d["method"], month, wood=wood))


def _use(books: Books, t: Telling, stocks: Account) -> None:
    d = t.data
    count_toward(books, t)
    books.post(stocks, t.when, -d["count"], t.number)
    target = Account(d["lot"], t.site, "trees", d["place"], "grafted", stocks.size)
    books.post(target, t.when, d["count"], t.number)
    for line in d["from"]:
        account = bag_account(books, t, line)
        books.move(account, Account(account.lot, t.site, "used"), t, line["buds"])


@tells("trees.grafted")
def _grafted(books: Books, t: Telling) -> None:
    d, onto = t.data, t.data["onto"]
    books.place(t, d["place"])
    wood = _wood(books, t)
    if "liner_lot" in onto:
        stocks = onto["liner_lot"]
        books.lot(stocks, "liner")
        account = books.need(liners(t, onto | {"lot": stocks}))
    else:
        stocks = onto["tree_lot"]
        books.lot(stocks, "tree")
        account = books.need(trees(t, onto, stocks))
    books.stop(t, "use", stocks, account)
    _grafted_lot(books, t, wood, stocks)
    _use(books, t, account)


@tells("trees.regrafted")
def _regrafted(books: Books, t: Telling) -> None:
    d = t.data
    books.place(t, d["place"])
    books.lot(d["of"], "tree")
    wood = _wood(books, t)
    account = books.need(trees(t, d, d["of"], place=d["of_place"]))
    books.stop(t, "use", d["of"], account)
    sources = {books.source(d["of"]), books.source(wood)} - {None}
    if len(sources) > 1 and books.sites[t.site].regraft_same_source:
        t.broken.append("other_source")
    _grafted_lot(books, t, wood, d["of"])
    _use(books, t, account)


@tells("grafts.wrapped")
def _wrapped(books: Books, t: Telling) -> None:
    """A fact; but what is wrapped stands there, in one size."""
    d = t.data
    books.lot(d["lot"], "tree")
    there = [
        account
        for account in books.entries
        if account[:5] == (d["lot"], t.site, "trees", d["place"], "grafted")
        and books.balance(account, t.when.day) > 0
    ]
    if len(there) != 1:
        raise Refused("say_which" if there else "nothing_there")


@tells("grafts.unwrapped")
def _unwrapped(books: Books, t: Telling) -> None:
    d = t.data
    books.lot(d["lot"], "tree")
    account = trees(t, d, stage="grafted")
    if books.balance(account, t.when.day) <= 0:
        raise Refused("nothing_there")
    books.move(account, account._replace(stage="failed"), t, d["failed"])


@tells("tops.forced", "tops.removed")
def _tops(books: Books, t: Telling) -> None:
    books.here(t, t.data["lot"], "liner", "tree")
    books.place(t, t.data["place"])


@tells("push.counted")
def _push_counted(books: Books, t: Telling) -> None:
    d = t.data
    books.lot(d["lot"], "tree")
    books.place(t, d["place"])
    seen = {
        "grafted": d["waiting"] + d.get("unclear", 0),
        "pushed": d["pushed"],
        "failed": d.get("failed"),
    }
    changes: list[tuple[Account, int]] = []
    for stage, counted in seen.items():
        account = trees(t, d, stage=stage)
        book = max(books.balance(account, t.when.day), 0)
        changes.append((account, 0 if counted is None else counted - book))
        books.count(account, t)
    for taken in d["removed"]:
        lost = Account(d["lot"], t.site, "lost", ref=taken["cause"])
        changes.append((lost, taken["count"]))
    rest = -sum(change for _, change in changes)
    changes.append((Account(d["lot"], t.site, "variance"), rest))
    for account, change in changes:
        books.post(account, t.when, change, t.number)


@tells("trees.lost")
def _lost(books: Books, t: Telling) -> None:
    d = t.data
    books.lot(d["lot"], "tree")
    account = books.need(trees(t, d))
    if d["cause"] == "culled":
        books.stop(t, "discard", d["lot"], account)
    books.move(account, Account(d["lot"], t.site, "lost", ref=d["cause"]), t, d["count"])


@tells("trees.graded")
def _graded(books: Books, t: Telling) -> None:
    d = t.data
    books.lot(d["lot"], "tree")
    account = books.need(trees(t, d))
    if sum(o["count"] for o in d["outcomes"]) > books.balance(account, t.when.day):
        raise Refused("counts_disagree")
    for outcome in d["outcomes"]:
        end = account._replace(stage=outcome["stage"], grade=outcome.get("grade") or "")
        if end != account:
            books.move(account, end, t, outcome["count"])

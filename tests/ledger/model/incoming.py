"""Budwood and liners, openings, bought-in trees, and counts."""

from typing import Any

from tests.ledger.model.books import Books, liners, trees, variance
from tests.ledger.model.words import Account, Bag, Lot, Refused, Telling, tells


def make_lot(books: Books, t: Telling, code: str, parents: set[str], lot: Lot) -> None:
    """A new lot, one made anew, or one more event of the same lot."""
    old = books.lots.get(code)
    if old is not None and not old.gone:
        old.parents[t.number] = frozenset(parents)
        return
    if old is not None:
        lot.parents = {n: above for n, above in old.parents.items() if n != old.made_by}
    lot.parents[t.number] = frozenset(parents)
    books.lots[code] = lot


def _fill(books: Books, t: Telling, lot: str, bags: list[dict[str, Any]], source: str) -> None:
    for fill in bags:
        books.free(fill["bag"])
        if fill["bag"] == lot:
            raise Refused("code_in_use")
        place = books.place(t, fill["place"])
        books.bags[fill["bag"]] = Bag(t.number, lot, fill.get("basis", "counted"))
        origin = Account(lot, t.site, "source", ref=source)
        target = Account(lot, t.site, "bag", place, ref=fill["bag"])
        books.move(origin, target, t, fill["buds"])


@tells("budwood.cut")
def _cut(books: Books, t: Telling) -> None:
    d = t.data
    tree, tree_lot = d.get("source_tree"), d.get("tree_lot")
    books.free(d["lot"])
    if tree is not None:
        if tree not in books.source_trees:
            raise Refused("unknown_code")
        if books.is_held("use", t.when.day, {f"source_tree:{tree}", f"site:{t.site}"}):
            t.broken.append("held")
        made = Lot(t.number, "budwood", source=f"source_tree:{tree}")
        make_lot(books, t, d["lot"], {f"source_tree:{tree}"}, made)
    else:
        books.here(t, tree_lot, "tree")
        books.stop(t, "use", tree_lot)
        made = Lot(t.number, "budwood", wood=tree_lot)
        make_lot(books, t, d["lot"], {f"lot:{tree_lot}"}, made)
    _fill(books, t, d["lot"], d["bags"], tree or tree_lot)


@tells("budwood.received")
def _budwood_received(books: Books, t: Telling) -> None:
    d = t.data
    books.free(d["lot"])
    tree = d.get("source_tree")
    if tree is not None and tree not in books.source_trees:
        raise Refused("unknown_code")
    token = f"source_tree:{tree}" if tree else None
    made = Lot(t.number, "budwood", source=token or f"lot:{d['lot']}")
    make_lot(books, t, d["lot"], {token} if token else set(), made)
    _fill(books, t, d["lot"], d["bags"], d["supplier"])


def bag_account(books: Books, t: Telling, line: dict[str, Any]) -> Account:
    """The account of buds that a line speaks of."""
    bag = books.bag(line["bag"])
    return books.need(Account(bag.lot, t.site, "bag", line["place"], ref=line["bag"]))


def _taken(books: Books, t: Telling, action: str) -> list[tuple[Account, int]]:
    taken = []
    for line in t.data["lines"]:
        account = bag_account(books, t, line)
        books.stop(t, action, account.lot, account)
        taken.append((account, line["buds"]))
    return taken


@tells("budwood.discarded")
def _budwood_discarded(books: Books, t: Telling) -> None:
    for account, buds in _taken(books, t, "discard"):
        gone = Account(account.lot, t.site, "discarded", ref=t.data["cause"])
        books.move(account, gone, t, buds)


@tells("budwood.moved")
def _budwood_moved(books: Books, t: Telling) -> None:
    to = books.place(t, t.data["to"])
    for account, buds in _taken(books, t, "move"):
        if account.place == to:
            raise Refused("same_place")
        books.move(account, account._replace(place=to), t, buds)


@tells("scions.prepared")
def _prepared(books: Books, t: Telling) -> None:
    d = t.data
    account = bag_account(books, t, d)
    books.stop(t, "use", account.lot, account)
    books.free(d["into"])
    to = books.place(t, d["to"])
    books.bags[d["into"]] = Bag(t.number, account.lot, cut_from=d["bag"])
    pieces = Account(account.lot, t.site, "bag", to, ref=d["into"])
    books.move(account, pieces, t, d["pieces"] * d["buds_per_piece"])
    waste = Account(account.lot, t.site, "discarded", ref="cutting_waste")
    books.move(account, waste, t, d["waste"])


@tells("liners.received")
def _liners_received(books: Books, t: Telling) -> None:
    d = t.data
    books.free(d["lot"])
    make_lot(books, t, d["lot"], set(), Lot(t.number, "liner", basis=d.get("basis", "counted")))
    for line in d["lines"]:
        books.place(t, line["place"])
        source = Account(d["lot"], t.site, "source", ref=d["supplier"])
        books.move(source, liners(t, d, place=line["place"]), t, line["count"])


@tells("liners.discarded")
def _liners_discarded(books: Books, t: Telling) -> None:
    d = t.data
    books.lot(d["lot"], "liner")
    account = books.need(liners(t, d))
    if d["cause"] == "culled":
        books.stop(t, "discard", d["lot"], account)
    books.move(account, Account(d["lot"], t.site, "lost", ref=d["cause"]), t, d["count"])


@tells("liners.moved", "liners.potted")
def _liners_moved(books: Books, t: Telling) -> None:
    _carried(books, t, "liner", liners(t, t.data))


@tells("trees.moved", "trees.potted")
def _trees_moved(books: Books, t: Telling) -> None:
    _carried(books, t, "tree", trees(t, t.data))


def _carried(books: Books, t: Telling, kind: str, account: Account) -> None:
    """To another place, into another size, or both."""
    d = t.data
    books.lot(d["lot"], kind)
    books.need(account)
    if "to" in d:
        books.place(t, d["to"])
    books.stop(t, "move", d["lot"], account)
    end = account._replace(place=d.get("to", account.place), size=d.get("to_size", account.size))
    if end == account:
        raise Refused("same_place")
    books.move(account, end, t, d["count"])


@tells("trees.received")
def _trees_received(books: Books, t: Telling) -> None:
    d = t.data
    books.free(d["lot"])
    books.place(t, d["place"])
    # Of what day it was grafted nothing is said: no later grafting can be of the same.
    make_lot(books, t, d["lot"], set(), Lot(t.number, "tree", source=f"lot:{d['lot']}"))
    source = Account(d["lot"], t.site, "source", ref=d["supplier"])
    books.move(source, trees(t, d), t, d["count"])


@tells("stock.opened")
def _opened(books: Books, t: Telling) -> None:
    for line in t.data["lines"]:
        books.free(line["lot"])
    for line in t.data["lines"]:
        code, kind = line["lot"], line["kind"]
        source = Account(code, t.site, "source", ref="opening")
        if kind == "budwood":
            tree = line.get("source_tree")
            token = {f"source_tree:{tree}"} if tree else set()
            made = Lot(t.number, "budwood", source=f"source_tree:{tree}" if tree else None)
            make_lot(books, t, code, token, made)
            _fill(books, t, code, line["bags"], "opening")
            continue
        books.place(t, line["place"])
        if kind == "liners":
            make_lot(books, t, code, set(), Lot(t.number, "liner", basis=line["basis"]))
            books.move(source, liners(t, line), t, line["count"])
        else:
            make_lot(books, t, code, set(), Lot(t.number, "tree"))
            books.move(source, trees(t, line), t, line["count"])


@tells("stock.counted")
def _counted(books: Books, t: Telling) -> None:
    found: dict[Account, int] = {}
    for line in t.data["lines"]:
        books.place(t, line["place"])
        if "bag" in line:
            lot = books.bag(line["bag"]).lot
            account = Account(lot, t.site, "bag", line["place"], ref=line["bag"])
        elif "stage" in line:
            books.lot(line["lot"], "tree")
            account = trees(t, line)
        else:
            books.lot(line["lot"], "liner")
            account = liners(t, line)
        if account in found:
            raise Refused("counts_disagree")
        found[account] = line["counted"] - max(books.balance(account, t.when.day), 0)
    for account in found:
        books.count(account, t)
    for account, change in found.items():
        books.move(variance(account), account, t, change)

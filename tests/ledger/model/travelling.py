"""Consignments between sites."""

from typing import Any

from tests.ledger.model.books import Books, liners, trees
from tests.ledger.model.incoming import bag_account
from tests.ledger.model.words import Account, Load, Refused, Telling, tells


def _transit(account: Account, load: str, site: str) -> Account:
    """Where it is while it travels: owned by the site that it goes to."""
    return account._replace(site=site, kind="transit", place=load)


@tells("consignment.sent")
def _sent(books: Books, t: Telling) -> None:
    d, code = t.data, t.data["consignment"]
    if d["to_site"] not in books.sites:
        raise Refused("unknown_code")
    if d["to_site"] == t.site:
        raise Refused("counts_disagree")
    old = books.loads.get(code)
    if old is not None and not old.gone:
        raise Refused("code_in_use")
    sent = []
    for line in d["lines"]:
        if "bag" in line:
            account = bag_account(books, t, line)
        elif "stage" in line:
            books.lot(line["lot"], "tree")
            account = books.need(trees(t, line))
        else:
            books.lot(line["lot"], "liner")
            account = books.need(liners(t, line))
        books.stop(t, "send", account.lot, account)
        sent.append((account, line["count"]))
    received = old.received if old else None
    books.loads[code] = Load(t.number, d["to_site"], received=received)
    for account, count in sent:
        books.move(account, _transit(account, code, d["to_site"]), t, count)


def _put_down(books: Books, t: Telling, line: dict[str, Any]) -> Account:
    if "bag" in line:
        lot = books.bag(line["bag"]).lot
        return Account(lot, t.site, "bag", line["place"], ref=line["bag"])
    if "stage" in line:
        books.lot(line["lot"], "tree")
        return trees(t, line)
    books.lot(line["lot"], "liner")
    return liners(t, line)


@tells("consignment.received")
def _received(books: Books, t: Telling) -> None:
    d, code = t.data, t.data["consignment"]
    load = books.loads.get(code)
    if load is None or load.gone or load.to_site != t.site:
        raise Refused("unknown_code")
    if load.received is not None:
        raise Refused("received_already")
    load.received = t.when.day
    seen, changes = set(), list[tuple[Account, int]]()
    for line in d["lines"]:
        books.place(t, line["place"])
        end = _put_down(books, t, line)
        travelling = _transit(end, code, t.site)
        if travelling in seen:
            raise AssertionError("the model takes each account once")
        seen.add(travelling)
        sent = books.balance(travelling)
        lost = Account(end.lot, t.site, "lost", ref="dead_on_arrival")
        short = sent - line["count"] - line["dead"]
        other = Account(end.lot, t.site, "variance")
        changes += [
            (travelling, -sent),
            (end, line["count"]),
            (lost, line["dead"]),
            (other, short),
        ]
    for account in list(books.entries):
        if account.kind == "transit" and account.place == code and account not in seen:
            rest = books.balance(account)
            if rest > 0:
                changes += [(account, -rest), (Account(account.lot, t.site, "variance"), rest)]
    for account, change in changes:
        books.post(account, t.when, change, t.number)

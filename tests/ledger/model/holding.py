"""Holds, lost labels, facts that move nothing, places in the catalogue."""

from datetime import date

from tests.ledger.model.books import Books, trees
from tests.ledger.model.incoming import make_lot
from tests.ledger.model.words import Hold, Lot, Refused, Telling, tells


def _new_hold(books: Books, t: Telling, code: str, kind: str, token: str) -> None:
    if code in books.holds:
        raise Refused("code_in_use")
    books.holds[code] = Hold(kind, token, t.when.day, t.site)


@tells("hold.placed")
def _hold_placed(books: Books, t: Telling) -> None:
    d = t.data
    if d["target"] == "lot":
        books.here(t, d["code"])
    elif d["target"] == "bag":
        books.here(t, books.bag(d["code"]).lot)
    elif d["target"] == "source_tree":
        if d["code"] not in books.source_trees:
            raise Refused("unknown_code")
    elif d["target"] == "place":
        books.place(t, d["code"])
    elif d["code"] != t.site:
        raise Refused("unknown_code")
    _new_hold(books, t, d["hold"], d["kind"], f"{d['target']}:{d['code']}")


@tells("hold.lifted")
def _hold_lifted(books: Books, t: Telling) -> None:
    d = t.data
    hold = books.holds.get(d["hold"])
    if hold is None or hold.site != t.site:
        raise Refused("unknown_code")
    if hold.until is not None:
        raise Refused("not_open")
    if hold.kind == "plant_health" and not (d.get("authority") and d.get("document")):
        raise Refused("needs_authority")
    if t.when.day < hold.since:
        raise Refused("not_a_day")
    hold.until = t.when.day


@tells("label.lost")
def _label_lost(books: Books, t: Telling) -> None:
    d = t.data
    accounts = []
    for line in d["lines"]:
        books.lot(line["lot"], "tree")
        accounts.append((books.need(trees(t, line)), line["count"]))
    books.free(d["lot"])
    parents = {f"lot:{line['lot']}" for line in d["lines"]}
    make_lot(books, t, d["lot"], parents, Lot(t.number, "tree", labelled=False))
    _new_hold(books, t, d["hold"], "identity", f"lot:{d['lot']}")
    for account, count in accounts:
        books.post(account, t.when, -count, t.number)
        books.post(account._replace(lot=d["lot"]), t.when, count, t.number)


@tells("place.checked")
def _place_checked(books: Books, t: Telling) -> None:
    books.place(t, t.data["place"])


@tells("work.done")
def _work_done(books: Books, t: Telling) -> None:
    books.here(t, t.data["lot"])
    books.place(t, t.data["place"])


@tells("treatment.applied")
def _treated(books: Books, t: Telling) -> None:
    for place in t.data["places"]:
        books.place(t, place)
    # Days alone are drawn: ended before it began, or more than a week after.
    ended = t.data.get("ended")
    if ended and not 0 <= (date.fromisoformat(ended) - t.when.day).days <= 7:
        raise Refused("counts_disagree")


@tells("tools.disinfected")
def _disinfected(books: Books, t: Telling) -> None:
    if t.data["before"] not in {*books.lots, *books.source_trees}:
        raise Refused("unknown_code")


@tells("alert.acknowledged")
def _acknowledged(books: Books, t: Telling) -> None:
    """Whatever alert it names: alerts are no part of the books."""


@tells("alert.remind_on")
def _remind_on(books: Books, t: Telling) -> None:
    if date.fromisoformat(t.data["on"]) <= t.when.day:
        raise Refused("counts_disagree")


@tells("catalogue.changed")
def _catalogue(books: Books, t: Telling) -> None:
    """A place retired, empty, or taken into use again."""
    entry = t.data["entry"]
    if entry["site"] != t.site:
        raise Refused("unknown_code")
    if any(entry["code"] in site.places for code, site in books.sites.items() if code != t.site):
        raise Refused("code_in_use")
    standing = [
        account
        for account in books.entries
        if account.place == entry["code"] and account.kind in ("bag", "liners", "trees")
    ]
    per_lot: dict[str, int] = {}
    for account in standing:
        per_lot[account.lot] = per_lot.get(account.lot, 0) + books.balance(account)
    if entry["retired"] and any(count > 0 for count in per_lot.values()):
        raise Refused("not_empty")
    books.sites[t.site].places[entry["code"]] = entry["retired"]

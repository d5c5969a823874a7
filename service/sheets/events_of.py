"""What the rows of each sheet become: the rules by which rows are one event."""

from collections.abc import Callable
from typing import Any

from service.sheets.column import Sheet
from service.sheets.drafts import Draft, Drafting, Origin, columns_of, finish, together
from service.sheets.reading import CellFault, Row
from service.trade.methods import METHODS

_BAG_COLUMNS = {"bag": "bag", "buds": "buds", "sticks": "sticks", "basis": "basis",
                "place": "place"}  # fmt: skip
_LOT_COLUMNS = ("cultivar", "rootstock", "source_tree", "cut_on", "method", "grafted_on")
# Lines that one stock count may have.
MOST_LINES = 200
_PUSH = ("pushed", "waiting", "failed", "unclear")


def events_of(sheet: Sheet, rows: list[Row]) -> tuple[list[Draft], list[CellFault]]:
    """Rows of a sheet as drafts of events with their ids, and what is wrong with rows."""
    drafting = Drafting()
    maker = _MAKERS.get(sheet.name)
    if maker is not None:
        maker(drafting, rows)
    else:
        for row in rows:
            _entry(drafting, sheet, row)
    finish(drafting, sheet.name)
    drafting.faults.sort(key=lambda fault: fault.line)
    return drafting.drafts, drafting.faults


def _same_day(row: Row) -> tuple[Any, ...]:
    return row.get("date"), row.get("site")


# -- budwood and liners ------------------------------------------------------------------


def _bags(drafting: Drafting, rows: list[Row]) -> None:
    def key(row: Row) -> object:
        lot = row.get("budwood_lot")
        return (*_same_day(row), row.get("how"), lot) if lot else row.line

    told = ("cultivar", "source_tree", "supplier", "cut_on", "document", "person")
    for group in together(rows, key):
        drafting.alike(group, told, "one budwood_lot")
        _BAGS_CAME[group[0].get("how")](drafting, group)


def _bag_lines(
    group: list[Row], at: str, buds: str = "buds"
) -> tuple[list[dict[str, Any]], dict[str, Origin]]:
    lines: list[dict[str, Any]] = []
    origins: dict[str, Origin] = {}
    columns = _BAG_COLUMNS | {"buds": buds}
    for index, row in enumerate(group):
        lines.append({field: row.get(column) for field, column in columns.items()})
        origins |= columns_of(row, f"{at}/{index}", columns)
        origins[f"{at}/{index}"] = (row.line, None)
    return lines, origins


def _budwood(
    drafting: Drafting, group: list[Row], kind: str, fields: tuple[str, ...], **more: Any
) -> None:
    first = group[0]
    bags, origins = _bag_lines(group, "#/data/bags")
    names = {field: field for field in fields} | {"lot": "budwood_lot"}
    data = {field: first.get(column) for field, column in names.items()}
    drafting.add(kind, group, data | {"bags": bags}, columns_of(first, "#/data", names) | origins)


def _cut(drafting: Drafting, group: list[Row]) -> None:
    for row in group:
        drafting.needs(row, ("cultivar", "source_tree"), "of budwood that was cut here")
        drafting.may_not(
            row, ("supplier", "cut_on", "document"), "where it was cut here; date says when"
        )
    _budwood(drafting, group, "budwood.cut", ("cultivar", "source_tree"))


def _received(drafting: Drafting, group: list[Row]) -> None:
    for row in group:
        drafting.needs(row, ("cultivar", "supplier"), "of budwood that came in")
    fields = ("cultivar", "source_tree", "supplier", "cut_on", "document")
    _budwood(drafting, group, "budwood.received", fields)


def _bags_opening(drafting: Drafting, group: list[Row]) -> None:
    for row in group:
        drafting.needs(row, ("budwood_lot",), "in an opening")
        drafting.may_not(row, ("supplier", "document"), "in an opening")
    _opened_budwood(drafting, group, "budwood_lot", "buds")


def _opened_budwood(drafting: Drafting, group: list[Row], lot: str, buds: str) -> None:
    first = group[0]
    bags, origins = _bag_lines(group, "#/data/lines/0/bags", buds)
    names = {"lot": lot, "cultivar": "cultivar", "source_tree": "source_tree", "cut_on": "cut_on"}
    line = {field: first.get(column) for field, column in names.items()}
    line |= {"kind": "budwood", "bags": bags}
    origins |= columns_of(first, "#/data/lines/0", names)
    drafting.add("stock.opened", group, {"lines": [line]}, origins)


_BAGS_CAME = {"cut": _cut, "received": _received, "opening": _bags_opening}


def _liners(drafting: Drafting, rows: list[Row]) -> None:
    def key(row: Row) -> object:
        lot = row.get("liner_lot")
        return (*_same_day(row), row.get("how"), lot) if lot else row.line

    for group in together(rows, key):
        if group[0].get("how") == "opening":
            drafting.alike(group, ("rootstock", "person"), "one liner_lot")
            for row in group:
                drafting.needs(row, ("liner_lot",), "in an opening")
                drafting.may_not(row, ("supplier", "document", "seed_source"), "in an opening")
            _opened_lines(drafting, group, "liners", {"lot": "liner_lot"})
        else:
            _liners_came(drafting, group)


def _liners_came(drafting: Drafting, group: list[Row]) -> None:
    names = {"lot": "liner_lot", "rootstock": "rootstock", "size": "size", "origin": "how",
             "supplier": "supplier", "seed_source": "seed_source", "document": "document",
             "basis": "basis"}  # fmt: skip
    drafting.alike(group, (*names.values(), "person"), "one liner_lot")
    first = group[0]
    for row in group:
        drafting.needs(row, ("rootstock",), "but in an opening")
    origins = columns_of(first, "#/data", names)
    for index, row in enumerate(group):
        at = f"#/data/lines/{index}"
        origins |= columns_of(row, at, {"place": "place", "count": "count"})
    lines = [{"place": row.get("place"), "count": row.get("count")} for row in group]
    data = {field: first.get(column) for field, column in names.items()}
    drafting.add("liners.received", group, data | {"lines": lines}, origins)


# -- opening stock ------------------------------------------------------------------------


def _opening(drafting: Drafting, rows: list[Row]) -> None:
    needs = {"budwood": (), "liners": ("size",), "trees": ("stage", "size")}
    no = {
        "budwood": ("rootstock", "method", "grafted_on", "stage", "size", "grade"),
        "liners": ("cultivar", "source_tree", "cut_on", "method", "grafted_on", "bag", "sticks",
                   "stage", "grade"),
        "trees": ("source_tree", "cut_on", "bag", "sticks", "basis"),
    }  # fmt: skip
    for group in together(rows, lambda row: (row.get("site"), row.get("lot"))):
        drafting.alike(group, ("date", "what", *_LOT_COLUMNS), "one lot")
        what = group[0].get("what")
        for row in group:
            drafting.needs(row, needs[what], f"of {what}")
            drafting.may_not(row, no[what], f"for {what}")
        if what == "budwood":
            _opened_budwood(drafting, group, "lot", "count")
        else:
            _opened_lines(drafting, group, what, {"lot": "lot"})


def _opened_lines(drafting: Drafting, group: list[Row], what: str, lot: dict[str, str]) -> None:
    own = {"liners": ("rootstock", "size", "place", "count", "basis"),
           "trees": ("cultivar", "rootstock", "method", "grafted_on", "stage", "size", "grade",
                     "place", "count")}[what]  # fmt: skip
    names = lot | {field: field for field in own}
    lines: list[dict[str, Any]] = []
    origins: dict[str, Origin] = {}
    for index, row in enumerate(group):
        line = {field: row.get(column) for field, column in names.items()}
        lines.append({"kind": what} | line)
        origins |= columns_of(row, f"#/data/lines/{index}", names)
        origins[f"#/data/lines/{index}"] = (row.line, None)
    drafting.add("stock.opened", group, {"lines": lines}, origins)


# -- the bench ---------------------------------------------------------------------------


def _grafting(drafting: Drafting, rows: list[Row]) -> None:
    """Rows of a lot, or of all that makes a lot when it has no code yet."""
    by = ("work_order", "bag", "liner_lot", "liner_place", "method", "place", "grown_for")

    def key(row: Row) -> object:
        lot = row.get("lot")
        return (*_same_day(row), lot) if lot else (*_same_day(row), *map(row.get, by), "")

    for group in together(rows, key):
        drafting.alike(group, [name for name in by if name != "bag"], "one lot")
        named = [row for row in group if row.get("grafter")]
        if named and len(named) < len(group):
            for row in group:
                drafting.needs(row, ("grafter",), f"where line {named[0].line} names one")
        _grafted(drafting, group)


def _grafted(drafting: Drafting, group: list[Row]) -> None:
    first = group[0]
    bags = together(group, lambda row: row.get("bag"))
    data: dict[str, Any] = {
        name: first.get(name) for name in ("lot", "method", "place", "grown_for", "work_order")
    }
    origins = columns_of(first, "#/data", {name: name for name in data})
    data["from"] = []
    for index, of_bag in enumerate(bags):
        line = {"bag": of_bag[0].get("bag"), "buds": _buds(of_bag, alone=len(bags) == 1)}
        data["from"].append(line)
        origins |= columns_of(of_bag[0], f"#/data/from/{index}", {"bag": "bag", "buds": "buds"})
        origins[f"#/data/from/{index}"] = (of_bag[0].line, "bag")
    data["onto"] = {"liner_lot": first.get("liner_lot"), "place": first.get("liner_place")}
    names = {"liner_lot": "liner_lot", "place": "liner_place"}
    origins |= columns_of(first, "#/data/onto", names)
    data["count"] = sum(row.get("count") for row in group)
    origins["#/data/count"] = origins["#/data/grafters"] = (first.line, "count")
    if first.get("grafter"):
        hands = together(group, lambda row: row.get("grafter"))
        data["grafters"] = [
            {"person": own[0].get("grafter"), "count": sum(row.get("count") for row in own)}
            for own in hands
        ]
    drafting.add("trees.grafted", group, data, origins)


def _buds(of_bag: list[Row], *, alone: bool) -> int | None:
    """Buds out of one bag: as said; else by the method, which the log does for a bag alone."""
    if alone and not any(row.get("buds") for row in of_bag):
        return None
    buds: int = sum(
        row.get("buds") or row.get("count") * METHODS[row.get("method")].buds_per_tree
        for row in of_bag
    )
    return buds


def _counts(drafting: Drafting, rows: list[Row]) -> None:
    pushes, stocks = [], []
    for row in rows:
        says_push = any(row.get(name) is not None for name in (*_PUSH, "removed", "cause"))
        if says_push and row.get("counted") is not None:
            drafting.refuse(row, "counted", "A row is a push count or a stock count, not both.")
        elif says_push:
            pushes.append(row)
        elif row.get("counted") is None:
            drafting.refuse(row, "counted", "Nothing was counted in this row.", "missing")
        else:
            stocks.append(row)
    for group in together(pushes, lambda r: (*_same_day(r), r.get("lot"), r.get("place"),
                                             r.get("size"))):  # fmt: skip
        _push_counted(drafting, group)
    for group in together(_reasoned(drafting, stocks), _place_counted):
        for start in range(0, len(group), MOST_LINES):
            _stock_counted(drafting, group[start : start + MOST_LINES])


def _place_counted(row: Row) -> object:
    return *_same_day(row), row.get("place"), row.get("person"), row.get("reason")


def _reasoned(drafting: Drafting, rows: list[Row]) -> list[Row]:
    """Stock counts with their reason, which is written once and holds for the rows below it."""
    reason, found = None, []
    for row in rows:
        reason = row.get("reason") or reason
        if reason is None:
            drafting.needs(row, ("reason",), "in a stock count")
        found.append(Row(row.line, row.values | {"reason": reason}))
    return found


def _push_counted(drafting: Drafting, group: list[Row]) -> None:
    first = group[0]
    drafting.alike(group, ("person",), "one count")
    for row in group:
        drafting.needs(row, ("lot",), "in a push count")
        drafting.may_not(row, ("bag", "stage", "grade", "reason"), "in a push count")
        if row.get("removed") is not None or row.get("cause") is not None:
            drafting.needs(row, ("removed", "cause"), "where something was removed")
    for row in group[1:]:
        drafting.may_not(row, _PUSH, f"here: line {first.line} counted the same trees")
    names = {name: name for name in ("lot", "place", "size", *_PUSH)}
    data: dict[str, Any] = {name: first.get(name) for name in names}
    origins = columns_of(first, "#/data", names)
    taken = [row for row in group if row.get("removed") is not None]
    data["removed"] = [{"count": row.get("removed"), "cause": row.get("cause")} for row in taken]
    for index, row in enumerate(taken):
        names = {"count": "removed", "cause": "cause"}
        origins |= columns_of(row, f"#/data/removed/{index}", names)
    drafting.add("push.counted", group, data, origins)


def _stock_counted(drafting: Drafting, group: list[Row]) -> None:
    fields = ("lot", "bag", "place", "stage", "size", "grade", "counted")
    lines: list[dict[str, Any]] = []
    origins: dict[str, Origin] = {}
    for index, row in enumerate(group):
        if (row.get("lot") is None) == (row.get("bag") is None):
            drafting.refuse(row, "lot", "Name either the lot or the bag.", "missing")
        lines.append({name: row.get(name) for name in fields})
        origins |= columns_of(row, f"#/data/lines/{index}", {name: name for name in fields})
        origins[f"#/data/lines/{index}"] = (row.line, None)
    origins["#/data/reason"] = (group[0].line, "reason")
    drafting.add("stock.counted", group, {"lines": lines, "reason": group[0].get("reason")},
                 origins)  # fmt: skip


# -- the catalogue -----------------------------------------------------------------------

_KINDS = {"sites": "site", "places": "place", "cultivars": "cultivar", "rootstocks": "rootstock",
          "sizes": "size", "source_trees": "source_tree"}  # fmt: skip


def _entry(drafting: Drafting, sheet: Sheet, row: Row) -> None:
    """A row of the catalogue is one entry, whole."""
    kind = _KINDS[sheet.name]
    own = [column.name for column in sheet.columns if column.name not in ("date", "site")]
    if kind == "place":
        own.append("site")
    entry = {"kind": kind} | {name: row.get(name) for name in own}
    origins = columns_of(row, "#/data/entry", {name: name for name in own})
    drafting.add("catalogue.changed", [row], {"entry": entry}, origins)


_MAKERS: dict[str, Callable[[Drafting, list[Row]], None]] = {
    "bags": _bags,
    "liners": _liners,
    "opening": _opening,
    "grafting": _grafting,
    "counts": _counts,
}

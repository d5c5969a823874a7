"""What the forms at a table tell: each maker gives the types and data of its events.

No look at the books: what a page knew when it was filled in is among its fields, so what is sent
again after a lost answer is the same event.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from service.board.recording.far import check_far
from service.board.recording.fields import Amiss, Fields, Row, event_data, row_of
from service.wording.trade_words import LOSS_CAUSES, METHODS, TECHNIQUES
from service.wording.words import phrase

Told = list[tuple[str, dict[str, Any]]]


class Asked(NamedTuple):
    """Where a form stands and who fills it in."""

    place: str
    who: str


Maker = Callable[[Fields, Asked], Told]


def push_count(fields: Fields, asked: Asked) -> Told:
    """What stands: how many have pushed, wait, have failed. Waiting left empty: all the others."""
    row = fields.row()
    said = {name: fields.number(name) for name in ("pushed", "waiting", "failed", "unclear")}
    removed = fields.number("removed")
    if removed is None and not any(count is not None for count in said.values()):
        raise Amiss("pushed", phrase("Say how many have pushed; 0 if none has."))
    if said["waiting"] is None:
        said["waiting"] = _the_rest(fields, row, said, removed or 0)
    _check_push(fields, row, said, removed or 0)
    gone = None
    if removed:
        gone = [{"count": removed, "cause": fields.choice("cause", LOSS_CAUSES, "dead_scion")}]
    data = event_data(
        lot=row.code, place=asked.place, **row.said("size"), **said, removed=gone or []
    )
    return [("push.counted", data)]


def _check_push(fields: Fields, row: Row, said: dict[str, int | None], removed: int) -> None:
    """Raise Amiss where far more were counted than the page had standing."""
    live = fields.number(f"stands:{row.text}")
    book = None if live is None else live + (fields.number(f"failed:{row.text}") or 0)
    counted = removed + sum(count for count in said.values() if count)
    check_far(fields, "pushed", row.code, counted, book)


def _the_rest(fields: Fields, row: Row, said: dict[str, int | None], removed: int) -> int | None:
    """Those that the page had standing and that were not counted otherwise; None: not known."""
    live = fields.number(f"stands:{row.text}")
    if live is None:
        return None
    if said["failed"] is not None:
        live += (fields.number(f"failed:{row.text}") or 0) - said["failed"]
    return max(live - (said["pushed"] or 0) - (said["unclear"] or 0) - removed, 0)


def loss(fields: Fields, asked: Asked) -> Told:
    """Plants are gone, and why."""
    row = fields.row()
    data = event_data(
        lot=row.code,
        place=asked.place,
        count=fields.needed_number("count"),
        cause=_cause(fields),
        note=fields.text("note"),
    )
    if row.kind == "liners":
        return [("liners.discarded", data | row.said("size"))]
    return [("trees.lost", data | row.said("stage", "size", "grade"))]


def _cause(fields: Fields) -> str:
    """Why plants were lost: nobody can guess it."""
    if not fields.form.get("cause"):
        raise Amiss("cause", phrase("Say why they were lost: choose a cause."))
    return fields.choice("cause", LOSS_CAUSES)


def unwrap(fields: Fields, asked: Asked) -> Told:
    """Wraps came off and the take was read. Alive left empty: all but the failed."""
    row = fields.row()
    data = event_data(
        lot=row.code,
        place=asked.place,
        **row.said("size"),
        alive=fields.number("alive"),
        failed=fields.number("failed") or 0,
        left_wrapped=fields.number("left_wrapped") or 0,
    )
    return [("grafts.unwrapped", data)]


def wrap(fields: Fields, asked: Asked) -> Told:
    """Grafts were wrapped. Count left empty: all of the lot there."""
    data = event_data(
        lot=fields.row().code,
        place=asked.place,
        count=fields.number("count", least=1),
        material=fields.text("material"),
    )
    if "material" not in data:
        raise Amiss("material", phrase("Say what they were wrapped with."))
    return [("grafts.wrapped", data)]


def forcing(fields: Fields, asked: Asked) -> Told:
    """Tops were bent, lopped or notched. Count left empty: all."""
    data = event_data(
        lot=fields.row().code,
        place=asked.place,
        technique=fields.choice("technique", TECHNIQUES, "bent"),
        count=fields.number("count", least=1),
        note=fields.text("note"),
    )
    return [("tops.forced", data)]


def tops_off(fields: Fields, asked: Asked) -> Told:
    """Tops came off above the scion. Count left empty: all."""
    data = event_data(
        lot=fields.row().code,
        place=asked.place,
        count=fields.number("count", least=1),
        note=fields.text("note"),
    )
    return [("tops.removed", data)]


def move(fields: Fields, asked: Asked) -> Told:
    """Plants were carried to another place of the site. Count left empty: all of them."""
    row = fields.row()
    data = event_data(
        lot=row.code,
        place=asked.place,
        count=fields.number("count", least=1),
        to=fields.needed_code("to"),
    )
    if row.kind == "liners":
        return [("liners.moved", data | row.said("size"))]
    return [("trees.moved", data | row.said("stage", "size", "grade"))]


def looked(fields: Fields, asked: Asked) -> Told:
    """The whole table was looked at; nothing moves."""
    return [("place.checked", event_data(place=asked.place, note=fields.text("note")))]


COUNTED = "counted:"
BOOK = "book"
"""What the page had there when it was filled in; of several rows, each by its own value."""


def stock_count(fields: Fields, asked: Asked) -> Told:
    """What was counted of what the book has there; rows left empty were not counted."""
    lines = []
    for name in dict.fromkeys(fields.form):
        if not name.startswith(COUNTED):
            continue
        row, counted = row_of(name.removeprefix(COUNTED)), fields.number(name)
        if row is not None and counted is not None:
            check_far(fields, name, row.code, counted, fields.number(f"{BOOK}:{row.text}"))
            lines.append(counted_line(row, asked.place, counted))
    if not lines:
        raise Amiss("counted", phrase("Count at least one of these."))
    return [("stock.counted", {"lines": lines, "reason": _reason(fields)})]


def counted_line(row: Row, place: str, counted: int) -> dict[str, Any]:
    """One account of a stock count."""
    named = {"bag" if row.kind == "bag" else "lot": row.code, "place": row.place or place}
    return named | row.said("stage", "size", "grade") | {"counted": counted}


def _reason(fields: Fields) -> str:
    return fields.text("reason") or "counted at the table"


def graft(fields: Fields, asked: Asked) -> Told:
    """Trees were grafted here, out of one bag onto liners, or onto trees as an interstock."""
    onto = fields.row("onto") if "onto" in fields.form else _typed(fields)
    count = fields.needed_number("count")
    stocks = onto.said("size", "place")
    if onto.kind == "liners":
        stocks |= {"liner_lot": onto.code}
    else:
        stocks |= {"tree_lot": onto.code, **onto.said("stage")}
    data = event_data(
        onto=stocks,
        place=asked.place,
        work_order=fields.code("work_order", needed=False),
        **_scions(fields, asked, count),
    )
    return [("trees.grafted", data)]


def _typed(fields: Fields) -> Row:
    """A liner lot named by hand."""
    lot = fields.code("liner_lot", needed=False)
    if lot is None:
        raise Amiss("onto", phrase("Choose which of these."))
    return Row("liners", lot)


def regraft(fields: Fields, asked: Asked) -> Told:
    """A second try on stocks whose scion failed."""
    row = fields.row()
    count = fields.needed_number("count")
    stage = row.stage if row.stage in ("failed", "grafted") else "failed"
    data = event_data(
        of=row.code,
        stage=stage,
        of_place=asked.place,
        **row.said("size"),
        place=asked.place,
        work_order=fields.code("work_order", needed=False),
        **_scions(fields, asked, count),
    )
    return [("trees.regrafted", data)]


def _scions(fields: Fields, asked: Asked, count: int) -> dict[str, Any]:
    """The wood, the method and whose hands."""
    bag = event_data(bag=fields.needed_code("bag"), buds=fields.number("buds", least=1))
    return {
        "from": [bag],
        "method": fields.choice("method", METHODS),
        "count": count,
        "grafters": [{"person": fields.person("grafter", asked.who), "count": count}],
    }

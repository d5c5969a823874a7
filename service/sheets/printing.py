"""Rows of the sheets that are printed for the bench, by the columns that are typed back.

What the service knows is filled in; the columns to fill (`to_fill` in `columns`) are empty. A row
that comes back without them is skipped, so a sheet may hold more rows than are used.
"""

from collections.abc import Iterable
from datetime import date
from typing import Literal

import msgspec

from service.sheets.columns import COUNTS, GRAFTING
from service.sheets.writing import write_csv
from service.trade.accounts import UNGRADED
from service.trade.events.catalogue import Place
from service.views.at_place import AtPlace
from service.views.grafting_list import GraftingList, OrderOfTheDay, ToGraft

CountKind = Literal["stock", "push"]
# Writing lines for a row where nobody or several are named: two people may share a bag.
FEWEST_LINES, MOST_LINES = 2, 4
# A push count is of these; what is ready is not part of it.
WAITING_STAGES = ("grafted", "pushed", "failed")


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """A row to be written on. `cells` by the template's columns; the rest is only printed.

    `shared`: one more line for what the row above is for. `book`: the book's figures, by stage in
    a push count; shown only to who asks for them.
    """

    cells: dict[str, str]
    what: str = ""
    up_to: int | None = None
    shared: bool = False
    use_by: date | None = None
    bag_place: str = ""
    size: str = ""
    book: dict[str, int] = {}


def _cells(**said: object) -> dict[str, str]:
    return {name: str(value) for name, value in said.items() if value not in (None, "")}


def grafting_lines(
    listed: GraftingList, sheet: str | None
) -> list[tuple[OrderOfTheDay, list[Line]]]:
    """Each order of the day with its rows; a row for each hand that may write in it."""
    return [
        (
            one,
            [
                _grafting_line(listed, one, row, sheet, shared=number > 0)
                for row in one.rows
                for number in range(_lines_for(listed, one))
            ],
        )
        for one in listed.orders
    ]


def _lines_for(listed: GraftingList, one: OrderOfTheDay) -> int:
    if listed.grafter is not None:
        return 1
    return min(len(one.order.grafters) or FEWEST_LINES, MOST_LINES)


def _grafting_line(
    listed: GraftingList, one: OrderOfTheDay, row: ToGraft, sheet: str | None, *, shared: bool
) -> Line:
    order = one.order
    return Line(
        cells=_cells(
            date=listed.day,
            site=listed.site,
            work_order=order.code,
            bag=row.bag,
            liner_lot=row.liner_lot,
            liner_place=row.liner_place,
            method=row.method,
            place=row.place,
            grown_for=order.customer,
            sheet=sheet,
        ),
        what=item(order.cultivar, order.rootstock),
        up_to=row.count,
        shared=shared,
        use_by=row.use_by,
        bag_place=row.bag_place or "",
        size=row.size or "",
    )


def item(cultivar: str | None, rootstock: str | None) -> str:
    """A cultivar on its rootstock, in words; what nobody knows is said so."""
    if cultivar is None and rootstock is None:
        return "unknown"
    if cultivar is None:
        return rootstock or ""
    return f"{cultivar} on {rootstock}" if rootstock else cultivar


def count_lines(
    standing: Iterable[AtPlace],
    kind: CountKind,
    *,
    place: Place,
    day: date,
    sheet: str | None,
) -> list[Line]:
    """Rows to count a place by: what stands there, without the figures in the cells.

    A stock count has a row for each lot or bag, size, stage and grade; a push count one for each
    lot and size of trees that are not ready.
    """
    common = {"date": day, "site": place.site, "place": place.code, "sheet": sheet}
    lines: dict[tuple[str, ...], Line] = {}
    for one in standing:
        push = kind == "push"
        if push and (one.kind != "trees" or one.stage not in WAITING_STAGES):
            continue
        stage = "" if push else one.stage
        key = (one.lot, one.bag, stage, one.size, "" if push else one.grade)
        line = lines.get(key)
        if line is None:
            grade = one.grade or (UNGRADED if one.stage == "ready" else "")
            cells = _cells(
                lot=None if one.bag else one.lot,
                bag=one.bag,
                stage=stage,
                size=one.size,
                grade=None if push else grade,
                **common,
            )
            line = Line(cells=cells, what=_what(one), size=one.size, book={})
            lines[key] = line
        told = one.stage if push else "count"
        line.book[told] = line.book.get(told, 0) + one.count
    return list(lines.values())


def _what(one: AtPlace) -> str:
    if one.kind == "bag":
        return f"buds of {one.cultivar or 'unknown'} ({one.lot})"
    if one.kind == "liners":
        return f"liners of {one.rootstock or 'unknown'}"
    return item(one.cultivar, one.rootstock)


def grafting_csv(rows: Iterable[tuple[OrderOfTheDay, list[Line]]]) -> str:
    """The day sheet's rows as the CSV that is taken in again."""
    return write_csv(GRAFTING.header, [line.cells for _, lines in rows for line in lines])


def counts_csv(lines: Iterable[Line]) -> str:
    """The count sheet's rows as the CSV that is taken in again."""
    return write_csv(COUNTS.header, [line.cells for line in lines])

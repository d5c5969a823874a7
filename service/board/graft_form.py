"""What a grafting form begins with: the day's list, bags, stocks, the method of last time."""

from typing import Any
from urllib.parse import urlencode

import msgspec

from service.board.forms import Form
from service.board.recording.fields import Row, row_of
from service.board.table_forms import Choice, Filled, last_said, methods
from service.board.there import There
from service.board.visit import Visit
from service.views.budwood import BudwoodQuery, BudwoodRow, budwood_on_hand
from service.views.grafting_list import GraftingList, ToGraft, grafting_list

MOST_BAGS, MOST_LISTED = 60, 8
_KEPT = ("bag", "onto", "method", "work_order", "grafter")


class Listed(msgspec.Struct, frozen=True, kw_only=True):
    """A line of the day's list, and the address of the form that it fills in."""

    href: str
    order: str
    count: int
    bag: str | None
    liners: str | None
    method: str | None
    here: bool


def kept_for_next(sent: Form) -> dict[str, str]:
    """What the next graft begins with: the same bag, stocks, method and order."""
    return {name: value for name in _KEPT if (value := sent.get(name))}


async def to_graft(visit: Visit[Any], seen: There, form: Filled) -> dict[str, Any]:
    """What the template needs beside the form itself."""
    method = last_said(seen.recent, "trees.grafted", lambda data: data["method"])
    listed: list[Listed] = []
    if form.form.name == "graft" and not form.value("bag"):
        async with visit.services.reading() as connection:
            found = await grafting_list(
                connection, seen.site.code, None, visit.principal.name, visit.now
            )
        listed = _listed(found, seen.place.code)
    return {
        "listed": listed,
        "bags": await _bags(visit, seen),
        "onto": _onto(form) if form.form.name == "graft" else [],
        "methods": methods(visit.words),
        "method": form.value("method", method or "t_bud"),
    }


def _listed(found: GraftingList, place: str) -> list[Listed]:
    """The lines of the list, those for this table first."""
    lines = [
        _line(one.order.code, row, place)
        for one in found.orders
        for row in one.rows
        if row.bag is not None and row.liner_lot is not None
    ]
    return sorted(lines, key=lambda line: not line.here)[:MOST_LISTED]


def _line(order: str, row: ToGraft, place: str) -> Listed:
    stocks = Row("liners", row.liner_lot or "", size=row.size or "", place=row.liner_place or "")
    chosen = {
        "bag": row.bag,
        "onto": stocks.text,
        "method": row.method,
        "work_order": order,
        "count": str(row.count),
    }
    asked = urlencode({name: value for name, value in chosen.items() if value})
    where = row.place or place
    return Listed(
        href=f"/table/{where}/graft?{asked}",
        order=order,
        count=row.count,
        bag=row.bag,
        liners=row.liner_lot,
        method=row.method,
        here=where == place,
    )


async def _bags(visit: Visit[Any], seen: There) -> list[BudwoodRow]:
    """Bags at the site with buds left, those to be used first on top."""
    query = BudwoodQuery(site=seen.site.code, limit=MOST_BAGS)
    page = await budwood_on_hand(
        visit.services.database.reader,
        query,
        visit.principal.site_list,
        clock=visit.services.clock,
    )
    return page.rows


def _onto(form: Filled) -> list[Choice]:
    """The stocks at the table, and those that the link named, which may stand elsewhere."""
    asked = form.value("onto") or (f"liners:{form.value('liners')}" if form.value("liners") else "")
    row = row_of(asked) if asked else None
    if row is None:
        if len(form.choices) == 1:
            form.chosen = form.choices[0].value
        return form.choices
    fits = [
        one
        for one in form.choices
        if (there := row_of(one.value)) and there.code == row.code and row.size in ("", there.size)
    ]
    if fits and row.place in ("", fits[0].value.rpartition(":")[2]):
        form.chosen = fits[0].value
        return form.choices
    form.chosen = row.text
    words = " · ".join(part for part in (row.size, row.place) if part)
    elsewhere = Choice(value=row.text, code=row.code, words=words, count=0)
    return [*form.choices, elsewhere]

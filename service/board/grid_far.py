"""Rows of a count sheet that tell of far more than the book has: asked back once, row by row."""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import msgspec

from service.board.grid import GRAFTED, STOCKED, GridRow, Sent, Why
from service.board.recording.far import FAR, is_far
from service.board.visit import SiteSeen, Visit
from service.sheets.drafts import Draft
from service.sheets.reading import Row
from service.trade.accounts import UNGRADED
from service.trade.bench import breaks_the_book
from service.views.at_place import AtPlace, at_place

Drafts = Sequence[tuple[Draft, list[GridRow]]]
_COUNTED = ("pushed", "waiting", "failed", "unclear", "removed")
_LIVE = ("grafted", "pushed", "failed")


class _Counting(NamedTuple):
    """How a kind of sheet counts: beside which column it is asked back, how many a row tells of,
    and what of the book that is."""

    column: str
    number: Callable[[Row], int]
    fits: Callable[[Row, AtPlace], bool]


async def without_far(visit: Visit[Any], site: SiteSeen, sent: Sent, drafts: Drafts) -> Drafts:
    """The drafts that may be judged; beside the rows of the others it is asked whether it is so.

    What is there by the book now counts: the sheet itself does not say it.
    """
    if sent.kind is GRAFTED:
        return drafts
    counting = _STOCK if sent.kind is STOCKED else _PUSH
    there: dict[str, list[AtPlace]] = {}
    async with visit.services.reading() as connection:
        for place in {row.get("place") for draft, _ in drafts for row in draft.rows}:
            there[place] = await at_place(connection, site.code, place or "")
    kept = []
    for draft, rows in drafts:
        asked = [
            _asked_back(visit, counting, draft, told, row, there[told.get("place")])
            for told, row in zip(draft.rows, rows, strict=True)
        ]
        if not any(asked):
            kept.append((draft, rows))
    return kept


def _asked_back(
    visit: Visit[Any],
    counting: _Counting,
    draft: Draft,
    told: Row,
    row: GridRow,
    standing: list[AtPlace],
) -> bool:
    """Whether a row must be asked back; that is then written beside it."""
    counted = counting.number(told)
    book = sum(one.count for one in standing if counting.fits(told, one))
    if not is_far(counted, book):
        return False
    if row.sure == str(counted):
        # The log itself asks for this word where it is very far. What was taken away is not meant.
        if breaks_the_book(counted, book) and not told.get("removed") and draft.event is not None:
            draft.event = msgspec.structs.replace(draft.event, happened=True)
        return False
    code = told.get("bag") or told.get("lot")
    words = visit.words.gettext(FAR, code=code, counted=counted, book=book)
    row.why, row.verdict = [Why(column=counting.column, words=words, far=counted)], "refused"
    return True


def _stocked(row: Row) -> int:
    counted: int = row.get("counted")
    return counted


def _pushed(row: Row) -> int:
    return sum(row.get(name) or 0 for name in _COUNTED)


def _same_account(row: Row, one: AtPlace) -> bool:
    """Whether a row of a stock count speaks of it; what the row leaves out may be any."""
    lot, bag = row.get("lot"), row.get("bag")
    if bag:
        return one.bag == str(bag)
    said = {name: row.get(name) for name in ("stage", "size", "grade")}
    if said["grade"] == UNGRADED:
        said["grade"] = None
    fits = all(value in (None, getattr(one, name)) for name, value in said.items())
    return fits and one.kind != "bag" and one.lot == str(lot)


def _grafts(row: Row, one: AtPlace) -> bool:
    """Whether a row of a push count speaks of it."""
    return (
        one.kind == "trees"
        and one.lot == row.get("lot")
        and one.stage in _LIVE
        and row.get("size") in (None, one.size)
    )


_STOCK = _Counting("counted", _stocked, _same_account)
_PUSH = _Counting("pushed", _pushed, _grafts)

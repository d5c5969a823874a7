"""Lots and bags as the log knew them at a position.

The books keep what a lot is now. Its facts change seldom: when an event that made it, or made what
it came of, is voided, or adds to it. So only the lots that such events touched since are worked out
anew, from the events that had made them by then and by the books' own rules.
"""

from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from service.log.loading import load_catalogue
from service.log.rows import event_of
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.books import Books, Lot
from service.trade.events import stock
from service.trade.making import MAKERS, unmake
from service.trade.recording import record
from service.trade.subjects import mentioned
from service.trade.words import understand_occurred

SQL = load(__package__, "as_known.sql")
MAKING: list[str] = [
    str(kind.__struct_config__.tag)  # type: ignore[attr-defined]
    for kind in (*MAKERS, stock.LabelLost)
]


class Changed(msgspec.Struct, frozen=True):
    """Rows of `lots` and `bags` that were something else then; None when there are none."""

    lots: list[dict[str, Any]] | None = None
    bags: list[dict[str, Any]] | None = None


async def changed_since(conn: Connection, known: int) -> Changed:
    """The lots, with their bags, that are not now what they were at position `known`.

    Reads events of every site: a lot came of what it came of, whoever asks. Lots that were not
    there then, or were voided, are left out.
    """
    remade = [row["code"] for row in await conn.fetch(SQL.remade, known, MAKING)]
    if not remade:
        return Changed()
    heirs = await conn.fetch(SQL.heirs, remade, [f"lot:{code}" for code in remade])
    codes = {row["code"]: row["lot_id"] for row in heirs}
    books = await _made_by_then(conn, known, codes)
    ids = {row["code"]: row["lot_id"] for row in await conn.fetch(SQL.lot_ids, list(codes))}
    lots = [_row(lot, ids[lot.code]) for lot in books.lots.values() if lot.code in codes]
    bags = [
        {**msgspec.structs.asdict(bag), "lot_id": ids[bag.lot]}
        for bag in books.bags.values()
        if bag.lot in codes and not bag.voided
    ]
    return Changed(lots, bags)


def _row(lot: Lot, lot_id: int) -> dict[str, Any]:
    return {**msgspec.structs.asdict(lot), "lot_id": lot_id}


async def _made_by_then(conn: Connection, known: int, codes: Iterable[str]) -> Books:
    """Books with these lots and all they came of, made from the events that were known."""
    rows: dict[int, Any] = {}
    asked: set[str] = set()
    wanted = set(codes)
    while wanted:
        asked |= wanted
        found = await conn.fetch(SQL.makings, sorted(wanted), known, MAKING)
        rows |= {row["position"]: row for row in found}
        named = {code for row in found for kind, code in mentioned(event_of(row)) if kind == "lot"}
        wanted = named - asked
    books = Books()
    books.catalogue = await load_catalogue(conn)
    steps = [(position, False, row) for position, row in rows.items()]
    steps += [(row["by_position"], True, row) for row in rows.values() if row["by_position"]]
    for position, is_void, row in sorted(steps, key=lambda step: step[:2]):
        if is_void:
            unmake(books, row["position"], position)
            for bag in books.bags.values():
                bag.voided = bag.voided or bag.position == row["position"]
        else:
            _make(books, row, position)
    return books


def _make(books: Books, row: Any, position: int) -> None:
    event = event_of(row)
    zone = ZoneInfo(books.catalogue.site(event.site).time_zone)
    moment = understand_occurred(event.occurred, zone)
    if isinstance(event, stock.LabelLost):
        record(books, event, moment, position)
    else:
        MAKERS[type(event)](books, event, moment, position)

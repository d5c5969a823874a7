"""The whole log folded anew from its stored events, and set against what the writer keeps."""

from collections import Counter
from typing import Any
from zoneinfo import ZoneInfo

import asyncpg
import msgspec

from service.log.loading import load_catalogue
from service.log.rows import event_of
from service.trade.books import Books
from service.trade.entries import Catalogue
from service.trade.units import Accepted, Incoming, take_in
from service.trade.words import understand_occurred

EVENTS = """
SELECT position, id::text AS id, type, version, site, occurred, actor, happened,
       replaces::text AS replaces, unit, digest, recorded_at, data
FROM events WHERE position > $1 ORDER BY position
"""
LEGS = """
SELECT g.position, l.code, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity,
       g.occurred_day, g.occurred_at, g.delta, g.anchor
FROM legs g JOIN lots l USING (lot_id) JOIN balances b USING (lot_id, account_id)
WHERE g.position > $1
"""
BALANCES = """
SELECT l.code, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity, b.account_id,
       b.balance, b.last_day
FROM balances b JOIN lots l USING (lot_id) WHERE l.position > $1
"""
LOTS = """
SELECT lot_id, code, kind, site, cultivar, rootstock, source, method, day, attempt, basis,
       identified, grown_for, parents, ancestry, position, changed_position, voided
FROM lots WHERE position > $1
"""
BAGS = """
SELECT b.code, l.code, b.buds, b.sticks, b.basis, b.parent, b.pieces,
       b.buds_per_piece, b.position, b.voided
FROM bags b JOIN lots l USING (lot_id) WHERE l.position > $1
"""
CLAIMS = """
SELECT r.code, r.state, r.changed_position, r.order_ref, r.confirmed_day, r.expired_day, c.line,
       c.item, c.lot, c.site, c.asked, c.open, c.promised
FROM reservations r JOIN commitments c ON c.reservation = r.code WHERE r.position > $1
"""
ITEMS_OUT = """
SELECT cultivar, rootstock, size, grade, site, total FROM item_out
WHERE $1::bigint >= 0 AND total <> 0
"""
OVERRIDES = """
SELECT code, site, any_site, cultivar, rootstock, size, grade, quantity, from_day, until_day,
       reason, went_out, position, changed_position, ended_day
FROM promise_overrides WHERE position > $1
"""
ANCHORS = """
SELECT l.code, a.account_id, a.occurred_day, a.occurred_at, a.timed, a.position
FROM anchors a JOIN lots l USING (lot_id) WHERE a.voided_by IS NULL AND l.position > $1
"""


class Start(msgspec.Struct, frozen=True):
    """Where folding starts: from nothing, or at a head after which nothing older is spoken of."""

    position: int = 0
    next_account_id: int = 1
    next_lot_id: int = 1
    catalogue: Catalogue = msgspec.field(default_factory=Catalogue)


async def here(connection: "asyncpg.Connection[Any]") -> Start:
    """The present head as a start."""
    row = await connection.fetchrow("SELECT * FROM log_head")
    assert row is not None
    ids = (row["position"], row["next_account_id"], row["next_lot_id"])
    return Start(*ids, await load_catalogue(connection))


async def fold(connection: "asyncpg.Connection[Any]", start: Start) -> tuple[Books, list[Accepted]]:
    """Books made from nothing but stored events, unit by unit, and every event as taken in."""
    books = Books()
    books.position = start.position
    books.next_account_id, books.next_lot_id = start.next_account_id, start.next_lot_id
    books.catalogue.entries = dict(start.catalogue.entries)
    taken: list[Accepted] = []
    unit: list[Incoming] = []
    last = None
    for row in await connection.fetch(EVENTS, start.position):
        if last is not None and row["unit"] != last:
            taken += take_in(books, unit, completed=True)
            unit = []
        last = row["unit"]
        books.now = row["recorded_at"]
        event = event_of(row)
        entry = row["data"].get("entry") or {}
        zone = entry.get("time_zone") or books.catalogue.site(event.site).time_zone
        moment = understand_occurred(event.occurred, ZoneInfo(zone))
        unit.append(Incoming(event, moment, row["digest"], len(unit)))
    if unit:
        taken += take_in(books, unit, completed=True)
    return books, taken


async def differences(
    connection: "asyncpg.Connection[Any]", start: Start | None = None
) -> dict[str, Any]:
    """What the writer keeps and a full refold does not, and the other way round; {} if none."""
    start = start or Start()
    since = start.position
    books, taken = await fold(connection, start)
    pairs = {
        "events": (
            Counter((r["position"], r["id"]) for r in await connection.fetch(EVENTS, since)),
            Counter((one.position, one.event.id) for one in taken),
        ),
        "legs": (await _rows(connection, LEGS, since), _legs(books, taken)),
        "balances": (await _rows(connection, BALANCES, since), _balances(books)),
        "lots": (await _rows(connection, LOTS, since), _things(books.lots)),
        "bags": (await _rows(connection, BAGS, since), _things(books.bags)),
        "claims": (await _rows(connection, CLAIMS, since), _claims(books)),
        "overrides": (await _rows(connection, OVERRIDES, since), _things(books.overrides)),
        "anchors": (await _rows(connection, ANCHORS, since), _anchors(books)),
    }
    if not since:
        sold = (one for one in books.items_out.values() if one.total)
        folded = Counter(tuple(getattr(o, n) for n in o.__struct_fields__) for o in sold)
        pairs["items out"] = (await _rows(connection, ITEMS_OUT, since), folded)
    return {
        name: {"kept, not folded": list(kept - folded), "folded, not kept": list(folded - kept)}
        for name, (kept, folded) in pairs.items()
        if kept != folded
    }


async def _rows(
    connection: "asyncpg.Connection[Any]", sql: str, since: int
) -> Counter[tuple[Any, ...]]:
    rows = await connection.fetch(sql, since)
    return Counter(
        tuple(tuple(v) if isinstance(v, list) else v for v in row.values()) for row in rows
    )


def _things(table: dict[str, Any]) -> Counter[tuple[Any, ...]]:
    return Counter(
        tuple(getattr(thing, name) for name in thing.__struct_fields__) for thing in table.values()
    )


def _legs(books: Books, taken: list[Accepted]) -> Counter[tuple[Any, ...]]:
    return Counter(
        (
            p.position,
            books.lot_by_id[p.lot_id].code,
            *books.account_by_id[p.account_id].key,
            p.day,
            p.at,
            p.delta,
            p.anchor,
        )
        for one in taken
        for p in one.postings
    )


def _balances(books: Books) -> Counter[tuple[Any, ...]]:
    return Counter(
        (a.lot, *a.key, a.account_id, a.balance, a.last_day)
        for a in books.account_by_id.values()
        if a.last_day is not None
    )


def _claims(books: Books) -> Counter[tuple[Any, ...]]:
    return Counter(
        (
            r.code,
            r.state,
            r.changed_position,
            r.order_ref,
            r.confirmed_day,
            r.expired_day,
            *(getattr(c, name) for name in c.__struct_fields__),
        )
        for r in books.reservations.values()
        for c in r.claims
    )


def _anchors(books: Books) -> Counter[tuple[Any, ...]]:
    return Counter(
        (a.lot, a.account_id, c.day, c.at, c.timed, c.position)
        for a in books.account_by_id.values()
        for c in a.anchors
    )

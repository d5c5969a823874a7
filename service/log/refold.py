"""The books computed anew from the stored events alone, and how the writer's books differ.

The same code as the live writer's takes each unit in, on books that began with nothing; so what
differs shows either a defect in how the writer loads and saves its books, or a damaged table.
"""

from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Any

import msgspec

from service.log.rows import event_of
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.books import Books
from service.trade.events.catalogue import Entry
from service.trade.units import Accepted, Incoming, take_in
from service.trade.words import Moment

SQL = load(__package__, "refold.sql")
PORTION = 5_000
MOST_DIFFERENCES = 20


async def refold(connection: Connection, wrong: list[str] | None = None) -> Books:
    """Books taken in from every stored event, unit by unit, in order of position.

    `wrong` is told, in words, of each event that the log files under other sites or subjects than
    it speaks of. Memory grows with the log, since any event may still be voided later.
    """
    books = Books()
    books.out_from = await connection.fetchval(SQL.out_from)
    rest: list[Any] = []
    while True:
        after = rest[-1]["position"] if rest else books.position
        portion = await connection.fetch(SQL.events, after, PORTION)
        units = [list(rows) for _, rows in groupby([*rest, *portion], key=lambda r: r["unit"])]
        # The last unit may go on in the next portion.
        rest = units.pop() if portion and units else []
        taken = [one for unit in units for one in _take(books, unit)]
        if wrong is not None and taken:
            sites = {row["position"]: row["sites"] for unit in units for row in unit}
            wrong += await _filed_otherwise(connection, taken, sites)
        if not portion:
            return books


async def _filed_otherwise(
    connection: Connection, taken: list[Accepted], sites: dict[int, list[str]]
) -> list[str]:
    filed: dict[int, set[tuple[str, str]]] = {}
    first, last = taken[0].position, taken[-1].position
    for position, kind, code in await connection.fetch(SQL.subjects, first, last):
        filed.setdefault(position, set()).add((kind, code))
    found = []
    for one in taken:
        name = f"event {one.position} ({one.event.__struct_config__.tag})"
        if sorted(sites[one.position]) != sorted(one.sites):
            found.append(
                f"{name}: filed under sites {_listed(sites[one.position])}, it touches "
                f"{_listed(one.sites)}"
            )
        said, kept = one.subjects, filed.get(one.position, set())
        if said != kept:
            found.append(
                f"{name}: filed under {_listed(f'{k} {c}' for k, c in kept - said)} too much, "
                f"{_listed(f'{k} {c}' for k, c in said - kept)} missing"
            )
    return found


def _listed(words: Iterable[str]) -> str:
    return ", ".join(sorted(words)) or "none"


def _take(books: Books, rows: list[Any]) -> list[Accepted]:
    unit = [
        Incoming(
            event_of(row),
            Moment(
                row["occurred_at"], row["occurred_day"], len(row["occurred"]) > len("2026-01-01")
            ),
            row["digest"],
            index,
        )
        for index, row in enumerate(rows)
    ]
    taken = take_in(books, unit, completed=True)
    # Nothing is rolled back or written here, so what is kept for that can go.
    books.journal.clear()
    books.dirty.clear()
    return taken


async def differences(connection: Connection, books: Books) -> list[str]:
    """Where the stored books differ from `books`, in words; empty when they agree."""
    found: list[str] = []
    for what, key, stored, ours in (
        ("lot", 1, await connection.fetch(SQL.lots), _lots(books)),
        ("bag", 1, await connection.fetch(SQL.bags), _bags(books)),
        ("account", 9, await connection.fetch(SQL.accounts), _accounts(books)),
        ("hold", 1, await connection.fetch(SQL.holds), map(_fields, books.holds.values())),
        (
            "consignment",
            1,
            await connection.fetch(SQL.consignments),
            map(_fields, books.consignments.values()),
        ),
        ("reservation", 1, await connection.fetch(SQL.reservations), _reservations(books)),
        ("claim", 2, await connection.fetch(SQL.claims), _claims(books)),
        (
            "work order",
            1,
            await connection.fetch(SQL.work_orders),
            map(_fields, books.work_orders.values()),
        ),
        (
            "grafting for an order at position",
            1,
            await connection.fetch(SQL.work_done),
            map(_fields, books.work_done.values()),
        ),
        ("what went out of", 5, await connection.fetch(SQL.items_out), _items_out(books)),
        (
            "override of a promise",
            1,
            await connection.fetch(SQL.overrides),
            map(_fields, books.overrides.values()),
        ),
        ("catalogue entry", 2, _entries(await connection.fetch(SQL.entries)), _catalogue(books)),
        ("day of an account", 10, await connection.fetch(SQL.legs_of_days), _days(books)),
    ):
        found += _compare(what, key, (tuple(_plain(v) for v in row) for row in stored), ours)
    return found


def _compare(
    what: str, key: int, stored: Iterable[tuple[Any, ...]], ours: Iterable[tuple[Any, ...]]
) -> list[str]:
    """Rows are the same when all is; `key` leading values name a row."""
    have = {row[:key]: row[key:] for row in stored}
    want = {row[:key]: row[key:] for row in ours}
    found = []
    for name in sorted(have.keys() | want.keys(), key=str):
        if have.get(name) != want.get(name):
            shown = " ".join(str(part) for part in name if part not in ("", None))
            found.append(
                f"{what} {shown}: stored {_shown(have.get(name))}, by the log "
                f"{_shown(want.get(name))}"
            )
    if len(found) > MOST_DIFFERENCES:
        more = len(found) - MOST_DIFFERENCES
        found = [*found[:MOST_DIFFERENCES], f"and {more} more of kind {what}"]
    return found


def _shown(values: tuple[Any, ...] | None) -> str:
    return "nothing" if values is None else ", ".join(str(value) for value in values)


def _plain(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _fields(thing: Any, leave_out: tuple[str, ...] = ()) -> tuple[Any, ...]:
    names = [name for name in thing.__struct_fields__ if name not in leave_out]
    return tuple(_plain(getattr(thing, name)) for name in names)


def _lots(books: Books) -> list[tuple[Any, ...]]:
    return [_fields(lot, ("lot_id",)) for lot in books.lots.values()]


def _bags(books: Books) -> list[tuple[Any, ...]]:
    return [_fields(bag) for bag in books.bags.values()]


def _of_accounts(books: Books, rows: Callable[[Any], Iterable[tuple[Any, ...]]]) -> Any:
    return [
        (account.lot, *account.key, *values)
        for account in books.account_by_id.values()
        for values in rows(account)
    ]


def _accounts(books: Books) -> Any:
    return _of_accounts(books, lambda a: [(a.balance,)] if a.balance else [])


def _days(books: Books) -> Any:
    return _of_accounts(books, lambda a: [(day, net) for day, net in a.nets.items() if net])


def _reservations(books: Books) -> list[tuple[Any, ...]]:
    return [_fields(one, ("claims",)) for one in books.reservations.values()]


def _claims(books: Books) -> list[tuple[Any, ...]]:
    return [
        (one.code, *_fields(claim)) for one in books.reservations.values() for claim in one.claims
    ]


def _items_out(books: Books) -> list[tuple[Any, ...]]:
    return [_fields(one) for one in books.items_out.values() if one.total]


def _entries(rows: Iterable[Any]) -> list[tuple[Any, ...]]:
    # Decoded, so that a default that a later version adds does not look like damage.
    return [(r["kind"], r["code"], r["position"], msgspec.convert(r["body"], Entry)) for r in rows]


def _catalogue(books: Books) -> list[tuple[Any, ...]]:
    return [
        (kind, code, position, entry)
        for (kind, code), (entry, position) in books.catalogue.entries.items()
    ]

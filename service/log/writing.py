"""Write what a group changed: one statement for what only grows, upserts for the books."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec

from service.log.loading import SQL
from service.log.upcasting import newest_version
from service.storage.pool import Connection
from service.trade.books import (
    Account,
    Anchor,
    Bag,
    Books,
    Consignment,
    Hold,
    Lot,
    Recorded,
    Reservation,
)
from service.trade.events.catalogue import CatalogueChanged, Place, Site, SourceTree
from service.trade.events.stock import EventVoided
from service.trade.items import parse_item
from service.trade.supply import ItemOut, Override
from service.trade.units import Accepted
from service.trade.work_orders import WorkDone, WorkOrder

_encode = msgspec.json.Encoder().encode


class AsStored(msgspec.Struct, frozen=True, gc=False):
    """What another log had stored of an event: a log that is taken back keeps it to the letter."""

    version: int
    remarks: msgspec.Raw
    data: Any


class Entered(msgspec.Struct, frozen=True, gc=False):
    """An accepted event with what the log adds to it."""

    accepted: Accepted
    unit: UUID
    recorded_at: datetime
    recorded_by: str
    as_stored: AsStored | None = None


def event_row(entered: Entered) -> tuple[Any, ...]:
    """The row of `events`, in the order of the statement `enter`."""
    accepted, event = entered.accepted, entered.accepted.event
    stored = entered.as_stored or AsStored(
        newest_version(str(event.__struct_config__.tag)),
        # raw: a list inside an array would be taken for a second dimension
        msgspec.Raw(_encode(accepted.remarks)),
        event.data,  # type: ignore[attr-defined]
    )
    return (
        accepted.position,
        UUID(event.id),
        event.__struct_config__.tag,
        stored.version,
        event.site,
        # codes need no quotes in the text of an array
        "{" + ",".join(accepted.sites) + "}",
        event.occurred,
        accepted.moment.at,
        accepted.moment.day,
        entered.recorded_at,
        entered.recorded_by,
        event.actor,
        event.happened,
        UUID(event.replaces) if event.replaces else None,
        entered.unit,
        accepted.digest,
        stored.remarks,
        stored.data,
    )


async def write(
    connection: Connection, books: Books, entered: Sequence[Entered], head: Sequence[Any]
) -> None:
    """Everything that the accepted events changed, and the head."""
    subjects = [
        (kind, code, one.accepted.moment.at, one.accepted.position)
        for one in entered
        for kind, code in one.accepted.subjects
    ]
    legs = [posting for one in entered for posting in one.accepted.postings]
    events = [event_row(one) for one in entered]
    # COPY is no quicker for usual groups, and refused on tables with row-level security.
    await connection.execute(
        SQL.enter,
        *_columns(events, 18),
        *_columns(subjects, 4),
        *_columns(legs, 8),
        *head,
    )
    await _books(connection, books)
    await _voids_and_counts(connection, books, entered)
    for one in entered:
        if isinstance(one.accepted.event, CatalogueChanged):
            await _catalogue(connection, one.accepted.event, one.accepted.position)


def _columns(rows: Sequence[Sequence[Any]], width: int) -> list[list[Any]]:
    """Rows as columns, each an array of the statement."""
    if not rows:
        return [[] for _ in range(width)]
    return [list(column) for column in zip(*rows, strict=True)]


async def _books(connection: Connection, books: Books) -> None:
    dirty = books.dirty.values()
    await _lots(connection, books, [thing for thing in dirty if isinstance(thing, Lot)])
    bags = [b for b in dirty if isinstance(b, Bag) and books.bags.get(b.code) is b]
    if bags:
        await connection.executemany(SQL.save_bag, [_bag(books, bag) for bag in bags])
    accounts = [
        a
        for a in dirty
        if isinstance(a, Account)
        and books.account_by_id.get(a.account_id) is a
        and a.last_day is not None
    ]
    if accounts:
        rows = [
            (
                books.lots[a.lot].lot_id,
                a.account_id,
                *a.key,
                a.balance,
                a.last_day,
            )
            for a in accounts
        ]
        await connection.execute(SQL.save_balances, *_columns(rows, 12))
    holds = [h for h in dirty if isinstance(h, Hold) and books.holds.get(h.code) is h]
    if holds:
        await connection.executemany(SQL.save_hold, [_fields(hold) for hold in holds])
    loads = [c for c in dirty if isinstance(c, Consignment) and books.consignments.get(c.code) is c]
    if loads:
        await connection.executemany(SQL.save_consignment, [_fields(load) for load in loads])
    await _reservations(connection, books, [r for r in dirty if isinstance(r, Reservation)])
    orders = [o for o in dirty if isinstance(o, WorkOrder) and books.work_orders.get(o.code) is o]
    if orders:
        await connection.executemany(SQL.save_work_order, [_fields(order) for order in orders])
    done = [d for d in dirty if isinstance(d, WorkDone) and books.work_done.get(d.position) is d]
    if done:
        await connection.executemany(SQL.save_work_done, [_fields(one) for one in done])
    await _ahead(connection, books)


async def _ahead(connection: Connection, books: Books) -> None:
    """What went out, and what was said by hand of what may be promised."""
    dirty = books.dirty.values()
    out = [o for o in dirty if isinstance(o, ItemOut) and books.items_out.get(_fields(o)[:5]) is o]
    if out:
        await connection.execute(SQL.save_item_out, *_columns([_fields(one) for one in out], 6))
    said = [o for o in dirty if isinstance(o, Override) and books.overrides.get(o.code) is o]
    if said:
        await connection.executemany(SQL.save_override, [_fields(one) for one in said])


def _fields(thing: Any) -> tuple[Any, ...]:
    return tuple(getattr(thing, name) for name in thing.__struct_fields__)


def _bag(books: Books, bag: Bag) -> tuple[Any, ...]:
    return (
        bag.code,
        books.lots[bag.lot].lot_id,
        bag.buds,
        bag.sticks,
        bag.basis,
        bag.parent,
        bag.pieces,
        bag.buds_per_piece,
        bag.position,
        bag.voided,
    )


async def _lots(connection: Connection, books: Books, lots: list[Lot]) -> None:
    """New and changed lots whole; of the others only the position that is their ETag."""
    whole = [lot for lot in lots if books.lots.get(lot.code) is lot]
    written = {lot.lot_id for lot in whole}
    touched = [
        lot
        for lot in books.touched.values()
        if lot.lot_id not in written and books.lots.get(lot.code) is lot
    ]
    if whole:
        await connection.executemany(
            SQL.save_lot,
            [
                (*_fields(lot)[:13], list(lot.parents), list(lot.ancestry), *_fields(lot)[15:])
                for lot in whole
            ],
        )
    if touched:
        await connection.execute(
            SQL.touch_lots,
            [lot.lot_id for lot in touched],
            [lot.changed_position for lot in touched],
        )


async def _reservations(connection: Connection, books: Books, changed: list[Reservation]) -> None:
    """Reservations and their lines whole: a handful of statements, however many there are."""
    changed = [one for one in changed if books.reservations.get(one.code) is one]
    if not changed:
        return
    await connection.executemany(
        SQL.save_reservation,
        [
            (
                one.code,
                one.customer,
                one.site,
                one.any_site,
                one.made_day,
                one.needed_by,
                one.expires_at,
                one.state,
                one.position,
                one.changed_position,
                one.order_ref,
                one.destination,
                one.confirmed_day,
                one.expired_day,
            )
            for one in changed
        ],
    )
    await connection.execute(SQL.drop_claims, [one.code for one in changed])
    await connection.executemany(
        SQL.save_claim,
        [
            (
                one.code,
                claim.line,
                claim.item,
                parse_item(claim.item).cultivar,
                claim.lot,
                claim.site,
                claim.asked,
                claim.open,
                one.needed_by,
                one.expires_at,
                claim.promised,
            )
            for one in changed
            for claim in one.claims
        ],
    )


async def _voids_and_counts(
    connection: Connection, books: Books, entered: Sequence[Entered]
) -> None:
    positions = {one.accepted.position for one in entered}
    anchors = [
        (books.lots[account.lot].lot_id, account.account_id, *_anchor(anchor))
        for account in books.account_by_id.values()
        for anchor in account.anchors
        if anchor.position in positions
    ]
    if anchors:
        await connection.executemany(SQL.save_anchor, anchors)
    for one in entered:
        event = one.accepted.event
        if not isinstance(event, EventVoided):
            continue
        recorded: Recorded = books.recorded[event.data.event]
        by = one.accepted.position
        await connection.execute(SQL.save_void, recorded.position, by)
        lots = list(books.lot_by_id)
        await connection.execute(SQL.void_anchors, recorded.position, by, lots)


def _anchor(anchor: Anchor) -> tuple[Any, ...]:
    return (anchor.day, anchor.at, anchor.timed, anchor.position)


async def _catalogue(connection: Connection, event: CatalogueChanged, position: int) -> None:
    entry = event.data.entry
    site = None
    if isinstance(entry, Site):
        site = entry.code
    elif isinstance(entry, Place | SourceTree):
        site = entry.site
    kind = str(entry.__struct_config__.tag)
    await connection.execute(SQL.save_catalogue, kind, entry.code, site, position, entry)

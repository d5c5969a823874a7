"""Questions to the log and its books.

Every function takes the sites that the asker may see (`None`: all); what belongs to another site
does not exist for it. Each question to the books is one statement, so it sees one moment.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

import asyncpg
import msgspec

from service.log.stored import (
    BagOnHand,
    CatalogueItem,
    Gone,
    HoldNow,
    StandingNow,
    StoredEvent,
    Travelling,
)
from service.log.upcasting import newest_data, newest_version
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall

SQL = load(__package__, "read.sql")
Sites = list[str] | None
HISTORY_LIMIT = 10_000


class EventFilter(msgspec.Struct, frozen=True, kw_only=True):
    """Which events are wanted. Times: from `since` on, before `until`; days: both included."""

    lot: str | None = None
    place: str | None = None
    site: str | None = None
    types: list[str] | None = None
    since: datetime | None = None
    until: datetime | None = None
    from_day: date | None = None
    to_day: date | None = None


class LotNow(msgspec.Struct, frozen=True, kw_only=True):
    """A lot as the books have it: its accounts at the sites that may be seen."""

    row: dict[str, Any]
    standing: list[StandingNow]
    bags: list[BagOnHand]
    travelling: list[Travelling]
    gone: list[Gone]


async def head(connection: Connection) -> int:
    """The newest position in the log."""
    return int(await connection.fetchval(SQL.head))


def event_of_row(row: asyncpg.Record) -> StoredEvent:
    fields = dict(row)
    fields["id"] = str(fields["id"])
    fields["replaces"] = str(fields["replaces"]) if fields["replaces"] else None
    fields["data"] = newest_data(row["type"], row["version"], row["data"])
    fields["version"] = newest_version(row["type"])
    return StoredEvent(**fields)


async def events(
    connection: Connection, sites: Sites, wanted: EventFilter, *, after: int, limit: int
) -> list[StoredEvent]:
    """At most `limit` events after a position, in order of position."""
    common = (
        after,
        sites,
        wanted.site,
        wanted.types,
        wanted.since,
        wanted.until,
        wanted.from_day,
        wanted.to_day,
        limit,
    )
    if wanted.lot is not None:
        subject = ("lot", wanted.lot, wanted.place)
        rows = await connection.fetch(SQL.events_page_of_subject, *common, *subject)
    elif wanted.place is not None:
        subject = ("place", wanted.place, None)
        rows = await connection.fetch(SQL.events_page_of_subject, *common, *subject)
    else:
        rows = await connection.fetch(SQL.events_page, *common)
    return [event_of_row(row) for row in rows]


async def event(connection: Connection, sites: Sites, event_id: str) -> StoredEvent | None:
    """One event by its id (a UUID's text)."""
    row = await connection.fetchrow(SQL.event_by_id, event_id, sites)
    return event_of_row(row) if row else None


async def history(
    connection: Connection, sites: Sites, kind: str, code: str, limit: int = HISTORY_LIMIT
) -> list[StoredEvent]:
    """The events that speak of a lot, bag, place, hold …, in order of occurrence."""
    rows = await connection.fetch(SQL.history, kind, code, sites, limit)
    return [event_of_row(row) for row in rows]


def _item(row: asyncpg.Record) -> CatalogueItem:
    return msgspec.convert({"entry": row["body"], "position": row["position"]}, CatalogueItem)


async def catalogue_page(
    connection: Connection, sites: Sites, kind: str, *, after: str, limit: int
) -> list[CatalogueItem]:
    """Entries of a kind after a code, in order of code."""
    rows = await connection.fetch(SQL.catalogue_page, kind, after, sites, limit)
    return [_item(row) for row in rows]


async def catalogue_entry(
    connection: Connection, sites: Sites, kind: str, code: str
) -> CatalogueItem | None:
    """One entry of the catalogue."""
    row = await connection.fetchrow(SQL.catalogue_entry, kind, code, sites)
    return _item(row) if row else None


async def catalogue_has(connection: Connection, kind: str, code: str) -> bool:
    """Whether there is such an entry, seen or not."""
    async with past_the_wall(connection):
        return bool(await connection.fetchval(SQL.catalogue_hidden, kind, code))


async def unknown_codes(connection: Connection, sites: Sites, given: dict[str, str]) -> list[str]:
    """Which parameters of `given` (site, place, lot, bag, cultivar …) name nothing that is seen."""
    rows = await connection.fetch(SQL.unknown_codes, list(given), list(given.values()), sites)
    return [row[0] for row in rows]


async def check_names(connection: Connection) -> list[str]:
    """The names of checks in the catalogue's plans."""
    return [row[0] for row in await connection.fetch(SQL.check_names)]


async def first_site(connection: Connection, sites: Sites) -> str | None:
    """The first site that may be seen."""
    site: str | None = await connection.fetchval(SQL.first_site, sites)
    return site


async def lot(connection: Connection, sites: Sites, kind: str, code: str) -> LotNow | None:
    """One lot with its bags or places. Run it in a transaction that sees one moment."""
    row = await connection.fetchrow(SQL.lot, kind, code, sites)
    if row is None:
        return None
    balances = await connection.fetch(SQL.balances_of, row["lot_id"], sites)
    bags = await connection.fetch(SQL.bags_of, row["lot_id"]) if kind == "budwood" else []
    return lot_of(dict(row), balances, bags)


def lot_of(
    row: dict[str, Any], balances: list[asyncpg.Record], bags: list[asyncpg.Record]
) -> LotNow:
    """A lot from its row, its accounts that are not empty, and its bags."""
    fields = dict(row)
    del fields["lot_id"]
    return LotNow(
        row=fields,
        standing=[_standing(b) for b in balances if b["kind"] in ("liners", "trees")],
        bags=_bags(bags, [b for b in balances if b["kind"] == "bag"]),
        travelling=[_travelling(b) for b in balances if b["kind"] == "transit"],
        gone=[
            Gone(
                kind=b["kind"],
                ref=b["ref"],
                site=b["site"],
                commodity=b["commodity"],
                count=b["balance"],
            )
            for b in balances
            if b["kind"] in ("used", "lost", "discarded", "customer", "variance")
        ],
    )


def _standing(balance: asyncpg.Record) -> StandingNow:
    return StandingNow(
        site=balance["site"],
        place=balance["place"],
        stage=balance["stage"] or None,
        size=balance["size"] or None,
        grade=balance["grade"] or None,
        count=balance["balance"],
    )


def _travelling(balance: asyncpg.Record) -> Travelling:
    return Travelling(
        consignment=balance["place"],
        to_site=balance["site"],
        stage=balance["stage"] or None,
        size=balance["size"] or None,
        bag=balance["ref"] or None,
        commodity=balance["commodity"],
        count=balance["balance"],
    )


def _bags(bags: Iterable[asyncpg.Record], balances: list[asyncpg.Record]) -> list[BagOnHand]:
    """Each bag with its balances; one that was split over places has a row for each."""
    found = []
    for bag in bags:
        at = [b for b in balances if b["ref"] == bag["code"]]
        places = [(b["site"], b["place"], b["balance"]) for b in at] or [(None, None, 0)]
        found += [
            BagOnHand(**bag, site=site, place=place, left=left) for site, place, left in places
        ]
    return found


async def holds(
    connection: Connection,
    sites: Sites,
    *,
    after: str,
    limit: int,
    in_force: bool = True,
    kind: str | None = None,
) -> list[HoldNow]:
    """Holds after a code, in order of code."""
    rows = await connection.fetch(SQL.holds_page, after, sites, in_force, kind, limit)
    return [HoldNow(**row) for row in rows]

"""What is known of a place when somebody stands before it: what stands there, is due, is held."""

from collections.abc import Iterable
from datetime import date
from typing import Any

import msgspec

from service.api.problems import not_found
from service.board.recording.fields import Row
from service.board.visit import SiteSeen, Visit
from service.log import read
from service.log.stored import StoredEvent
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.events.catalogue import Place
from service.views.at_place import AtPlace, at_place
from service.views.checks import CheckRow, ChecksQuery, checks
from service.views.closed_houses import ClosedHouse, closed_houses

SQL = load(__package__, "there.sql")
RECENT = 8


class LotSeen(msgspec.Struct, frozen=True, kw_only=True):
    """What a lot is, in a few words."""

    code: str
    kind: str
    cultivar: str | None
    rootstock: str | None
    method: str | None
    day: date | None
    attempt: int
    site: str
    named: str | None
    stock_named: str | None


class HoldSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A hold in force; `lot` is the lot that it blocks, None where it blocks a bag, place or site.

    Its reason stays with the site that placed it.
    """

    code: str
    kind: str
    from_day: date
    target: str
    lot: str | None


class There(msgspec.Struct, frozen=True, kw_only=True):
    """A place as the book has it at the moment of a visit. `seen` is the log's position then."""

    place: Place
    site: SiteSeen
    seen: int
    rows: list[AtPlace]
    lots: dict[str, LotSeen]
    holds: list[HoldSeen]
    closed: list[ClosedHouse]
    recent: list[StoredEvent]

    @property
    def place_holds(self) -> list[HoldSeen]:
        """Holds on the place itself, its site, or a bag that lies here."""
        return [hold for hold in self.holds if hold.lot is None]

    def held(self, lot: str) -> list[HoldSeen]:
        """Holds on a lot."""
        return [hold for hold in self.holds if hold.lot == lot]

    def holding(self, lot: str) -> list[HoldSeen]:
        """Holds on a lot, or on the place or site where it stands."""
        return [hold for hold in self.holds if hold.lot == lot or hold.target in ("place", "site")]


async def there(visit: Visit[Any], code: str) -> There:
    """What is at a place. Raises 404 for one that the visitor does not see."""
    async with visit.services.reading() as connection:
        item = await read.catalogue_entry(connection, visit.principal.site_list, "place", code)
        if item is None or not isinstance(item.entry, Place):
            raise not_found(f"A table {code}")
        place = item.entry
        await visit.sites(connection)
        site = await visit.site(place.site)
        rows = await at_place(connection, place.site, code)
        codes = sorted({row.lot for row in rows})
        bags = [row.bag for row in rows if row.bag]
        closed = await closed_houses(connection, place.site, visit.now)
        last = await recent(connection, "place", code)
        await visit.call_people(by_whom(last), connection)
        return There(
            place=place,
            site=site,
            seen=int(await connection.fetchval(SQL.known_at)),
            rows=rows,
            lots=await lots_seen(connection, codes),
            holds=await holds_on(connection, codes, bags, site, code),
            closed=[house for house in closed if code in house.closed_places],
            recent=last,
        )


async def lots_seen(connection: Connection, codes: list[str]) -> dict[str, LotSeen]:
    """What the lots are, by their codes."""
    found = await connection.fetch(SQL.lots, codes)
    return {row["code"]: LotSeen(**dict(row)) for row in found}


async def holds_on(
    connection: Connection, lots: list[str], bags: list[str], site: SiteSeen, place: str | None
) -> list[HoldSeen]:
    """Holds in force today on any of these; a hold on a source tree counts at every site."""
    async with past_the_wall(connection):
        found = await connection.fetch(SQL.holds, lots, bags, place, site.code, site.today)
    return [HoldSeen(**dict(row)) for row in found]


async def recent(connection: Connection, kind: str, code: str) -> list[StoredEvent]:
    """The newest that was recorded of a place, lot or bag, newest first."""
    found = await connection.fetch(SQL.recent, kind, code, RECENT)
    return [read.event_of_row(row) for row in found]


async def checks_at(
    visit: Visit[Any], *, place: str | None = None, lot: str | None = None
) -> list[CheckRow]:
    """Checks that are due or late there, the earliest first."""
    query = ChecksQuery(place=place, lot=lot, limit=100)
    found = await checks(
        visit.services.database.reader,
        query,
        visit.principal.site_list,
        clock=visit.services.clock,
    )
    return [row for row in found.rows if row.state != "upcoming"]


def by_whom(events: Iterable[StoredEvent]) -> set[str]:
    """Who did or recorded these, as it is shown beside each."""
    return {one.actor or one.recorded_by for one in events}


def row_at(row: AtPlace, place: str) -> Row:
    """What stands there as a form names it."""
    if row.kind == "bag":
        return Row("bag", row.bag, place=place)
    return Row(row.kind, row.lot, row.stage, row.size, row.grade, place)

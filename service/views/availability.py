"""The availability list: what of each item can be reserved, at each site and at all, by day.

It keeps the books of what can be sold in memory, reads anew only what the log says has changed,
and works out by the writer's own code. Nothing in it belongs to one site or key: of each row the
log would tell whoever tries to reserve. Who may see which row is for its users to say.
"""

import asyncio
from collections.abc import Collection, Iterable
from datetime import UTC, datetime, time, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from service.log.loading import SQL as LOG
from service.log.loading import load_catalogue, load_holds
from service.log.rows import claim_of, reservation_of
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.trade.accounts import Key
from service.trade.available import Kin, Row
from service.trade.books import Account, Bag, Books, Hold, Lot
from service.trade.entries import Catalogue
from service.trade.events.catalogue import Site
from service.trade.items import parse_item
from service.trade.promising import LEVELS, at_level, level_of
from service.trade.supply import ItemOut, OutKey, Override, Supply
from service.trade.work_orders import WorkOrder

SQL = load(__package__, "availability.sql")
UNCONCERNED = ("alert", "grafts", "liners", "place", "push", "tools", "tops", "treatment", "work")
"""Events whose types begin so move no ready tree, no bud and no claim."""
KinName = tuple[str, str, bool]
FAR = 2**62
"""A position that no log comes to."""


class _Marks(NamedTuple):
    """How far the log and what is told beside it had come."""

    position: int
    catalogue_position: int
    holds_position: int
    foretold_at: datetime | None


NOTHING = _Marks(-1, -1, -1, None)


class _New(NamedTuple):
    """What was read: how far it goes, the kins read anew, whether `all_anew` are to be worked out,
    and whether the catalogue is another."""

    marks: _Marks
    kins: set[KinName]
    all_anew: bool
    catalogue: bool


class AvailabilityList:
    """The list as it stands; `look` brings it up to date. One task at a time may look.

    `rows` by their keys, in order; a row that did not change stays the same object, and a look that
    changes one puts a new table in place of the old. `version` grows when a row changed, or what
    the catalogue says (`names` then too). `position`: the log's, that it reflects. From
    `good_until` on it may be another though nothing is recorded: a day ends, a claim runs out.
    """

    def __init__(self, confidence: float) -> None:
        self.confidence = confidence
        self.rows: dict[str, Row] = {}
        self.version = 0
        self.names = 0
        self.catalogue = Catalogue()
        self.good_until = datetime.min.replace(tzinfo=UTC)
        self._midnight = self.good_until
        self._holds: dict[str, Hold] = {}
        self._marks = NOTHING
        self._kins: dict[KinName, Kin] = {}
        self._rows_of: dict[KinName, list[Row]] = {}
        self._expiries: dict[KinName, datetime] = {}
        self._supply: dict[KinName, dict[OutKey, Supply]] = {}

    @property
    def position(self) -> int:
        return self._marks.position

    async def look(self, reader: Pool, now: datetime) -> bool:
        """Bring the list up to date at the moment `now`. True: `version` grew.

        It reads past the walls, for what may be reserved at a site hangs on what all sites have
        promised together. Raises what the database raises; the next look then begins anew.
        """
        marks, self._marks = self._marks, NOTHING
        if marks == NOTHING:
            self._kins, self._rows_of = {}, {}
        async with seeing(reader, None, timeout=10) as conn:
            new = await self._read(conn, marks)
        names = new.kins
        if new.all_anew or now >= self._midnight:
            names = {*self._kins, *names}
        names |= {name for name, end in self._expiries.items() if now >= end}
        changed = await self._work_out(now, names)
        self._midnight = next_midnight(self.catalogue, now)
        self.good_until = min([self._midnight, *self._expiries.values()])
        self._marks = new.marks
        self.version += changed or new.catalogue
        self.names += new.catalogue
        return changed or new.catalogue

    # -- reading -------------------------------------------------------------------------

    async def _read(self, conn: Connection, old: _Marks) -> _New:
        """Read what is new since `old`."""
        # Without a beginning all is read; which events came since is not asked then.
        after = FAR if old == NOTHING else old.position
        row = await conn.fetchrow(SQL.marks, after, UNCONCERNED)
        assert row is not None, "the log has one head"
        marks = _Marks(*list(row.values())[:4])
        whole = old == NOTHING or row["retold"]
        catalogue = whole or marks.catalogue_position != old.catalogue_position
        if catalogue:
            self.catalogue = await load_catalogue(conn)
        holds = whole or marks.holds_position != old.holds_position
        if holds:
            self._holds = await load_holds(conn)
        if whole or marks.foretold_at != old.foretold_at:
            self._supply = await self._told(conn)
            found = {row["cultivar"] for row in await conn.fetch(SQL.cultivars)}
            wanted = found | {name[0] for name in self._kins}
        elif row["concerned"]:
            wanted = await self._touched(conn, old.position)
        else:
            wanted = set()
        kins = await self._kins_of(conn, wanted) if wanted else set()
        for kin in self._kins.values():
            kin.books.catalogue, kin.books.holds = self.catalogue, self._holds
        return _New(marks, kins, catalogue or holds, catalogue)

    async def _touched(self, conn: Connection, after: int) -> set[str]:
        """Cultivars that what came after a position can have changed anything of."""
        found = {row["cultivar"] for row in await conn.fetch(SQL.touched, after)}
        spoken = {row["code"] for row in await conn.fetch(SQL.spoken_of, after)}
        found |= {
            name[0]
            for name, kin in self._kins.items()
            if not spoken.isdisjoint(kin.books.reservations)
        }
        return found - {None}

    async def _told(self, conn: Connection) -> dict[KinName, dict[OutKey, Supply]]:
        """All that is told ahead, at the nursery's confidence."""
        level = level_of(self.confidence)
        found: dict[KinName, dict[OutKey, Supply]] = {}
        for cultivar, rootstock in await conn.fetch(SQL.foretold):
            of = found.setdefault((cultivar, rootstock, False), {})
            for row in await conn.fetch(LOG.supply, [cultivar], [rootstock], LEVELS):
                told = list(at_level(row["quantities"], level))
                of[_out_key(row)] = Supply(row["first"].toordinal(), told, row["went_out"])
        return found

    async def _kins_of(self, conn: Connection, cultivars: Collection[str]) -> set[KinName]:
        """Read all that concerns the cultivars anew. The names of their kins, old and new."""
        old = {name for name in self._kins if name[0] in cultivars}
        for name in old:
            del self._kins[name]
        names = list(cultivars)
        await self._stand(conn, names)
        await self._claim(conn, names)
        for row in await conn.fetch(SQL.orders, names):
            order = WorkOrder(**dict(row))
            self._books(order.cultivar, "", True).work_orders[order.code] = order
        for row in await conn.fetch(LOG.overrides, [], names):
            said = Override(**dict(row))
            self._books(said.cultivar, said.rootstock).overrides[said.code] = said
        for row in await conn.fetch(LOG.items_out, names):
            out = ItemOut(**dict(row))
            self._books(out.cultivar, out.rootstock).items_out[_out_key(row)] = out
        for name, told in self._supply.items():
            if name[0] in cultivars:
                self._books(*name).supply = told
        return old | {name for name in self._kins if name[0] in cultivars}

    async def _stand(self, conn: Connection, cultivars: list[str]) -> None:
        """Ready trees and buds in bags."""
        wood: dict[int, Books] = {}
        for row in await conn.fetch(SQL.standing, cultivars):
            buds = row["holds"] == "bag"
            books = self._books(row["cultivar"], "" if buds else row["rootstock"] or "", buds)
            lot = books.lots.get(row["code"])
            if lot is None:
                lot = books.lots[row["code"]] = _lot_of(row)
            at = ("holds", "at", "place", "stage", "size", "grade", "ref", "commodity")
            key = Key(*(row[name] for name in at))
            books.accounts_of(lot.code)[key] = Account(
                account_id=row["account_id"], lot=lot.code, key=key, balance=row["balance"]
            )
            if buds:
                wood[lot.lot_id] = books
        if wood:
            of_lot = {lot.code: books for books in wood.values() for lot in books.lots.values()}
            for row in await conn.fetch(LOG.bags, list(wood)):
                of_lot[row["lot"]].bags[row["code"]] = Bag(**dict(row))

    async def _claim(self, conn: Connection, cultivars: list[str]) -> None:
        """Reservations with open lines, each line with the kin that it draws on."""
        named: dict[str, list[Books]] = {}
        for row in await conn.fetch(LOG.reservations, [], cultivars, []):
            item, claim = parse_item(row["item"]), claim_of(row)
            # A reservation may be of several cultivars; those not asked for stay as they are.
            if item.cultivar not in cultivars or not claim.open:
                continue
            books = self._books(item.cultivar, item.rootstock, item.buds)
            reservation = books.reservations.setdefault(row["code"], reservation_of(row))
            reservation.claims.append(claim)
            if claim.lot:
                named.setdefault(claim.lot, []).append(books)
        if named:
            for row in await conn.fetch(SQL.own_lots, list(named)):
                for books in named[row["code"]]:
                    books.lots.setdefault(row["code"], _lot_of(row))

    def _books(self, cultivar: str, rootstock: str, buds: bool = False) -> Books:
        name = (cultivar, rootstock, buds)
        kin = self._kins.get(name)
        if kin is None:
            books = Books()
            books.catalogue, books.holds = self.catalogue, self._holds
            books.confidence = self.confidence
            kin = self._kins[name] = Kin(*name, books)
        return kin.books

    # -- working out ------------------------------------------------------------------------

    async def _work_out(self, now: datetime, names: Iterable[KinName]) -> bool:
        """Work out the rows of these kins at a moment. True: one of them changed."""
        changed = False
        for name in sorted(names):
            before = self._rows_of.pop(name, [])
            self._expiries.pop(name, None)
            kin = self._kins.get(name)
            if kin is not None:
                kin.books.now = now
                self._rows_of[name] = [self._same(row) for row in kin.rows()]
                expiry = kin.next_expiry()
                if expiry is not None:
                    self._expiries[name] = expiry
            changed |= before != self._rows_of.get(name, [])
            # Others are answered meanwhile.
            await asyncio.sleep(0)
        if changed:
            rows = [row for of_kin in self._rows_of.values() for row in of_kin]
            self.rows = {row.key: row for row in sorted(rows, key=lambda row: row.key)}
        return changed

    def _same(self, row: Row) -> Row:
        before = self.rows.get(row.key)
        return before if before == row else row


def next_midnight(catalogue: Catalogue, now: datetime) -> datetime:
    """The next moment at which a day begins at any site; of none the next day by UTC."""
    zones = {
        entry.time_zone for entry, _ in catalogue.entries.values() if isinstance(entry, Site)
    } or {"UTC"}
    begins = []
    for zone in map(ZoneInfo, zones):
        tomorrow = now.astimezone(zone).date() + timedelta(days=1)
        begins.append(datetime.combine(tomorrow, time(), zone).astimezone(UTC))
    return min(begins)


def _out_key(row: Any) -> OutKey:
    return row["cultivar"], row["rootstock"], row["size"], row["grade"], row["site"]


def _lot_of(row: Any) -> Lot:
    """A lot as far as availability asks."""
    names = [name for name in Lot.__struct_fields__ if name in row]
    parts = {name: row[name] for name in names}
    if "ancestry" in parts:
        parts["ancestry"] = tuple(parts["ancestry"])
    return Lot(**parts)

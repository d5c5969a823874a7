"""Load into the books what a group touches: few queries, whatever the group's size.

In-order events load balances only. An event dated before the last day of a lot's account loads
that lot's daily nets and counts after its day, so cost follows lateness, not history.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

import msgspec

from service.log.ahead import claims_buds, load_ahead, wood_told_of
from service.log.for_sale import candidates, load_ready_since, sold_by_item
from service.log.minting import codes_to_mint
from service.log.rows import claim_of, event_of, recorded_of, reservation_of
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.accounts import Key, Posting
from service.trade.books import Account, Anchor, Bag, Books, Consignment, Hold, Lot
from service.trade.entries import Catalogue
from service.trade.events import catalogue, grafting, selling, stock
from service.trade.events.catalogue import Entry
from service.trade.items import parse_item
from service.trade.making import graft_parents
from service.trade.subjects import Subject, mentioned, subjects_of
from service.trade.units import Incoming
from service.trade.work_orders import WorkDone, WorkOrder

SQL = load(__package__, "append.sql")
_GRAFTED = (grafting.TreesGrafted, grafting.TreesRegrafted)


async def load_catalogue(connection: Connection) -> Catalogue:
    """The whole catalogue."""
    catalogue = Catalogue()
    for row in await connection.fetch(SQL.catalogue):
        entry: Entry = msgspec.convert(row["body"], Entry)
        kind = str(entry.__struct_config__.tag)
        catalogue.entries[kind, entry.code] = (entry, row["position"])
    return catalogue


async def load_holds(connection: Connection) -> dict[str, Hold]:
    """All holds by code."""
    return {row["code"]: Hold(**dict(row)) for row in await connection.fetch(SQL.holds)}


class Loader:
    """Loads one group's needs into its books."""

    def __init__(self, connection: Connection, books: Books, next_code: int) -> None:
        self.connection = connection
        self.books = books
        self.next_code = next_code
        self.first_day: dict[str, date] = {}
        self.group_first: date | None = None
        # lots that events of the group may make anew or add to
        self.remade: frozenset[str] = frozenset()
        # lots that nothing is posted to: loaded only to be looked at
        self.looked_at: set[int] = set()
        # whether a time of day was told: only then can a count of the same day come after it
        self.timed = False

    async def load(self, group: list[Incoming]) -> None:
        """All that judging the group's events can ask of the books."""
        named: dict[str, set[str]] = {"lot": set(), "bag": set()}
        for incoming in group:
            self.timed = self.timed or incoming.moment.timed
            for kind, code in mentioned(incoming.event):
                named.setdefault(kind, set()).add(code)
                self._note_day(code, incoming.moment.day)
            if isinstance(incoming.event, stock.HoldLifted):
                # It speaks of what was held, so that lot's ETag moves.
                hold = self.books.holds.get(incoming.event.data.hold)
                if hold is not None and hold.target == "lot":
                    named["lot"].add(hold.target_code)
                    self._note_day(hold.target_code, incoming.moment.day)
        self.books.fresh, self.next_code = await codes_to_mint(
            self.connection, group, self.next_code, self.first_day
        )
        voided = await self._voided(group, named)
        await self._consignments(named.get("consignment", set()))
        await self._lots(named, voided)
        wanted, sold_on = sold_by_item(group)
        if wanted:
            await self.lots_by([], [], [], await candidates(self.connection, wanted))
        decided = await self._claims(group, named.get("reservation", set()))
        await self._ahead(group, decided, named.get("override", set()))
        await self._work_orders(group, named.get("work_order", set()), decided)
        await self._standing_at_retired(group)
        if sold_on is not None:
            await load_ready_since(self.connection, self.books, wanted)
            self._may_be_given(sold_on)
        await self._late(group)
        await self._held_meanwhile(group)

    def _note_day(self, code: str, day: date) -> None:
        known = self.first_day.get(code)
        if known is None or day < known:
            self.first_day[code] = day
        if self.group_first is None or day < self.group_first:
            self.group_first = day

    def _may_be_given(self, sold_on: date) -> None:
        """A sale by item may take from any lot that is here, on its own day."""
        for lot in self.books.lots.values():
            self.looked_at.discard(lot.lot_id)
            self._note_day(lot.code, sold_on)

    # -- lots, bags, balances --------------------------------------------------------

    async def _lots(self, named: dict[str, set[str]], voided: set[int]) -> None:
        # Lots and bags share their codes: a new lot's may be a bag's already.
        either = list(named["lot"] | named["bag"])
        loads = list(named.get("consignment", ()))
        if not (either or loads or voided):
            return
        await self.lots_by(either, either, loads, voided)
        for account in self.books.account_by_id.values():
            # What travels in a load is spoken of without being named.
            if account.key.kind == "transit" and account.key.place in self.first_day:
                self._note_day(account.lot, self.first_day[account.key.place])
        # A code that exists and is named by an event that makes lots may be made anew or added
        # to: then what descends from it must follow.
        again = [f"lot:{code}" for code in self.remade if code in self.books.lots]
        if again:
            heirs = {row["lot_id"] for row in await self.connection.fetch(SQL.heirs, again)}
            self.looked_at |= heirs - set(self.books.lot_by_id)
            await self.lots_by([], [], [], self.looked_at)

    async def lots_by(
        self, lots: list[str], bags: list[str], loads: list[str], ids: Iterable[int]
    ) -> None:
        """Load lots with their bags and accounts; what is there already stays."""
        books = self.books
        rows = await self.connection.fetch(SQL.lots, lots, bags, loads, list(ids))
        new: list[int] = []
        for row in rows:
            if row["lot_id"] in books.lot_by_id:
                continue
            lot = Lot(
                **{
                    **dict(row),
                    "parents": tuple(row["parents"]),
                    "ancestry": tuple(row["ancestry"]),
                }
            )
            books.lots[lot.code] = lot
            books.lot_by_id[lot.lot_id] = lot
            new.append(lot.lot_id)
        if not new:
            return
        if any(books.lot_by_id[lot_id].kind == "budwood" for lot_id in new):
            for row in await self.connection.fetch(SQL.bags, new):
                books.bags[row["code"]] = Bag(**dict(row))
        for row in await self.connection.fetch(SQL.balances, new):
            lot_id, account_id, *key, balance, last_day = row.values()
            account = Account(
                account_id=account_id,
                lot=books.lot_by_id[lot_id].code,
                key=Key(*key),
                balance=balance,
                last_day=last_day,
            )
            books.accounts_of(account.lot)[account.key] = account
            books.account_by_id[account_id] = account

    # -- voids --------------------------------------------------------------------------

    async def _voided(self, group: list[Incoming], named: dict[str, set[str]]) -> set[int]:
        """Load what the group voids; returns the ids of lots that it touched or made."""
        ids = [i.event.data.event for i in group if isinstance(i.event, stock.EventVoided)]
        self.remade = frozenset(
            incoming.event.data.lot
            for incoming in group
            if isinstance(incoming.event, _GRAFTED) and incoming.event.data.lot is not None
        )
        if not ids:
            return set()
        books = self.books
        rows = await self.connection.fetch(SQL.voided_events, ids)
        for row in rows:
            recorded = recorded_of(row, books.catalogue)
            books.recorded[recorded.event_id] = recorded
            self.timed = self.timed or recorded.timed
            for kind, code in subjects_of(recorded.event, books) | mentioned(recorded.event):
                named.setdefault(kind, set()).add(code)
                self._note_day(code, recorded.day or date.max)
        positions = [row["position"] for row in rows]
        made = {row["lot_id"] for row in await self.connection.fetch(SQL.made_by, positions)}
        lot_rows = await self.connection.fetch(
            SQL.lots, list(named["lot"]), list(named["bag"]), [], []
        )
        touched = made | {row["lot_id"] for row in lot_rows}
        await self._voided_legs(rows, positions, touched)
        for row in rows:
            # What was drawn on an estimate may lie on an earlier day than the event.
            recorded = books.recorded[row["id"]]
            for posting in recorded.postings:
                if recorded.day is not None and posting.day < recorded.day:
                    for _, code in subjects_of(recorded.event, books):
                        self._note_day(code, posting.day)
        self.remade |= {row["code"] for row in lot_rows if row["position"] in positions}
        await self._makings()
        subjects = {s for row in rows for s in subjects_of(books.recorded[row["id"]].event, books)}
        await self._standing_on(subjects)
        return touched

    async def _makings(self) -> None:
        """What standing graftings told of the lots that may lose one of them."""
        books = self.books
        for recorded in books.recorded.values():
            if isinstance(recorded.event, _GRAFTED) and recorded.event.data.lot:
                self.remade |= {recorded.event.data.lot}
        for row in await self.connection.fetch(SQL.makings, list(self.remade)):
            event = event_of(row)
            assert isinstance(event, _GRAFTED)
            makings = books.makings.setdefault(event.data.lot or "", {})
            makings[row["position"]] = tuple(graft_parents(event))

    async def _voided_legs(self, rows: list[Any], positions: list[int], lots: set[int]) -> None:
        books = self.books
        by_position = {row["position"]: books.recorded[row["id"]] for row in rows}
        for row in await self.connection.fetch(SQL.voided_legs, positions, list(lots)):
            posting = Posting(*row.values())
            if posting.position in by_position:
                by_position[posting.position].postings.append(posting)
            if posting.anchor in by_position:
                books.anchored.setdefault(posting.anchor or 0, []).append(posting)

    async def _standing_on(self, subjects: set[Subject]) -> None:
        wanted = [s for s in subjects if s[0] in ("lot", "bag", "consignment")]
        kinds, names = [k for k, _ in wanted], [n for _, n in wanted]
        for row in await self.connection.fetch(SQL.standing_on, kinds, names):
            self.books.spoken.setdefault(row["token"], {})[row["position"]] = row["id"]

    # -- loads and claims ------------------------------------------------------------------

    async def _consignments(self, named: set[str]) -> None:
        if named:
            for row in await self.connection.fetch(SQL.consignments, list(named)):
                self.books.consignments[row["code"]] = Consignment(**dict(row))

    async def _claims(self, group: list[Incoming], named: set[str]) -> set[str]:
        """Reservations named or open on the group's cultivars, and the stock they draw on.

        Returns the cultivars on which there are claims to decide or to look at.
        """
        books = self.books
        asked: set[str] = set()
        changed: set[str] = set()
        for incoming in group:
            if isinstance(
                incoming.event, selling.ReservationChanged | selling.ReservationConfirmed
            ):
                changed.add(incoming.event.data.reservation)
            if isinstance(incoming.event, selling.ReservationMade | selling.ReservationChanged):
                asked |= {
                    line.cultivar for line in incoming.event.data.lines or () if line.cultivar
                }
                asked |= {
                    books.lots[line.lot].cultivar or ""
                    for line in incoming.event.data.lines or ()
                    if line.lot in books.lots
                }
        cultivars = asked | {lot.cultivar for lot in books.lots.values() if lot.cultivar}
        if not (cultivars or named):
            return set()
        rows = await self.connection.fetch(
            SQL.reservations, list(named), list(cultivars), list(changed)
        )
        for row in rows:
            reservation = books.reservations.setdefault(row["code"], reservation_of(row))
            reservation.claims.append(claim_of(row))
            if row["code"] in changed:
                asked.add(parse_item(row["item"]).cultivar)
        claimed = {
            parse_item(claim.item).cultivar
            for reservation in books.reservations.values()
            for claim in reservation.claims
            if claim.open
        }
        decided = asked | (claimed & cultivars)
        if decided:
            ready = await self.connection.fetch(SQL.ready_lots, list(decided))
            wanted = {r["lot_id"] for r in ready} - set(books.lot_by_id)
            await self.lots_by([], [], [], wanted)
            self.looked_at |= wanted
        return decided

    async def _ahead(self, group: list[Incoming], decided: set[str], named: set[str]) -> None:
        """Supply, overrides and what went out, where the group's claims or sales ask for them."""
        lots = await load_ahead(self.connection, self.books, group, decided, named)
        if lots:
            before = set(self.books.lot_by_id)
            await self.lots_by(list(lots), [], [], [])
            self.looked_at |= set(self.books.lot_by_id) - before

    async def _work_orders(self, group: list[Incoming], named: set[str], decided: set[str]) -> None:
        """Orders named, or open for what the group grafts or for buds that claims are `decided` on;
        and what voided graftings did."""
        books = self.books
        buds = sorted(decided) if claims_buds(books, group) else []
        sites = {i.event.site for i in group if isinstance(i.event, _GRAFTED)}
        wood = {lot.cultivar for lot in books.lots.values() if lot.kind == "budwood"}
        wood = (wood | wood_told_of(group)) - {None}
        if named or buds or (sites and wood):
            rows = await self.connection.fetch(
                SQL.work_orders, list(named), list(sites), list(wood) if sites else [], buds
            )
            for row in rows:
                order = WorkOrder(**{**dict(row), "grafters": tuple(row["grafters"])})
                books.work_orders[order.code] = order
        grafted = [r.position for r in books.recorded.values() if isinstance(r.event, _GRAFTED)]
        if grafted:
            for row in await self.connection.fetch(SQL.work_done, grafted):
                books.work_done[row["position"]] = WorkDone(**dict(row))

    async def _standing_at_retired(self, group: list[Incoming]) -> None:
        """What stands at places that the group retires: a place is retired empty."""
        places = [
            i.event.data.entry.code
            for i in group
            if isinstance(i.event, catalogue.CatalogueChanged)
            and isinstance(i.event.data.entry, catalogue.Place)
            and i.event.data.entry.retired
        ]
        if places:
            rows = await self.connection.fetch(SQL.standing_at, places)
            wanted = {row["lot_id"] for row in rows} - set(self.books.lot_by_id)
            await self.lots_by([], [], [], wanted)
            self.looked_at |= wanted

    # -- lateness --------------------------------------------------------------------------

    async def _late(self, group: list[Incoming]) -> None:
        """Daily nets and counts where an event lies before the last day of a lot's account."""
        books = self.books
        after: dict[int, date] = {}
        # of these only the counts are asked for
        counted: list[int] = []
        for lot in books.lots.values():
            if lot.lot_id in self.looked_at:
                continue
            first = self._first_day_of(lot)
            table = books.accounts_of(lot.code)
            last = max((a.last_day for a in table.values() if a.last_day), default=None)
            if first is not None and last is not None and last > first:
                after[lot.lot_id] = first
            elif lot.basis != "counted" or lot.kind == "budwood" or (self.timed and last == first):
                counted.append(lot.lot_id)
        if after:
            rows = await self.connection.fetch(SQL.nets, list(after), list(after.values()))
            for account_id, day, net in rows:
                books.account_by_id[account_id].nets[day] = net
        if after or counted:
            rows = await self.connection.fetch(SQL.anchors, [*after, *counted])
            for account_id, day, at, timed, position in rows:
                anchors = books.account_by_id[account_id].anchors
                anchors.append(Anchor(day, at, timed, position))

    def _first_day_of(self, lot: Lot) -> date | None:
        """The earliest day on which the group may touch the lot: by its own name or a bag's; a
        lot that was loaded for another reason may be touched on any of the group's days."""
        days = [self.first_day[lot.code]] if lot.code in self.first_day else []
        if lot.kind == "budwood":
            days += [
                self.first_day[bag.code]
                for bag in self.books.bags.values()
                if bag.lot == lot.code and bag.code in self.first_day
            ]
        return min(days) if days else self.group_first

    async def _held_meanwhile(self, group: list[Incoming]) -> None:
        tokens = {
            f"{i.event.data.target}:{i.event.data.code}": i.moment.day
            for i in group
            if isinstance(i.event, stock.HoldPlaced)
        }
        if not tokens:
            return
        rows = await self.connection.fetch(SQL.sold_since, list(tokens), list(tokens.values()))
        for row in rows:
            line = dict(row)
            line["day"] = str(line["day"])
            self.books.sold_since.setdefault(line.pop("token"), []).append(line)

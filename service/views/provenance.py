"""Provenance of lots, read from the books and from the events that made the lots.

What a lot came of is told to all who have something of it, wherever it was, as lineage is; who
supplied it only to those who see a site of that event.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from service.log.as_known import MAKING
from service.log.rows import event_of
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.books import Bag, Lot
from service.trade.events.catalogue import Entry, Site
from service.trade.provenance import Known, Made
from service.trade.subjects import made_by
from service.trade.words import understand_occurred

SQL = load(__package__, "provenance.sql")


async def known_of(conn: Connection, lots: Iterable[str], sites: list[str] | None) -> Known:
    """All that `trade.provenance` asks of these lots. Run it in one transaction."""
    asked = sorted(set(lots))
    async with past_the_wall(conn):
        found = {row["code"]: _lot(row) for row in await conn.fetch(SQL.lots, asked)}
        wood = [lot.code for lot in found.values() if lot.kind == "budwood"]
        bags = {row["code"]: Bag(**dict(row)) for row in await conn.fetch(SQL.bags, wood)}
        rows = await conn.fetch(SQL.makings, list(found), MAKING, sites)
        made, at = _made(rows)
        wanted = {("site", site) for site in at} | _named(found.values())
        entries = await entries_of(conn, wanted)

    def day_of(site: str, text: str | None) -> date | None:
        entry = entries.get(("site", site))
        if text is None or not isinstance(entry, Site):
            return None
        return understand_occurred(text, ZoneInfo(entry.time_zone)).day

    return Known(lots=found, bags=bags, made=made, entries=entries, day_of=day_of)


async def entries_of(
    conn: Connection, wanted: Iterable[tuple[str, str]]
) -> dict[tuple[str, str], Any]:
    """Entries of the catalogue by kind and code, those that there are."""
    kinds, codes = [], []
    for kind, code in sorted(wanted):
        kinds.append(kind)
        codes.append(code)
    rows = await conn.fetch(SQL.entries, kinds, codes)
    return {(row["kind"], row["code"]): msgspec.convert(row["body"], Entry) for row in rows}


def _lot(row: Any) -> Lot:
    known = {"parents": tuple(row["parents"]), "ancestry": tuple(row["ancestry"])}
    return Lot(**{**dict(row), **known})


def _made(rows: list[Any]) -> tuple[dict[str, list[Made]], set[str]]:
    """What made each lot, in order of position, and the sites where."""
    made: dict[str, list[Made]] = defaultdict(list)
    for row in rows:
        event = event_of(row)
        # An event may speak of a lot that it does not make: stocks that were grafted on.
        if row["code"] in made_by(event).get("lot", ()):
            made[row["code"]].append(Made(event=event, day=row["day"], told=row["told"]))
    return made, {row["site"] for row in rows}


def _named(lots: Iterable[Lot]) -> set[tuple[str, str]]:
    """The catalogue's entries that lots name."""
    found: set[tuple[str, str]] = set()
    for lot in lots:
        source = (lot.source or "").partition(":")
        found |= {("cultivar", lot.cultivar or ""), ("rootstock", lot.rootstock or "")}
        if source[0] == "source_tree":
            found.add(("source_tree", source[2]))
    return found

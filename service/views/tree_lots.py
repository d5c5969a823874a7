"""What views of tree lots share: which lots a batch touched, and their histories."""

from collections import defaultdict
from typing import Any, get_type_hints

import asyncpg
import msgspec

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.events import EVENT_TYPES
from service.trade.events.envelope import Envelope
from service.trade.lot_walk import TYPES, Told
from service.views.applying import ByCode

SQL = load(__package__, "tree_lots.sql")
# Straight from the stored text into the data of the type: histories are long.
_DATA = {
    name: msgspec.json.Decoder(get_type_hints(EVENT_TYPES[name], include_extras=True)["data"])
    for name in TYPES
}


class TreeLots(ByCode):
    """The subjects of a view whose subjects are tree lots, by code."""

    finding = SQL


async def histories(conn: Connection, lots: list[str]) -> list[tuple[asyncpg.Record, list[Told]]]:
    """Each of these tree lots that stands and is not of a lost label, with its history.

    The history holds the unvoided events that make or move its trees or read their take, in order
    of occurrence; on one day what makes the lot comes first.
    """
    told: dict[str, list[Told]] = defaultdict(list)
    for row in await conn.fetch(SQL.history, lots, list(TYPES)):
        told[row["lot"]].append(Told(event_of(row), row["occurred_day"]))
    return [(lot, told[lot["code"]]) for lot in await conn.fetch(SQL.lots, lots)]


def event_of(row: asyncpg.Record) -> Envelope:
    """The event of a row of `history`, without its envelope: what moves and where."""
    name = row["type"]
    data = _DATA[name].decode(row["data"])
    made: Any = EVENT_TYPES[name]
    event: Envelope = made(site=row["site"], occurred=row["occurred"], data=data)
    return event


def facts_of(lot: asyncpg.Record) -> dict[str, Any]:
    """What every row about a lot says of it."""
    return {
        "lot": lot["code"],
        "cultivar": lot["cultivar"],
        "rootstock": lot["rootstock"],
        "method": lot["method"],
        "attempt": lot["attempt"],
        "grafted_on": lot["day"],
    }

"""What views of tree lots share: which lots a batch touched, and their histories."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any, ClassVar, Literal, get_type_hints

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


class RowsOfLots(TreeLots):
    """A view with a table of rows about each lot, worked out from its history and numbered.

    `stored`: its statements `forget` and `put`. A row has the lot's facts and what was observed,
    whose days `after` and `by` are columns `after_day` and `by_day`.
    """

    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    stored: ClassVar[Any]

    def observed(self, lot: asyncpg.Record, history: list[Told]) -> Sequence[msgspec.Struct]:
        """What is to be stored of a lot, in order."""
        raise NotImplementedError

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        rows = [
            facts_of(lot) | {"number": number} | _columns(one)
            for lot, history in await histories(conn, subjects)
            for number, one in enumerate(self.observed(lot, history), 1)
        ]
        await conn.execute(self.stored.forget, subjects)
        if rows:
            await conn.execute(self.stored.put, rows)


def _columns(observed: msgspec.Struct) -> dict[str, Any]:
    told = msgspec.structs.asdict(observed)
    return told | {"after_day": told.pop("after"), "by_day": told.pop("by")}


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

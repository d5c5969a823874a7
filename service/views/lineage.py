"""Lineage: back from a lot or bag to its source tree, forward to every tree that came of it.

The table holds one row for each step (source tree → budwood lot → bag → tree lot; liner lot →
tree lot; tree lot → tree lot). Where things are now is read from the writer's books, and so are the
steps of lots that the table has not caught up with.
"""

from collections import defaultdict
from datetime import date
from typing import Literal

import asyncpg
import msgspec

from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import past_the_wall, seeing
from service.views.applying import ByCode, Table
from service.views.positions import position

SQL = load(__package__, "lineage.sql")
RUNNER = load(__package__, "runner.sql")
NAME = "lineage"
What = Literal["source_tree", "lot", "bag"]


class Lineage(ByCode):
    """The per-subject view; subjects are lots of any kind."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("lineage"),)
    finding = SQL

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        await conn.execute(SQL.forget, subjects)
        await conn.execute(SQL.fill, subjects)


class Whereabouts(msgspec.Struct, frozen=True, kw_only=True):
    """How many are where. `state`: here, failed (scion dead, stock alive), moving (between sites,
    `place` is the consignment), sold, dead, culled, used (buds), discarded (buds)."""

    state: str
    site: str
    place: str | None
    stage: str | None
    commodity: str
    quantity: int


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One lot, bag or source tree of a trace; `parents` as `what:CODE`, `depth` steps away."""

    what: str
    code: str
    depth: int
    parents: list[str]
    kind: str | None
    cultivar: str | None
    rootstock: str | None
    day: date | None
    whereabouts: list[Whereabouts]


class Trace(msgspec.Struct, frozen=True, kw_only=True):
    """All steps from `of` (as `what:CODE`), itself first.

    Steps and whereabouts are of one moment: the log up to `position`, its newest event then.
    """

    of: str
    position: int
    steps: list[Step]


async def trace_back(pool: Pool, code: str, sites: list[str] | None) -> Trace | None:
    """What a lot or bag came of, back to its source trees.

    None when there is no such code or nothing of it was ever at the sites that may be seen. The
    codes of all ancestors are told, wherever they were; whereabouts only of the sites seen.
    """
    async with seeing(pool, sites) as conn:
        for what in ("lot", "bag"):
            if await _seen(conn, what, code, sites):
                return await _trace(conn, f"{what}:{code}", sites, back=True)
    return None


async def trace_forward(pool: Pool, what: What, code: str, sites: list[str] | None) -> Trace | None:
    """Everything that came of a source tree, bag or lot, with where it is now.

    None as for `trace_back`. Lots of which nothing was at the sites seen are left out.
    """
    async with seeing(pool, sites) as conn:
        if not await _seen(conn, what, code, sites):
            return None
        return await _trace(conn, f"{what}:{code}", sites, back=False)


async def _seen(conn: Connection, what: str, code: str, sites: list[str] | None) -> bool:
    if what == "source_tree":
        return bool(await conn.fetchval(SQL.source_tree, code))
    if what == "bag":
        bag = await conn.fetchrow(SQL.bags, [code])
        return bag is not None and await _seen(conn, "lot", bag["lot"], sites)
    lot = await conn.fetchrow(SQL.lots, [code], sites)
    return lot is not None and bool(lot["seen"])


async def _trace(conn: Connection, of: str, sites: list[str] | None, *, back: bool) -> Trace:
    # The whereabouts are of this snapshot's head; the steps are brought up to it as well.
    newest = int(await conn.fetchval(RUNNER.head))
    # What something came of is told to all who have something of it, wherever it was; a line goes
    # on through lots that nobody here sees. What is left out is left out below.
    async with past_the_wall(conn):
        found = await conn.fetch(SQL.walk, of, await position(conn, NAME), back)
        codes: dict[str, list[str]] = defaultdict(list)
        for row in found:
            what, _, code = row["token"].partition(":")
            codes[what].append(code)
        lot_of_bag = {row["code"]: row["lot"] for row in await conn.fetch(SQL.bags, codes["bag"])}
        named = [*codes["lot"], *lot_of_bag.values()]
        lots = {row["code"]: row for row in await conn.fetch(SQL.lots, named, sites)}
    where: dict[str, list[Whereabouts]] = defaultdict(list)
    for row in await conn.fetch(SQL.whereabouts, codes["lot"], codes["bag"], sites):
        where[row["token"]].append(
            Whereabouts(
                state=row["state"],
                site=row["site"],
                place=row["place"] or None,
                stage=row["stage"] or None,
                commodity=row["commodity"],
                quantity=row["quantity"],
            )
        )
    steps = []
    for row in found:
        what, _, code = row["token"].partition(":")
        lot = lots.get(lot_of_bag.get(code, "") if what == "bag" else code)
        if not back and what != "source_tree" and (lot is None or not lot["seen"]):
            continue
        steps.append(_step(row, lot if what != "source_tree" else None, where[row["token"]]))
    return Trace(of=of, position=newest, steps=steps)


def _step(row: asyncpg.Record, lot: asyncpg.Record | None, where: list[Whereabouts]) -> Step:
    what, _, code = row["token"].partition(":")
    return Step(
        what=what,
        code=code,
        depth=row["depth"],
        parents=list(row["parents"]),
        kind=lot["kind"] if lot else None,
        cultivar=lot["cultivar"] if lot else None,
        rootstock=lot["rootstock"] if lot else None,
        day=lot["day"] if lot else None,
        whereabouts=where,
    )

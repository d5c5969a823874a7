"""All that is known now, as the numerics want it: from the books and the views that the log keeps.

Whole columns at once: a nursery of many years has a million push observations, and a forecast is
made of all of them every few minutes.
"""

import sys
from collections.abc import Mapping
from datetime import date
from itertools import groupby
from typing import Any

from service.forecast.observed import stand
from service.forecast.records.site_weather import site_weather
from service.forecast.records.ways import ways as stated_ways
from service.forecast.requirements import Thresholds
from service.forecast.shapes import Growths, Known, Lots, Pushes, Standing, Takes
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.holds import SELL
from service.views import growth, push, take
from service.views.holding import blocked, places_apart

SQL = load(__package__, "known.sql")
# Rows of so many lots are read at once: what passes on the way takes more memory than what is kept.
LOTS_AT_ONCE = 20_000
VIEWS = (push.NAME, growth.NAME, take.NAME)
"""The views that it is read from: it reflects what all of them do."""


async def load_known(
    conn: Connection,
    days: Mapping[str, date],
    *,
    ways: Mapping[str, Thresholds] | None = None,
    draws: int = 200,
    seed: int = 1,
) -> Known:
    """All that is known at the moment of the connection's transaction, of every site.

    `days` is each site's today; `ways` is how degree-days are counted, by crop (None: as the
    nursery says). The connection sees every site, and is in a transaction that sees one moment
    (repeatable read): what stands and what was counted belong together. Trees on the way stand at
    the site that they go to.
    """
    ways = await stated_ways(conn) if ways is None else ways
    await conn.execute(SQL.room_to_sort)
    position = int(await conn.fetchval(SQL.position, list(VIEWS)))
    found = await _columns(conn, SQL.lots)
    ids, codes = found.pop("lot_id"), found["code"]
    takes = await _columns(conn, SQL.takes, codes)
    unread = dict(zip(takes["lot"], takes.pop("unread"), strict=True))
    return Known(
        position=position,
        sites=[await site_weather(conn, site, today, None, ways) for site, today in days.items()],
        lots=Lots(**found),
        pushes=Pushes(**await _by_lots(conn, SQL.pushes, codes)),
        growths=Growths(**await _by_lots(conn, SQL.growths, codes)),
        takes=Takes(**takes),
        standing=await _standing(conn, ids, days, unread),
        ways=dict(ways),
        draws=draws,
        seed=seed,
    )


async def _columns(conn: Connection, sql: str, *given: Any) -> dict[str, list[Any]]:
    """The columns of a statement of one row of arrays; of texts that repeat one is kept."""
    row = await conn.fetchrow(sql, *given)
    assert row is not None
    columns: dict[str, list[Any]] = {}
    for name, values in row.items():
        texts = bool(values) and isinstance(values[0], str)
        columns[name] = list(map(sys.intern, values)) if texts else values or []
    return columns


async def _by_lots(conn: Connection, sql: str, codes: list[str]) -> dict[str, list[Any]]:
    """The same of a statement that is given lots and the number of the first of them."""
    columns: dict[str, list[Any]] = {}
    for start in range(0, len(codes), LOTS_AT_ONCE):
        part = await _columns(conn, sql, codes[start : start + LOTS_AT_ONCE], start)
        for name, values in part.items():
            columns.setdefault(name, []).extend(values)
    return columns


async def _standing(
    conn: Connection, ids: list[int], days: Mapping[str, date], unread: Mapping[int, int]
) -> Standing:
    apart = await places_apart(conn)
    stops = {day: apart | await blocked(conn, day, SELL) for day in set(days.values())}
    pairs = [(site, token) for site, day in days.items() for token in stops[day]]
    sites, tokens = [site for site, _ in pairs], [token for _, token in pairs]
    found = await _columns(conn, SQL.standing, ids, sites, tokens)
    names = "lot", "site", "stage", "size", "grade", "held", "trees"
    rows = zip(*(found[name] for name in names), strict=True)
    standing = Standing()
    for lot, of_lot in groupby(rows, key=lambda row: row[0]):
        kinds = [((row[1], row[2], row[3], row[4], row[5]), row[6]) for row in of_lot]
        stand(standing, lot, kinds, unread.get(lot, 0))
    return standing

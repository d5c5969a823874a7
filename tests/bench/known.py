"""All that a forecast is made from, read from the database: a nursery of many years.

Beside it the push observations and the growth alone, read row by row as any question reads its
rows.
"""

import asyncio
import time
from collections.abc import Iterable
from datetime import date

import asyncpg

from service.forecast.known import load_known
from service.storage.pool import Database, open_database
from service.storage.walls import seeing
from tests.support.database import TestServer

LOTS, LIVE, PUSHES, GROWTHS, SITES, YEARS = 50_000, 10_000, 20, 10, 5, 10
TODAY = date(2026, 1, 1)
AIM_S, TIMES = 5, 3
FILLED = f"""
INSERT INTO catalogue
SELECT 'site', 'S' || n, 'S' || n, 1, '{{"time_zone": "UTC", "latitude": 40}}'
FROM generate_series(0, {SITES - 1}) AS n;
INSERT INTO catalogue SELECT 'cultivar', 'CV' || n, NULL, 1, '{{"crop": "citrus"}}'
FROM generate_series(0, 39) AS n;
CREATE TEMP TABLE made AS
SELECT n AS lot_id, 'T' || n AS code, 'S' || n % {SITES} AS site, 'CV' || n / 5 % 40 AS cultivar,
       DATE '{TODAY}' - (({LOTS} - n)::bigint * 365 * {YEARS} / {LOTS})::integer AS day
FROM generate_series(0, {LOTS - 1}) AS n;
INSERT INTO lots (lot_id, code, kind, site, cultivar, rootstock, method, day, parents, ancestry,
                  position, changed_position)
SELECT lot_id, code, 'tree', site, cultivar, 'CARR', 't_bud', day, ARRAY['lot:L' || lot_id / 20],
       ARRAY['lot:' || code, 'lot:L' || lot_id / 20, 'source_tree:ST' || lot_id % 50], 1, 1
FROM made;
INSERT INTO push_observations
SELECT code, n, site, 'P' || lot_id % 40, cultivar, 'CARR', 't_bud', 1, day,
       CASE n % 5 WHEN 0 THEN 'failed' ELSE 'pushed' END, NULL, day + 7 * n, day + 7 * n + 7,
       true, 3
FROM made, generate_series(1, {PUSHES}) AS n;
INSERT INTO growth
SELECT code, n, site, cultivar, 'CARR', 't_bud', 1, day,
       CASE n % 5 WHEN 0 THEN 'ready_gone' ELSE 'ready' END, NULL, day + 200 + 7 * n,
       day + 207 + 7 * n, 'P9', 'P4', 'first', 3
FROM made, generate_series(1, {GROWTHS}) AS n;
INSERT INTO take
SELECT code, site, cultivar, 'CARR', 't_bud', 1, day, 24, 0, 20, 2, 2, 0, 0, 0, 0, 0 FROM made;
INSERT INTO balances
SELECT lot_id, 4 * lot_id + n, 'trees', site, 'P' || lot_id % 40,
       (ARRAY['grafted', 'pushed', 'ready', 'failed'])[n], 'P9', '', '', 'plants',
       CASE WHEN lot_id >= {LOTS - LIVE} THEN 6 ELSE 0 END, day
FROM made, generate_series(1, 4) AS n;
INSERT INTO holds VALUES
    ('H1', 'quality', 'place', 'P1', 'S1', 'spots', DATE '{TODAY}' - 9, 1, NULL, NULL),
    ('H2', 'plant_health', 'source_tree', 'ST1', 'S1', 'test', DATE '{TODAY}' - 9, 1, NULL, NULL);
"""


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """Seconds, and the ratio to reading the most of it row by row."""
    columns, rows, counts = asyncio.run(_measure(server))
    yield (
        f"all that is known of {LIVE:,} live lots, {LOTS * PUSHES:,} pushes",
        f"{columns:.2f} s",
        f"< {AIM_S} s",
        [
            counts,
            f"pushes and growth alone, row by row: {rows:.2f} s, {rows / columns:.1f} times as "
            "long as all of it in columns",
        ],
    )


async def _measure(server: TestServer) -> tuple[float, float, str]:
    name = await server.create()
    administrator = await asyncpg.connect(server.dsn_of(name))
    try:
        await administrator.execute(FILLED)
        await administrator.execute("VACUUM ANALYZE")
        async with await open_database(server.settings_for(name)) as database:
            # The quickest of a few: whatever else the machine does comes on top.
            measured = [await _columns(database) for _ in range(TIMES)]
            rows = min([await _rows(database) for _ in range(TIMES)])
        return min(seconds for seconds, _ in measured), rows, measured[0][1]
    finally:
        await administrator.close()
        await server.drop(name)


async def _columns(database: Database) -> tuple[float, str]:
    today = {f"S{number}": TODAY for number in range(SITES)}
    async with seeing(database.reader, None) as conn:
        begin = time.perf_counter()
        known = await load_known(conn, today)
        seconds = time.perf_counter() - begin
    assert len(known.pushes.lot) == LOTS * PUSHES
    parts = known.lots.code, known.growths.lot, known.standing.lot
    lots, growths, standing = (f"{len(part):,}" for part in parts)
    return seconds, f"{lots} lots, {growths} rows of growth, {standing} that stand"


async def _rows(database: Database) -> float:
    async with seeing(database.reader, None) as conn:
        begin = time.perf_counter()
        found = 0
        for table in ("push_observations", "growth"):
            rows = await conn.fetch(f"SELECT * FROM {table} ORDER BY lot, number")
            kept = [
                tuple(row[name] for name in ("lot", "site", "outcome", "after_day", "by_day"))
                for row in rows
            ]
            found += len(kept)
        assert found == LOTS * (PUSHES + GROWTHS)
        return time.perf_counter() - begin

"""One question about a promise, over HTTP, in a nursery with many lots, items and reservations."""

import asyncio
import random
from collections.abc import Iterable
from datetime import date, timedelta

import asyncpg

from service.trade.promising import LEVELS, STEPS
from tests.bench.place import Place
from tests.bench.timing import FILLS_CACHES, figures, milliseconds
from tests.support.bench_side import entry
from tests.support.database import TestServer

LOTS, SITES, CULTIVARS, ROOTSTOCKS, CLAIMS = 10_000, 5, 40, 5, 5_000
AIM_MS = 20
# Each lot stands in two stages at a place of its site; a tenth of them is ready.
STOCK = """
INSERT INTO lots (lot_id, code, kind, site, cultivar, rootstock, method, day, parents, ancestry,
                  position, changed_position)
SELECT 1000000 + n, 'B-' || n, 'tree', 'S' || n % 5, 'CV' || n / 5 % 40, 'RS' || n / 200 % 5,
       't_bud', current_date - 200, '{}', ARRAY['lot:B-' || n], 1, 1
FROM generate_series(0, $1::integer - 1) AS n;
"""
BALANCES = """
INSERT INTO balances (lot_id, account_id, kind, site, place, stage, size, grade, ref, commodity,
                      balance, last_day)
SELECT l.lot_id, 3 * l.lot_id + number, 'trees', l.site, 'P-' || l.site, stage, 'P9',
       CASE stage WHEN 'ready' THEN 'first' ELSE '' END, '', 'plants', 40, current_date - 20
FROM lots l, unnest(ARRAY['pushed', 'ready']) WITH ORDINALITY AS s (stage, number)
WHERE stage = 'pushed' OR l.lot_id % 10 = 0;
"""
FORETOLD = """
INSERT INTO supply (cultivar, rootstock, size, grade, site, first, step_days, levels, quantities,
                    mean, trees, went_out, position, made_at)
SELECT 'CV' || c, 'RS' || r, 'P9', grade, site, current_date, 7, $1, q.quantities,
       array_fill(400.0, ARRAY[$2::integer]), 2000, 0, 1, now()
FROM generate_series(0, 39) AS c, generate_series(0, 4) AS r, unnest(ARRAY['', 'first']) AS grade,
     unnest(ARRAY['', 'S0', 'S1', 'S2', 'S3', 'S4']) AS site,
     (SELECT array_agg((100 + 6 * step - 3 * n)::bigint ORDER BY step, n) AS quantities
      FROM generate_series(0, $2::integer - 1) AS step,
           generate_series(0, cardinality($1) - 1) AS n) AS q;
"""
PROMISED = """
INSERT INTO reservations (code, customer, site, any_site, made_day, needed_by, state, position,
                          changed_position)
SELECT 'R-' || n, 'c-' || n % 100, 'S' || n % 5, n % 7 = 0, current_date,
       current_date + n % 300, 'open', 1, 1
FROM generate_series(0, $1::integer - 1) AS n;
"""
CLAIMED = """
INSERT INTO commitments (reservation, line, item, cultivar, site, asked, open, needed_by)
SELECT code, 0, concat_ws('/', cultivar, 'RS' || n / 40 % 5, 'P9', CASE n % 3 WHEN 0 THEN 'first'
       ELSE '' END), cultivar, CASE WHEN any_site THEN NULL ELSE site END, 3, 3, needed_by
FROM reservations, LATERAL (SELECT substr(code, 3)::integer AS n) AS number,
     LATERAL (SELECT 'CV' || n % 40 AS cultivar) AS named;
"""


async def fill(database_url: str) -> None:
    connection = await asyncpg.connect(database_url)
    try:
        await connection.execute(STOCK.replace("$1::integer", str(LOTS)))
        await connection.execute(BALANCES)
        await connection.execute(FORETOLD_WITH, timeout=300)
        await connection.execute(PROMISED.replace("$1::integer", str(CLAIMS)))
        await connection.execute(CLAIMED)
        await connection.execute("VACUUM ANALYZE")
    finally:
        await connection.close()


FORETOLD_WITH = FORETOLD.replace("$1", f"ARRAY{list(LEVELS)}::double precision[]").replace(
    "$2::integer", str(STEPS)
)


def catalogue_of(place: Place) -> None:
    zone = {"time_zone": "Europe/Madrid", "latitude": 40, "longitude": 1}
    for n in range(SITES):
        place.record(entry("site", f"S{n}", f"S{n}", name=f"Site {n}", **zone))
    species = {"crop": "citrus", "species": "Citrus sinensis"}
    place.record(
        *(
            entry("cultivar", f"CV{n}", "S0", epithet=f"Number {n}", **species)
            for n in range(CULTIVARS)
        ),
        *(
            entry("rootstock", f"RS{n}", "S0", crop="citrus", name=f"Stock {n}")
            for n in range(ROOTSTOCKS)
        ),
        entry("size", "P9", "S0", label="9 cm pot"),
    )


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """What was measured, the figure, its aim, and more lines."""
    with Place(server, views=False) as place:
        catalogue_of(place)
        asyncio.run(fill(place.database_url))
        draw = random.Random(1)
        lines, worst = [], 0.0
        for words, more in (
            ("at a site", "&site=S1"),
            ("at a site, of a grade, how soon 150", "&site=S1&grade=first&quantity=150"),
            ("at each of five sites and all together", "&quantity=150"),
        ):
            addresses = []
            for _ in range(100):
                day = date.today() + timedelta(days=draw.randrange(1, 400))
                item = f"cultivar=CV{draw.randrange(40)}&rootstock=RS{draw.randrange(5)}&size=P9"
                addresses.append(f"promises?{item}&date={day}{more}")
            before = place.processor_seconds()
            median, high = figures(milliseconds(place, addresses))
            used = 1000 * (place.processor_seconds() - before) / (len(addresses) + FILLS_CACHES)
            worst = max(worst, median) if "&site" in more else worst
            lines.append(
                f"{words}: p50 {median:.1f} ms, p99 {high:.1f} ms; processor of serve {used:.1f} ms"
            )
        median, _ = figures(milliseconds(place, ["reservations?limit=1"] * 100))
        lines.append(f"beside it one reservation read: p50 {median:.1f} ms")
    yield (
        f"a promise asked, {LOTS:,} lots, {CLAIMS:,} claims, at a site, slower p50",
        f"{worst:.1f} ms",
        f"< {AIM_MS} ms",
        lines,
    )

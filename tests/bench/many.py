"""A log of a million events: one real family of lots, recorded by the real writer, many times over.

A family is a cutting, a tray of liners and four lots grafted from them, with all that happens to
them until they are sold or still stand. Its copies differ in codes, places and days; each row is
what the writer wrote, so views find in it what they would find in life.
"""

import asyncio
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import asyncpg

from service.log.append import Appender
from service.settings import Settings
from service.storage.pool import open_database
from tests.support.bench_side import BenchSide, entry, event

PLACES = 60
FIRST = date(2024, 1, 8)
COPY = """
CREATE FUNCTION pg_temp.renamed(said text, k integer) RETURNS text LANGUAGE sql AS $$
    SELECT replace(replace(said, 'F0-', 'F' || k || '-'), 'PL0', 'PL' || k % {places})
$$;
CREATE TEMP TABLE copies AS
SELECT k, (k * 7) % 700 AS days FROM generate_series(1, {copies}) AS k;

INSERT INTO catalogue (kind, code, site, position, body)
SELECT kind, 'PL' || n, site, position, jsonb_set(body, '{{code}}', to_jsonb('PL' || n))
FROM catalogue, generate_series(1, {places} - 1) AS n WHERE kind = 'place' AND code = 'PL0';

INSERT INTO events
SELECT position + k * {events}, gen_random_uuid(), type, version, site, sites,
       (occurred::date + days)::text, occurred_at + days * interval '1 day', occurred_day + days,
       recorded_at, recorded_by, actor, happened, replaces, unit, digest, remarks,
       pg_temp.renamed(data::text, k)::jsonb
FROM copies, events WHERE position > {before} ORDER BY k, position;

INSERT INTO voids SELECT voided_position + k * {events}, by_position + k * {events}
FROM copies, voids ORDER BY k;

INSERT INTO subjects
SELECT kind, pg_temp.renamed(code, k), occurred_at + days * interval '1 day',
       position + k * {events}
FROM copies, subjects WHERE position > {before} ORDER BY k, position;

INSERT INTO lots (lot_id, code, kind, site, cultivar, rootstock, source, method, day, attempt,
                  basis, parents, ancestry, position, changed_position)
SELECT lot_id + k * {lots}, pg_temp.renamed(code, k), kind, site, cultivar, rootstock, source,
       method, day + days, attempt, basis, pg_temp.renamed(parents::text, k)::text[],
       pg_temp.renamed(ancestry::text, k)::text[], position + k * {events},
       changed_position + k * {events}
FROM copies, lots ORDER BY k, lot_id;

INSERT INTO bags (code, lot_id, buds, sticks, basis, position)
SELECT pg_temp.renamed(code, k), lot_id + k * {lots}, buds, sticks, basis, position + k * {events}
FROM copies, bags ORDER BY k;

INSERT INTO balances
SELECT lot_id + k * {lots}, account_id + k * {accounts}, kind, site, pg_temp.renamed(place, k),
       stage, size, grade, pg_temp.renamed(ref, k), commodity, balance, last_day + days
FROM copies, balances ORDER BY k, account_id;

INSERT INTO legs
SELECT lot_id + k * {lots}, account_id + k * {accounts}, occurred_day + days,
       occurred_at + days * interval '1 day', position + k * {events}, site, delta, anchor
FROM copies, legs WHERE position > {before} ORDER BY k, position;

UPDATE log_head SET position = position + {copies} * {events}
"""


def fill(database_url: str, events: int) -> int:
    """Fill a migrated, empty database with about so many events; returns how many there are."""
    return asyncio.run(_fill(database_url, events))


async def _fill(database_url: str, wanted: int) -> int:
    settings = Settings(
        data_dir=Path("/nonexistent"), database_url=database_url, writer_pool=2, reader_pool=1
    )
    async with await open_database(settings) as database:
        appender = Appender(database, clock=lambda: datetime(2026, 6, 1, tzinfo=UTC))
        await appender.start()
        bench = BenchSide(appender, database)
        before = await _catalogue(bench)
        await _family(bench)
        await appender.stop()
    connection = await asyncpg.connect(database_url)
    try:
        head, lots, accounts = await connection.fetchrow(
            "SELECT position, (SELECT max(lot_id) FROM lots), "
            "(SELECT max(account_id) FROM balances) FROM log_head"
        )
        copies = max((wanted - head) // (head - before), 1)
        script = COPY.format(
            places=PLACES,
            copies=copies,
            events=head - before,
            before=before,
            lots=lots,
            accounts=accounts,
        )
        await connection.execute(script)
        await connection.execute("VACUUM ANALYZE")
        count: int = await connection.fetchval("SELECT position FROM log_head")
    finally:
        await connection.close()
    return count


async def _catalogue(bench: BenchSide) -> int:
    zone = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 40, "longitude": 1}
    await bench.given(entry("site", "CORIN", **zone))
    verdicts = await bench.given(
        entry("place", "PL0", site="CORIN", structure="House 1"),
        entry("place", "BOX", site="CORIN", structure="Store"),
        entry("cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navelina"),
        entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
        entry("size", "P9", label="9 cm pot"),
        entry("source_tree", "ST-1", cultivar="NAVEL", expires_on="2030-01-01"),
    )
    return verdicts[-1].position or 0


def _day(number: int) -> str:
    return (FIRST + timedelta(days=number)).isoformat()


async def _family(bench: BenchSide) -> None:
    bags = [{"bag": f"F0-B{n}", "buds": 80, "sticks": 8, "place": "BOX"} for n in (1, 2)]
    await bench.given(
        event(
            "budwood.cut",
            _day(0),
            lot="F0-W",
            cultivar="NAVEL",
            source_tree="ST-1",
            bags=bags,
        ),
        event(
            "liners.received",
            _day(0),
            lot="F0-L",
            rootstock="CARRIZO",
            size="P9",
            supplier="sup-1",
            lines=[{"place": "PL0", "count": 130}],
        ),
        event("liners.discarded", _day(1), lot="F0-L", count=2, cause="dead_stock"),
    )
    for number in range(4):
        await _lot(bench, f"F0-T{number}", number)
    await bench.given(
        event("budwood.discarded", _day(40), lines=[{"bag": "F0-B2", "buds": 5}], cause="dried")
    )


async def _lot(bench: BenchSide, lot: str, number: int) -> None:
    """Thirty trees from graft to sale; the later lots of a family are not as far."""
    here = {"lot": lot, "place": "PL0"}
    standing = here | {"size": "P9"}
    people = [{"person": f"p-0{n}", "count": 30 // (1 + number % 2)} for n in range(1 + number % 2)]
    start = 2 + number
    await bench.given(
        event(
            "trees.grafted",
            _day(start),
            lot=lot,
            from_=[{"bag": f"F0-B{1 + number % 2}"}],
            onto={"liner_lot": "F0-L"},
            method="t_bud",
            place="PL0",
            grafters=people,
        ),
        event("grafts.wrapped", _day(start), **here, material="stretch film"),
        event(
            "trees.lost", _day(start + 6), **standing, stage="grafted", count=1, cause="breakage"
        ),
        event("grafts.unwrapped", _day(start + 15), **here, alive=27, failed=2),
        event("tops.forced", _day(start + 16), **here, technique="bent"),
    )
    walks: list[Any] = []
    for week in range(1, 9):
        pushed = min(4 * week, 24)
        counts = {"pushed": pushed, "waiting": 27 - pushed - week // 4, "failed": 2 + week // 4}
        walks.append(event("push.counted", _day(start + 16 + 7 * week), **standing, **counts))
        walks.append(event("work.done", _day(start + 17 + 7 * week), **here, work="desuckered"))
    told = await bench.given(*walks)
    await bench.given(
        event("event.voided", _day(start + 80), event=told[-1].id, reason="another table"),
        event("tops.removed", _day(start + 81), **here),
    )
    if number == 3:
        return
    graded = [{"count": 14, "stage": "ready", "grade": "first"}, {"count": 6, "stage": "ready"}]
    await bench.given(
        event("trees.graded", _day(start + 200), **standing, stage="pushed", outcomes=graded),
        event(
            "trees.lost", _day(start + 201), **standing, stage="failed", count=3, cause="dead_scion"
        ),
    )
    if number == 2:
        return
    for count, grade in ((14, "first"), (6, None)):
        line = standing | {"stage": "ready", "count": count} | ({"grade": grade} if grade else {})
        await bench.given(event("trees.sold", _day(start + 220), customer="cust-1", lines=[line]))
    rest = {"stage": "pushed", "count": 4, "cause": "culled"}
    await bench.given(event("trees.lost", _day(start + 230), **standing, **rest))

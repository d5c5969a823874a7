"""Questions on both clocks at a million events: as of a month ago, as known a month ago.

The log of `many` is told there a family at a time. Here it is put in the order of a nursery's life:
each event was recorded on its day, one count or work in twenty up to eleven days late; what is
left of old lots goes.
"""

import asyncio
import os
import time
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import asyncpg

from tests.bench.many import fill
from tests.bench.place import Place
from tests.bench.rebuild import rebuild
from tests.bench.timing import figures, milliseconds
from tests.support.database import TestServer

EVENTS = int(os.environ.get("GRAFTLOG_BENCH_EVENTS", "1000000"))
FEW = 10_000
# What is filled in: some is cut off again, some is added.
MORE = 1.05
TIMES = 30
AIM_MS = 200
# Families begin one after the other over 700 days: here over five years, so that a year has 200,000
# events.
STRETCHED = """
CREATE TEMP TABLE family AS
SELECT f.position AS first, n.position - f.position AS events
FROM lots f, lots n WHERE f.code = 'F0-W' AND n.code = 'F1-W';
CREATE FUNCTION pg_temp.more(at bigint) RETURNS int LANGUAGE sql STABLE AS $$
    SELECT (((at - first) / events * 7) % 700)::int * 16 / 10 FROM family $$;
UPDATE events SET occurred_day = occurred_day + pg_temp.more(position),
    occurred_at = occurred_at + pg_temp.more(position) * interval '1 day'
WHERE position >= (SELECT first FROM family);
UPDATE legs SET occurred_day = occurred_day + pg_temp.more(position),
    occurred_at = occurred_at + pg_temp.more(position) * interval '1 day';
UPDATE subjects SET occurred_at = occurred_at + pg_temp.more(position) * interval '1 day'
WHERE position >= (SELECT first FROM family);
UPDATE balances SET last_day = last_day + pg_temp.more(l.position)
FROM lots l WHERE l.lot_id = balances.lot_id;
UPDATE lots SET day = day + pg_temp.more(position);
"""
# Wood is thrown away after 90 days, what is left of trees is sold after 300, of liners after 330.
CLEARED = """
CREATE TEMP TABLE cleared AS
SELECT l.lot_id, l.code, l.kind, dense_rank() OVER (ORDER BY l.lot_id) AS number,
       l.day + CASE l.kind WHEN 'budwood' THEN 90 WHEN 'tree' THEN 300 ELSE 330 END AS day,
       b.account_id, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity, b.balance
FROM lots l JOIN balances b USING (lot_id)
WHERE b.balance > 0 AND b.kind IN ('bag', 'liners', 'trees')
  AND l.day + 330 < (SELECT max(last_day) FROM balances);
CREATE TEMP TABLE head AS SELECT position, next_account_id FROM log_head;
UPDATE head SET next_account_id = (SELECT max(account_id) + 1 FROM balances);

INSERT INTO events
SELECT head.position + number, gen_random_uuid(),
       CASE c.kind WHEN 'tree' THEN 'trees.sold' WHEN 'budwood' THEN 'budwood.discarded'
                   ELSE 'liners.discarded' END,
       1, min(site), ARRAY[min(site)], day::text, day + time '11:00', day, now(), 'bench', NULL,
       false, NULL, gen_random_uuid(), '', '[]',
       CASE c.kind
           WHEN 'tree' THEN jsonb_build_object('customer', 'cust-2', 'lines', jsonb_agg(
               jsonb_build_object('lot', code, 'place', place, 'stage', stage, 'size', size,
                                  'grade', nullif(grade, ''), 'count', balance)))
           WHEN 'budwood' THEN jsonb_build_object('cause', 'dried', 'lines', jsonb_agg(
               jsonb_build_object('bag', ref, 'lot', code, 'place', place, 'buds', balance)))
           ELSE jsonb_build_object('lot', code, 'place', min(place), 'size', min(size),
                                   'count', sum(balance), 'cause', 'drought') END
FROM cleared c, head GROUP BY head.position, number, c.kind, code, day;
INSERT INTO subjects
SELECT DISTINCT 'lot', code, day + time '11:00', head.position + number FROM cleared, head;
INSERT INTO legs
SELECT lot_id, account_id, day, day + time '11:00', head.position + number, site, -balance, NULL
FROM cleared, head;
UPDATE balances b SET balance = 0, last_day = c.day FROM cleared c
WHERE c.lot_id = b.lot_id AND c.account_id = b.account_id;
CREATE TEMP TABLE gone AS
SELECT lot_id, min(site) AS site, commodity, sum(balance) AS count, day, number,
       CASE kind WHEN 'tree' THEN 'customer' WHEN 'budwood' THEN 'discarded'
                 ELSE 'lost' END AS kind,
       CASE kind WHEN 'tree' THEN 'cust-2' WHEN 'budwood' THEN 'dead' ELSE 'drought' END AS ref
FROM cleared GROUP BY lot_id, commodity, day, number, kind;
INSERT INTO balances
SELECT lot_id, next_account_id + number, kind, site, '', '', '', '', ref, commodity, count, day
FROM gone, head;
INSERT INTO legs
SELECT lot_id, next_account_id + number, day, day + time '11:00', position + number, site, count
FROM gone, head;
UPDATE lots l SET changed_position = position_now FROM (
    SELECT lot_id, head.position + number AS position_now FROM gone, head) AS g
WHERE g.lot_id = l.lot_id;
ANALYZE events, lots, balances, legs;
"""
# What lies after the last family's beginning is cut off, or the last month would be an empty one.
CUT = """
CREATE TEMP TABLE later AS
SELECT position FROM events, (SELECT min(occurred_day) + 1820 AS day FROM events
                              WHERE type = 'budwood.cut') AS last
WHERE occurred_day > last.day;
CREATE UNIQUE INDEX ON later (position);
ANALYZE later;
UPDATE balances b SET balance = balance - g.sum FROM (
    SELECT lot_id, account_id, sum(delta) FROM legs JOIN later USING (position) GROUP BY 1, 2) AS g
WHERE b.lot_id = g.lot_id AND b.account_id = g.account_id;
DELETE FROM legs USING later WHERE later.position = legs.position;
DELETE FROM subjects USING later WHERE later.position = subjects.position;
DELETE FROM voids USING later WHERE later.position = by_position;
DELETE FROM voids USING later WHERE later.position = voided_position;
DELETE FROM events USING later WHERE later.position = events.position;
DELETE FROM balances b WHERE NOT EXISTS (
    SELECT FROM legs g WHERE g.lot_id = b.lot_id AND g.account_id = b.account_id);
DELETE FROM lots WHERE position IN (SELECT position FROM later);
DELETE FROM bags WHERE position IN (SELECT position FROM later);
UPDATE balances b SET last_day = g.day FROM (
    SELECT lot_id, account_id, max(occurred_day) AS day FROM legs GROUP BY 1, 2) AS g
WHERE b.lot_id = g.lot_id AND b.account_id = g.account_id AND last_day <> g.day;
UPDATE lots l SET changed_position = s.position FROM (
    SELECT code, max(position) AS position FROM subjects WHERE kind = 'lot' GROUP BY 1) AS s
WHERE s.code = l.code AND changed_position <> s.position;
"""
IN_ORDER = """
CREATE TEMP TABLE shift AS SELECT current_date - 1 - max(occurred_day) AS days FROM events;

CREATE TEMP TABLE placed AS
SELECT position AS old, row_number() OVER (ORDER BY told NULLS FIRST, position) AS position,
       coalesce(told, min(told) OVER ()) AS told
FROM (
    SELECT e.position, CASE
        WHEN e.position < f.position THEN NULL
        WHEN e.position % 20 = 7 AND e.type IN ('push.counted', 'work.done', 'tops.forced')
             AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)
        THEN occurred_day + 1 + (e.position % 11)::int
        ELSE occurred_day END + days AS told
    FROM events e, lots f, shift
    WHERE f.code = 'F0-W'
) AS said;
CREATE UNIQUE INDEX ON placed (old) INCLUDE (position);
ANALYZE placed;

CREATE TEMP TABLE kept AS SELECT * FROM events;
TRUNCATE events;
INSERT INTO events
SELECT p.position, id, type, version, site, sites, (occurred_day + days)::text,
       occurred_at + days * interval '1 day', occurred_day + days, told + interval '18 hours',
       recorded_by, actor, happened, replaces, unit, digest, remarks, data
FROM kept k JOIN placed p ON p.old = k.position, shift ORDER BY 1;
DROP TABLE kept;

CREATE TEMP TABLE kept AS SELECT * FROM subjects;
TRUNCATE subjects;
INSERT INTO subjects
SELECT kind, code, occurred_at + days * interval '1 day', p.position
FROM kept k JOIN placed p ON p.old = k.position, shift ORDER BY 4;
DROP TABLE kept;

CREATE TEMP TABLE kept AS SELECT * FROM legs;
TRUNCATE legs;
INSERT INTO legs
SELECT lot_id, account_id, occurred_day + days, occurred_at + days * interval '1 day', p.position,
       site, delta, a.position
FROM kept k JOIN placed p ON p.old = k.position LEFT JOIN placed a ON a.old = k.anchor, shift
ORDER BY 5;
DROP TABLE kept;

CREATE TEMP TABLE kept AS SELECT * FROM voids;
TRUNCATE voids;
INSERT INTO voids SELECT v.position, b.position
FROM kept k JOIN placed v ON v.old = voided_position JOIN placed b ON b.old = by_position;
DROP TABLE kept;

TRUNCATE anchors;
UPDATE lots SET position = p.position, changed_position = c.position, day = day + days
FROM placed p, placed c, shift WHERE p.old = lots.position AND c.old = lots.changed_position;
UPDATE bags SET position = p.position FROM placed p WHERE p.old = bags.position;
UPDATE catalogue SET position = p.position FROM placed p WHERE p.old = catalogue.position;
UPDATE balances SET last_day = last_day + days FROM shift;
UPDATE log_head SET (position, recorded_at) = (SELECT max(position), max(recorded_at) FROM events);
"""
RESOURCES = {
    "stock": "stock?group_by=site,stage,size",
    "stock by lot": "stock?group_by=lot&kind=trees&place=PL7",
    "budwood": "budwood?limit=100",
    "checks": "checks?limit=100",
    "checks overdue at a place": "checks?limit=100&place=PL7&state=overdue",
    "lots": "tree-lots?limit=100",
    "lots on hand": "tree-lots?limit=100&on_hand=true",
    "one lot": "tree-lots/F3-T3",
}


async def put_in_order(database_url: str) -> tuple[date, int, int]:
    """The day a month before the last one, the newest position known at its end, and the head."""
    connection = await asyncpg.connect(database_url)
    try:
        await connection.execute("SET session_replication_role = replica")
        await connection.execute(STRETCHED)
        await connection.execute(CLEARED)
        await connection.execute(CUT)
        await connection.execute(IN_ORDER)
        await connection.execute("VACUUM ANALYZE")
        day = date.today() - timedelta(days=31)
        known = await connection.fetchval(
            "SELECT max(position) FROM events WHERE recorded_at < $1::date + 1", day
        )
        head = await connection.fetchval("SELECT position FROM log_head")
    finally:
        await connection.close()
    return day, known, head


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """For each resource: what was measured, the figure, its aim, and more lines."""
    now: dict[str, dict[int, float]] = {"stock": {}, "stock by lot": {}}
    for events in (FEW, EVENTS):
        with Place(server, views=False) as place:
            begin = time.perf_counter()
            fill(place.database_url, int(events * MORE))
            day, known, there = asyncio.run(put_in_order(place.database_url))
            for view in ("check_spells", "stock_by_day"):
                rebuild(place.database_url, view)
            took = time.perf_counter() - begin
            print(f"    [{there:,} events were there after {took:.0f} s; known then: {known:,}]")
            for name, found in now.items():
                found[events] = figures(milliseconds(place, [RESOURCES[name]] * TIMES))[1]
            if events == EVENTS:
                yield from _old_questions(place, there, day, known)
    for name, found in now.items():
        yield (
            f"{RESOURCES[name]} now, p99 at {EVENTS:,} over {FEW:,} events",
            f"{found[EVENTS] / found[FEW]:.2f}",
            "<= 1.25",
            [f"{count:,} events: p99 {ms:.1f} ms" for count, ms in found.items()],
        )


def _old_questions(
    place: Place, there: int, day: date, known: int
) -> Iterable[tuple[str, str, str, list[str]]]:
    clocks: dict[str, dict[str, Any]] = {
        "as of a month ago": {"as_of": day},
        "as known then": {"known_at": known},
        "both": {"as_of": day, "known_at": known},
    }
    for name, address in RESOURCES.items():
        lines, worst = [], 0.0
        for words, asked in clocks.items():
            more = "&".join(f"{clock}={value}" for clock, value in asked.items())
            whole = f"{address}{'&' if '?' in address else '?'}{more}"
            median, high = figures(milliseconds(place, [whole] * TIMES))
            worst = max(worst, high)
            lines.append(f"{words}: p50 {median:.0f} ms, p99 {high:.0f} ms")
        yield (
            f"{name} a month ago at {there:,} events, slowest p99",
            f"{worst:.0f} ms",
            f"< {AIM_MS} ms",
            lines,
        )

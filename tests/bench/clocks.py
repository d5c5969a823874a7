"""Questions on both clocks at a million events: as of a month ago, as known a month ago.

The log of `many` is told there a family at a time. Here it is put in the order of a nursery's life:
each event was recorded on its day, one in twenty up to ten days late.
"""

import asyncio
import os
import statistics
import time
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import asyncpg

from tests.bench.many import fill
from tests.bench.place import Place
from tests.support.database import TestServer

EVENTS = int(os.environ.get("GRAFTLOG_BENCH_EVENTS", "1000000"))
FEW = 10_000
TIMES = 40
AIM_MS = 200
IN_ORDER = """
SET session_replication_role = replica;
CREATE TEMP TABLE family AS
SELECT f.position AS first, n.position - f.position AS events
FROM lots f, lots n WHERE f.code = 'F0-W' AND n.code = 'F1-W';
CREATE TEMP TABLE shift AS SELECT current_date - 1 - max(occurred_day) AS days FROM events;

CREATE TEMP TABLE placed AS
SELECT position AS old, row_number() OVER (ORDER BY told NULLS FIRST, position) AS position,
       coalesce(told, min(told) OVER ()) AS told
FROM (
    SELECT position, CASE WHEN position >= first THEN max(
        occurred_day + CASE WHEN position % 20 = 7 THEN (position % 11)::int ELSE 0 END
    ) OVER (PARTITION BY (position - first) / events ORDER BY position) END + days AS told
    FROM events, family, shift
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
UPDATE log_head SET recorded_at = (SELECT max(recorded_at) FROM events);
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
    "ready dates": "ready-dates?limit=100",
    "ready dates of a site": "ready-dates?limit=100&site=CORIN&size=P9",
}


async def _put_in_order(database_url: str) -> tuple[date, int]:
    """The day a month before the last one, and the newest position known at its end."""
    connection = await asyncpg.connect(database_url)
    try:
        await connection.execute(IN_ORDER)
        await connection.execute("VACUUM ANALYZE")
        day = date.today() - timedelta(days=31)
        known = await connection.fetchval(
            "SELECT max(position) FROM events WHERE recorded_at < $1::date + 1", day
        )
    finally:
        await connection.close()
    return day, known


def _took(place: Place, address: str) -> list[float]:
    """Milliseconds of each answer, the first ones that fill caches left out."""
    times = []
    for number in range(TIMES + 2):
        begin = time.perf_counter()
        answer = place.client.get(f"/v1/{address}")
        took = 1000 * (time.perf_counter() - begin)
        assert answer.status_code == 200, answer.text
        if number > 1:
            times.append(took)
    return times


def _figures(times: list[float]) -> tuple[float, float]:
    return statistics.median(times), statistics.quantiles(times, n=100)[98]


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """For each resource: what was measured, the figure, its aim, and more lines."""
    now: dict[int, float] = {}
    for events in (FEW, EVENTS):
        with Place(server, views=False) as place:
            begin = time.perf_counter()
            there = fill(place.database_url, events)
            day, known = asyncio.run(_put_in_order(place.database_url))
            took = time.perf_counter() - begin
            print(f"    [{there:,} events were there after {took:.0f} s; known then: {known:,}]")
            now[events] = _figures(_took(place, RESOURCES["stock"]))[1]
            if events == EVENTS:
                yield from _old_questions(place, there, day, known)
    yield (
        f"stock now, p99 at {EVENTS:,} events over that at {FEW:,}",
        f"{now[EVENTS] / now[FEW]:.2f}",
        "<= 1.25",
        [f"{count:,} events: p99 {ms:.1f} ms" for count, ms in now.items()],
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
            figures = _figures(_took(place, f"{address}{'&' if '?' in address else '?'}{more}"))
            worst = max(worst, figures[1])
            lines.append(f"{words}: p50 {figures[0]:.0f} ms, p99 {figures[1]:.0f} ms")
        yield (
            f"{name} a month ago at {there:,} events, slowest p99",
            f"{worst:.0f} ms",
            f"< {AIM_MS} ms",
            lines,
        )

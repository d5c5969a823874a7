"""`make bench`: what the service can do here, as ratios measured in one run.

`python -m tests.bench` runs every section, `python -m tests.bench single late` those named. Each
prints a ratio (or a time) beside its aim, and the figures it comes from. Absolute figures depend
on the machine; the client and the database share it with the service.
"""

import asyncio
import statistics
import sys
import time
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from typing import Any

import asyncpg
import msgspec

from service.storage.pool import register_json
from tests.bench import (
    ahead,
    availability,
    bulk,
    calendar,
    clocks,
    digest,
    known,
    pages,
    promises,
    rebuild,
    records,
    refit,
    reservations,
    stream,
    webhooks,
)
from tests.bench.client import Result, Task
from tests.bench.place import LOTS, Place, ask, durable_server, empty_handler
from tests.support.bench_side import event
from tests.support.database import TestServer

SECTIONS: dict[str, Callable[[TestServer], None]] = {}
BATCH = 500


def section(run: Callable[[TestServer], None]) -> Callable[[TestServer], None]:
    SECTIONS[run.__name__.removeprefix("measure_")] = run
    return run


def say(what: str, figure: str, aim: str, rest: Iterable[str]) -> None:
    print(f"{what:<58} {figure:>12}   (aim {aim})")
    for line in rest:
        print(f"    {line}")
    sys.stdout.flush()


def rate(name: str, result: Result) -> str:
    return (
        f"{name}: {result.rate:,.0f} events/s, {result.requests / result.seconds:,.0f} requests/s, "
        f"p50 {result.p50_ms:.1f} ms, p99 {result.p99_ms:.1f} ms"
    )


@section
def measure_single(server: TestServer) -> None:
    """Single events from 64 clients, beside a handler that does nothing."""
    with empty_handler() as port, Place(server, views=False) as place:
        place.stocked()
        nothing = [ask(Task(port=port, path="/empty", seconds=2.5)) for _ in range(1)]
        events = [place.ask(path="/v1/events", seconds=4)]
        nothing.append(ask(Task(port=port, path="/empty", seconds=2.5)))
        base = statistics.mean(result.rate for result in nothing)
        share = events[0].rate / base
        lines = [rate("graftlog", events[0]), f"empty handler: {base:,.0f} requests/s"]
        lines.append(f"memory of serve: {place.memory()['VmHWM']:.0f} MiB at most")
        say(
            "single appends, 64 clients, of an empty handler's rate",
            f"{share:.2f}",
            ">= 0.4",
            lines,
        )


EVENT_COLUMNS = (
    "position, id, type, version, site, sites, occurred, occurred_at, occurred_day, recorded_at, "
    "recorded_by, actor, happened, replaces, unit, digest, remarks, data"
)

LEG_COLUMNS = "position, lot_id, account_id, occurred_day, occurred_at, site, delta, anchor"


@section
def measure_batch(server: TestServer) -> None:
    """Batches of 500 beside plain COPY of the very rows that were written for them."""
    with Place(server, views=False) as place:
        place.stocked()
        start = place.client.get("/v1/events?limit=1").headers.get("Graftlog-Position", "0")
        result = place.ask(path="/v1/events", connections=4, size=BATCH, seconds=5, warm_up=1)
        raw = asyncio.run(_copy_rates(place.database_url, int(start)))
    both, alone, rows = raw
    share = result.rate / both
    say(
        "batches of 500, of the raw COPY rate of the same rows",
        f"{share:.2f}",
        ">= 0.5",
        [
            rate("graftlog", result),
            f"COPY of events, subjects and legs: {both:,.0f} events/s ({rows:.1f} rows an event)",
            f"COPY of events alone: {alone:,.0f} events/s; share {result.rate / alone:.2f}",
        ],
    )


async def _copy_rates(database_url: str, start: int) -> tuple[float, float, float]:
    """Events a second by COPY of all rows, of events alone, and rows an event."""
    connection = await asyncpg.connect(database_url)
    await register_json(connection)
    events = await _rows(
        connection,
        f"SELECT {EVENT_COLUMNS} FROM events WHERE position > 10 ORDER BY position LIMIT 20000",
    )
    first, last = events[0][0], events[-1][0]
    between = f"WHERE position BETWEEN {first} AND {last} ORDER BY position"
    tables = {
        "events": events,
        "subjects": await _rows(
            connection, f"SELECT position, kind, code, occurred_at FROM subjects {between}"
        ),
        "legs": await _rows(
            connection,
            f"SELECT {LEG_COLUMNS} FROM legs {between}",
        ),
    }
    names = {
        "events": EVENT_COLUMNS.split(", "),
        "subjects": ["position", "kind", "code", "occurred_at"],
        "legs": LEG_COLUMNS.split(", "),
    }
    rates = []
    for which in (list(tables), ["events"]):
        for name in which:
            await connection.execute(f"DROP TABLE IF EXISTS raw_{name}")
            await connection.execute(f"CREATE TABLE raw_{name} (LIKE {name} INCLUDING ALL)")
        parts = {name: _parts(tables[name], first) for name in which}
        count = len(events) // BATCH
        begin = time.perf_counter()
        for number in range(count):
            async with connection.transaction():
                for name in which:
                    await connection.copy_records_to_table(
                        f"raw_{name}", records=parts[name].get(number, []), columns=names[name]
                    )
        rates.append(count * BATCH / (time.perf_counter() - begin))
    await connection.close()
    rows = sum(len(table) for table in tables.values()) / len(events)
    return rates[0], rates[1], rows


async def _rows(connection: Any, sql: str) -> list[tuple[Any, ...]]:
    """Rows ready for COPY: JSON is encoded beforehand, which is not what is measured."""
    return [
        tuple(
            msgspec.Raw(msgspec.json.encode(value)) if isinstance(value, dict) else value
            for value in row.values()
        )
        for row in await connection.fetch(sql)
    ]


def _parts(rows: list[tuple[Any, ...]], first: int) -> dict[int, list[tuple[Any, ...]]]:
    parts: dict[int, list[tuple[Any, ...]]] = {}
    for row in rows:
        parts.setdefault((row[0] - first) // BATCH, []).append(row)
    return parts


@section
def measure_bulk(server: TestServer) -> None:
    """A hundred thousand events as lines of one request, beside batches."""
    for what, figure, aim, rest in bulk.measure(server):
        say(what, figure, aim, rest)


@section
def measure_late(server: TestServer) -> None:
    """Every tenth event a month late, beside the same events in order."""
    with Place(server, views=False) as place:
        place.stocked()
        first = date(2025, 5, 1)
        for number in range(45):
            day = str(first + timedelta(days=number))
            place.record(*(_moved(f"LOT-{n}", day) for n in range(LOTS)))
        common: dict[str, Any] = {
            "path": "/v1/events",
            "connections": 8,
            "size": 50,
            "seconds": 1.5,
            "warm_up": 0.3,
        }
        orderly, late = [], []
        for _ in range(2):
            orderly.append(place.ask(**common))
            late.append(place.ask(**common, late_every=10))
    in_order = statistics.mean(result.rate for result in orderly)
    tardy = statistics.mean(result.rate for result in late)
    say(
        "every tenth event a month late, of the in-order rate",
        f"{tardy / in_order:.2f}",
        ">= 0.7",
        [f"in order {in_order:,.0f}, with late ones {tardy:,.0f} events/s, in batches of 50"],
    )


def _moved(lot: str, day: str) -> Any:
    where = {"lot": lot, "place": "TB1", "stage": "grafted", "size": "P9"}
    return event("trees.moved", day, **where, count=1, to="TB2")


@section
def measure_visible(server: TestServer) -> None:
    """From the append's being sent to the checks view's answer that reflects it."""
    took, answered = [], []
    with Place(server, views=True) as place:
        place.stocked(20)
        end = time.perf_counter() + 6
        number = 0
        while time.perf_counter() < end or number < 50:
            number += 1
            begin = time.perf_counter()
            answer = place.client.post(
                "/v1/events", json=_moved(f"LOT-{number % 20}", "2025-06-15")
            )
            position = answer.headers["Graftlog-Position"]
            middle = time.perf_counter()
            seen = place.client.get(
                f"/v1/checks?limit=1&min_position={position}", headers={"Prefer": "wait=10"}
            )
            took.append(1000 * (time.perf_counter() - begin))
            answered.append(1000 * (middle - begin))
            assert seen.status_code == 200, seen.text
            reflected = int(seen.json()["position"])
            assert reflected >= int(position), (reflected, position)
    took = took[10:]
    figures = [statistics.median(took), statistics.quantiles(took, n=100)[98]]
    say(
        "append to visible in the checks view, p50 / p99",
        f"{figures[0]:.0f} / {figures[1]:.0f} ms",
        "< 50 / 200 ms",
        [
            f"{len(took)} appends one after the other; the append alone took "
            f"{statistics.median(answered):.1f} ms (p50)"
        ],
    )


LOAD = """
INSERT INTO lots (lot_id, code, kind, site, cultivar, rootstock, day, parents, ancestry, position,
                  changed_position)
SELECT n, 'LOT-' || n, 'tree', 'CORIN', 'CV' || n % 12, 'RS' || n % 3, '2023-01-01', '{}',
       '{}', 1, 1
FROM generate_series(1, 4000) AS n;
INSERT INTO balances (lot_id, account_id, kind, site, place, stage, size, grade, ref, commodity,
                      balance, last_day)
SELECT 1 + a % 4000, a + 1, CASE WHEN a / 4000 < 6 THEN 'trees' ELSE 'source' END,
       CASE WHEN a % 4000 % 3 = 0 THEN 'TARNA' ELSE 'CORIN' END, 'TB' || a % 4000 % 40,
       CASE WHEN a / 4000 < 6 THEN (ARRAY['grafted', 'pushed', 'ready'])[1 + a / 4000 % 3]
            ELSE '' END,
       CASE WHEN a / 4000 < 3 THEN 'P9' WHEN a / 4000 < 6 THEN 'L2' ELSE '' END, '', '',
       'plants', 0, '2025-12-31'
FROM generate_series(0, 27999) AS a;
INSERT INTO legs (lot_id, account_id, occurred_day, occurred_at, position, site, delta)
SELECT 1 + a % 4000, a + 1, day, day + interval '11 hours', position, 'CORIN', delta
FROM (SELECT p AS position, date '2023-01-01' + (p * 1095 / 500000)::int AS day,
             CASE side WHEN 0 THEN (p * 7 % 24000)::int ELSE (24000 + p * 7 % 4000)::int END AS a,
             CASE side WHEN 0 THEN 1 + p % 3 ELSE -1 - p % 3 END AS delta
      FROM generate_series(1, 500000) AS p, (VALUES (0), (1)) AS s (side)) AS x;
UPDATE balances b SET balance = s.sum FROM
    (SELECT account_id, sum(delta) FROM legs GROUP BY 1) AS s WHERE s.account_id = b.account_id;
UPDATE log_head SET position = 500000, recorded_at = now();
"""


@section
def measure_as_of(server: TestServer) -> None:
    """Stock as of a month ago, over HTTP, with a million legs in three years."""
    with Place(server, views=False) as place:
        place.stocked(1)
        legs = asyncio.run(_load(place.database_url))
        took: dict[str, list[float]] = {"as of a month ago": [], "as of a year ago": [], "now": []}
        days = {"as of a month ago": "&as_of=2025-12-01", "as of a year ago": "&as_of=2024-12-31"}
        for _ in range(12):
            for name, times in took.items():
                begin = time.perf_counter()
                answer = place.client.get(f"/v1/stock?group_by=site,stage,size{days.get(name, '')}")
                times.append(1000 * (time.perf_counter() - begin))
                assert answer.status_code == 200, answer.text
    month = statistics.median(took["as of a month ago"])
    say(
        f"stock as of a month ago at {legs:,} legs",
        f"{month:.0f} ms",
        "< 100 ms",
        [f"{name}: p50 {statistics.median(times):.0f} ms" for name, times in took.items()],
    )


async def _load(database_url: str) -> int:
    connection = await asyncpg.connect(database_url)
    await connection.execute("TRUNCATE legs, lots, balances")
    await connection.execute(LOAD)
    await connection.execute("VACUUM ANALYZE legs")
    await connection.execute("VACUUM ANALYZE balances")
    await connection.execute("ANALYZE lots")
    count: int = await connection.fetchval("SELECT count(*) FROM legs")
    await connection.close()
    return count


@section
def measure_memory(server: TestServer) -> None:
    """Resident memory of one process that serves, follows views and runs jobs, under load."""
    with Place(server, views=True) as place:
        place.stocked()
        before = place.memory()
        single = place.ask(path="/v1/events", seconds=4, warm_up=0.2)
        many = place.ask(path="/v1/events", connections=8, size=BATCH, seconds=4, warm_up=0.2)
        after = place.memory()
    say(
        "resident memory of serve under load",
        f"{after['VmHWM']:.0f} MiB",
        "< 150 MiB",
        [
            f"{before['VmRSS']:.0f} MiB when started; {single.events + many.events:,} events later "
            f"{after['VmRSS']:.0f} MiB, at most {after['VmHWM']:.0f} MiB",
        ],
    )


@section
def measure_rebuild(server: TestServer) -> None:
    """Every view built anew at a million events."""
    for what, figure, aim, rest in rebuild.measure(server):
        say(what, figure, aim, rest)


@section
def measure_clocks(server: TestServer) -> None:
    """Questions about a month ago, and as known then, at a million events."""
    for what, figure, aim, rest in clocks.measure(server):
        say(what, figure, aim, rest)


@section
def measure_promises(server: TestServer) -> None:
    """A promise asked for, over HTTP."""
    for what, figure, aim, rest in promises.measure(server):
        say(what, figure, aim, rest)


@section
def measure_availability(server: TestServer) -> None:
    """What a shop polls: unchanged, kept, and worked out."""
    for what, figure, aim, rest in availability.measure(server):
        say(what, figure, aim, rest)


@section
def measure_reservations(server: TestServer) -> None:
    """Clerks who reserve, all at once."""
    for what, figure, aim, rest in reservations.measure(server):
        say(what, figure, aim, rest)


@section
def measure_stream(server: TestServer) -> None:
    """Five hundred readers of the stream of events."""
    for what, figure, aim, rest in stream.measure(server):
        say(what, figure, aim, rest)


@section
def measure_webhooks(server: TestServer) -> None:
    """From an event to all who are told of it."""
    for what, figure, aim, rest in webhooks.measure(server):
        say(what, figure, aim, rest)


@section
def measure_import(server: TestServer) -> None:
    """Files taken in, and the whole log out and back."""
    for what, figure, aim, rest in records.measure(server, _copy_rates):
        say(what, figure, aim, rest)


@section
def measure_digest(server: TestServer) -> None:
    """Reminders by mail on one morning."""
    for what, figure, aim, rest in digest.measure(server):
        say(what, figure, aim, rest)


@section
def measure_calendar(server: TestServer) -> None:
    """A subscribed calendar."""
    for what, figure, aim, rest in calendar.measure(server):
        say(what, figure, aim, rest)


@section
def measure_pages(server: TestServer) -> None:
    """Every page for people."""
    for what, figure, aim, rest in pages.measure(server):
        say(what, figure, aim, rest)


@section
def measure_known(server: TestServer) -> None:
    """What a forecast is made from, read from the database."""
    for what, figure, aim, rest in known.measure(server):
        say(what, figure, aim, rest)


@section
def measure_forecast(server: TestServer) -> None:
    """The years ahead of 10,000 lots, drawn."""
    for what, figure, aim, rest in ahead.measure():
        say(what, figure, aim, rest)


@section
def measure_refit(server: TestServer) -> None:
    """The times to push learned anew, and how often their intervals hold the truth."""
    for what, figure, aim, rest in refit.measure():
        say(what, figure, aim, rest)


def main(names: list[str]) -> None:
    unknown = [name for name in names if name not in SECTIONS]
    if unknown:
        sys.exit(f"no section {', '.join(unknown)}; there are: {', '.join(SECTIONS)}")
    with durable_server() as server:
        for name in names or list(SECTIONS):
            begin = time.perf_counter()
            SECTIONS[name](server)
            print(f"    [{name}: {time.perf_counter() - begin:.0f} s]")


if __name__ == "__main__":
    main(sys.argv[1:])

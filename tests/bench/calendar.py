"""A subscribed calendar of 2,000 entries over HTTP; the days of many checks brought up to date."""

import asyncio
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import asyncpg

from service.clock import system_clock
from service.reminders.calendar.days import MOST, bring_up
from service.storage.pool import open_database
from tests.bench.place import Place
from tests.bench.timing import FILLS_CACHES, figures
from tests.support.database import TestServer

CHECKS, ASKS, AIM_MS = 20_000, 100, 100
Figure = tuple[str, str, str, list[str]]
DUE = """
INSERT INTO checks_due (lot, place, check_name, site, cultivar, rootstock, plan, after,
                        counted_from, due_on, overdue_on, trees, source)
SELECT 'LOT-' || n, 'TB' || n % 60, 'push_walk', 'CORIN', 'NAVEL', 'CARRIZO', 'PLAN', 'pushed',
       current_date - 14, current_date + n % 90 - 20, current_date + n % 90 - 17, 24, 'bench'
FROM generate_series(1, $1::integer) AS n
"""


def measure(server: TestServer) -> Iterator[Figure]:
    """Figures of a calendar that holds as many entries as one may."""
    with Place(server, views=False) as place:
        place.stocked(1)
        first, again = asyncio.run(_bring_up(server, place.database_url))
        made = place.client.put("/v1/calendars/ALL", json={"language": "es"})
        path = urlsplit(made.json()["address"]).path
        whole = place.client.get(path)
        entries = whole.content.count(b"BEGIN:VEVENT")
        # One more for all that is overdue.
        assert entries == MOST + 1, entries
        before = place.processor_seconds()
        p50, p99 = figures(_milliseconds(place, path, 200))
        worked = 1000 * (place.processor_seconds() - before) / (FILLS_CACHES + ASKS)
        same50, same99 = figures(_milliseconds(place, path, 304, whole.headers["etag"]))
    yield (
        f"a calendar of {MOST:,} entries, p99",
        f"{p99:.0f} ms",
        f"< {AIM_MS} ms",
        [
            f"{ASKS} times, one after the other: p50 {p50:.1f} ms, p99 {p99:.1f} ms",
            f"processor time of the service: {worked:.0f} ms each",
            f"unchanged (304): p50 {same50:.1f} ms, p99 {same99:.1f} ms",
            f"{len(whole.content) / 1000:,.0f} kB of text",
            f"days of {CHECKS:,} checks brought up in {first:.1f} s, once more in {again:.2f} s",
        ],
    )


def _milliseconds(place: Place, path: str, status: int, tag: str = "") -> list[float]:
    times = []
    for number in range(FILLS_CACHES + ASKS):
        begin = time.perf_counter()
        answer = place.client.get(path, headers={"If-None-Match": tag} if tag else {})
        took = 1000 * (time.perf_counter() - begin)
        assert answer.status_code == status, answer.text
        if number >= FILLS_CACHES:
            times.append(took)
    return times


async def _bring_up(server: TestServer, database_url: str) -> tuple[float, float]:
    """Seconds that the first bringing up of many days takes, and one that finds nothing new."""
    connection = await asyncpg.connect(database_url)
    try:
        await connection.execute(DUE.replace("$1::integer", str(CHECKS)))
    finally:
        await connection.close()
    name = urlsplit(database_url).path.lstrip("/")
    async with await open_database(server.settings_for(name)) as database:
        times = []
        for _ in range(2):
            begin = time.perf_counter()
            await bring_up(database.writer, system_clock)
            times.append(time.perf_counter() - begin)
    return times[0], times[1]

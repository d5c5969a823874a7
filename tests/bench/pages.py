"""How long the service takes for each page, and how much it weighs, at a million events.

The log is that of `clocks`: five years of a nursery, told day by day. Every view is built first, so
that pages show what they would in life. One page after the other, no browser: see `tests/board` for
what people wait for beside it.
"""

import asyncio
import os
import statistics
import time
from collections.abc import Iterable
from datetime import date, timedelta

import asyncpg
import httpx

from service.clock import system_clock
from service.jobs.every_view import every_view
from service.settings import Settings
from service.storage.pool import open_database
from tests.bench.clocks import MORE, put_in_order
from tests.bench.many import fill
from tests.bench.place import Place
from tests.bench.rebuild import rebuild
from tests.bench.timing import figures
from tests.board.served import CREW, sign_in
from tests.support.database import TestServer

EVENTS = int(os.environ.get("GRAFTLOG_BENCH_EVENTS", "1000000"))
TIMES = 100
AIM_MS, AIM_KB = 100, 150
PLAIN = {"Accept-Encoding": "identity", "Accept": "text/html"}
# What each page is asked for; {lot}, {bag}, {table} stand for what lies in the log, {day} for a day
# three months ago. A new page is a line here.
PAGES = {
    "round": "/round",
    "round, house by house": "/round?order=walk",
    "grafting": "/round/grafting",
    "find": "/find?q={table}",
    "table": "/table/{table}",
    "push count": "/table/{table}/push-count",
    "graft": "/table/{table}/graft",
    "lot": "/lot/{lot}",
    "bag": "/bag/{bag}",
    "lot history": "/lot/{lot}/history",
    "stock": "/stock",
    "stock on a day": "/stock?day={day}",
    "stock lots": "/stock/lots?{item}",
    "ready": "/ready",
    "ready, one item": "/ready?{item}",
    "can be sold": "/can-be-sold",
    "can be sold, one item": "/can-be-sold?{item}&quantity=100",
    "take": "/take",
    "push": "/push",
    "bags": "/bags",
    "evening": "/evening",
    "grafting sheet": "/evening/{site}/grafting",
    "push count sheet": "/evening/{site}/counts?place={table}&count=push",
    "stock count sheet": "/evening/{site}/counts?place={table}&count=stock",
    "reminders": "/reminders",
    "choices": "/reminders/choices",
    "digest": "/reminders/digest",
    "calendar": "/reminders/calendar",
    "tags": "/tags",
    "cautions": "/cautions",
    "people": "/people",
    "me": "/me",
    "more": "/more",
}


async def _signed_in(database_url: str) -> str:
    """The cookie of somebody who may look at everything."""
    settings = Settings(data_dir=None, database_url=database_url)  # type: ignore[arg-type]
    async with await open_database(settings) as database:
        return await sign_in(database, "boss", CREW["boss"], system_clock())


async def _codes(database_url: str) -> dict[str, str]:
    """What pages are asked about: what moved last, as it has most of a past."""
    connection = await asyncpg.connect(database_url)
    try:
        about = await connection.fetchrow(
            "SELECT b.place AS table, b.site, l.code AS lot, l.cultivar, l.rootstock, b.size "
            "FROM balances b JOIN lots l USING (lot_id) "
            "WHERE b.kind = 'trees' AND b.balance > 0 AND b.place <> '' "
            "ORDER BY b.last_day DESC, l.code LIMIT 1"
        )
        bag = await connection.fetchval(
            "SELECT ref FROM balances WHERE kind = 'bag' AND balance > 0 "
            "ORDER BY last_day DESC LIMIT 1"
        )
    finally:
        await connection.close()
    assert about is not None, "the books hold trees"
    day = date.today() - timedelta(days=90)
    item = f"cultivar={about['cultivar']}&rootstock={about['rootstock']}&size={about['size']}"
    found = {name: about[name] for name in ("table", "site", "lot")}
    return found | {"item": item, "bag": bag, "day": str(day)}


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """For each page: what was measured, the figure, its aim, and more lines."""
    with Place(server, views=False, GRAFTLOG_RATE_LIMIT="0") as place:
        begin = time.perf_counter()
        fill(place.database_url, int(EVENTS * MORE))
        _, _, there = asyncio.run(put_in_order(place.database_url))
        for view in every_view():
            rebuild(place.database_url, view.name)
        took = time.perf_counter() - begin
        print(f"    [{there:,} events and their views were there after {took:.0f} s]")
        codes = asyncio.run(_codes(place.database_url))
        cookie = asyncio.run(_signed_in(place.database_url))
        with httpx.Client(
            base_url=str(place.client.base_url),
            cookies={"graftlog_seat": cookie},
            headers=PLAIN,
            timeout=60,
        ) as person:
            for name, address in PAGES.items():
                yield _page(person, name, address.format(**codes), there)


def _page(
    person: httpx.Client, name: str, address: str, there: int
) -> tuple[str, str, str, list[str]]:
    times, answer = [], person.get(address)
    # What is found by its code is led to.
    if answer.status_code not in (200, 303):
        return f"page {name}", str(answer.status_code), "200", [f"{address}: not measured"]
    for _ in range(TIMES):
        begin = time.perf_counter()
        answer = person.get(address)
        times.append(1000 * (time.perf_counter() - begin))
        assert answer.status_code in (200, 303), answer.text
    median, high = figures(times)
    return (
        f"page {name} at {there:,} events, p99",
        f"{high:.0f} ms",
        f"< {AIM_MS} ms",
        [
            f"{address}: p50 {median:.1f} ms, mean {statistics.mean(times):.1f} ms; "
            f"{len(answer.content) / 1000:.1f} kB as it is (aim < {AIM_KB} kB)"
        ],
    )

"""A thousand clerks at four services of one nursery want five hundred trees, all at once."""

import asyncio
from collections import Counter
from itertools import cycle

import httpx

from service.log.append import Appender
from service.log.refold import differences, refold
from service.settings import Settings
from service.storage.pool import Database
from tests.ledger.served import Served, make_key
from tests.support.bench_side import BenchSide, event

TREES, CLERKS = 500, 1000
ITEM = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}


async def test_as_many_are_promised_as_there_are_and_nobody_is_refused_before(
    database: Database, settings: Settings
) -> None:
    appender = Appender(database)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.nursery()
    bought = {"supplier": "sup-1", "document": "PP-1", "place": "C-T1", "count": TREES}
    await bench.given(event("trees.received", "2026-03-01", lot="R1", **ITEM, **bought))
    await appender.stop()
    url = settings.database_url or ""
    token = await make_key(url, name="shop", role="sales")
    services = [Served(url, token) for _ in range(4)]
    try:
        await asyncio.gather(*(asyncio.to_thread(one.start) for one in services))
        answers = await _all_at_once([one.url for one in services], services[0].headers)
    finally:
        await asyncio.gather(*(asyncio.to_thread(one.stop) for one in services))

    assert Counter(answer.status_code for answer in answers) == {201: TREES, 409: CLERKS - TREES}
    for answer in answers:
        if answer.status_code == 409:
            (error,) = answer.json()["errors"]
            numbers = error["numbers"]
            # Nobody was refused as long as there was one left.
            assert (numbers["ready"], numbers["spoken_for"], numbers["available"]) == (500, 500, 0)
    assert await database.writer.fetchval("SELECT sum(open) FROM commitments") == TREES
    async with database.writer.acquire() as connection:
        assert await differences(connection, await refold(connection)) == []


async def _all_at_once(urls: list[str], headers: dict[str, str]) -> list[httpx.Response]:
    """Every clerk's answer; each has a connection of their own."""
    limits = httpx.Limits(max_connections=None)
    async with httpx.AsyncClient(headers=headers, timeout=60, limits=limits) as client:
        asked = [
            client.post(
                f"{url}/v1/reservations",
                json={"customer": f"c-{n}", "site": "CORIN", "lines": [ITEM | {"count": 1}]},
            )
            for n, url in zip(range(CLERKS), cycle(urls), strict=False)
        ]
        return await asyncio.gather(*asked)

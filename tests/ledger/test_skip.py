"""Nobody who follows the log by position misses an event, whoever writes how much at a time."""

import asyncio
import random
import sys
from pathlib import Path

import msgspec

from service.log.append import Appender
from service.log.rights import SCOPES, Principal
from service.log.submission import Element, Submission
from service.settings import Settings
from service.storage.pool import Database, open_database
from service.trade.events import Event
from tests.support.bench_side import BenchSide

WRITERS = 2
REQUESTERS = 4
EVENTS = 25_200  # by each writer: a little over 50,000
SIZES = (1, 1, 1, 7, 30, 250, 900)
NEXT = """
SELECT position, recorded_at, recorded_by, (data->>'note')::int AS number
FROM events WHERE position > $1 ORDER BY position LIMIT 5000
"""


async def write(database_url: str, name: str) -> None:
    """One writing process: several requesters at once, each with batches of many sizes."""
    settings = Settings(data_dir=Path("/nonexistent"), database_url=database_url)
    decoder = msgspec.json.Decoder(Event)
    chance = random.Random(name)
    left = EVENTS
    async with await open_database(settings) as database:
        appender = Appender(database, queue_limit=100_000)
        await appender.start()

        async def requester(number: int) -> None:
            nonlocal left
            principal = Principal(f"{name}.{number}", frozenset(SCOPES), frozenset({"*"}))
            told = 0
            while left > 0:
                size = min(chance.choice(SIZES), left)
                left -= size
                elements = []
                for _ in range(size):
                    told += 1
                    raw = (
                        b'{"type":"place.checked","site":"CORIN","occurred":"2026-03-01",'
                        b'"data":{"place":"C-T1","note":"%d"}}' % told
                    )
                    elements.append(Element(raw, decoder.decode(raw)))
                answer = await appender.append(Submission(principal=principal, elements=elements))
                assert answer.status == 201, answer.verdicts[0]

        await asyncio.gather(*(requester(number) for number in range(REQUESTERS)))
        await appender.stop()


async def test_a_reader_who_follows_by_position_skips_nothing(
    database: Database, settings: Settings
) -> None:
    appender = Appender(database)
    await appender.start()
    await BenchSide(appender, database).nursery()
    await appender.stop()
    start = await database.writer.fetchval("SELECT position FROM log_head")
    assert settings.database_url is not None
    writers = [
        await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "tests.ledger.test_skip", settings.database_url, f"writer-{n}"),
            cwd=Path(__file__).parents[2],
        )
        for n in range(WRITERS)
    ]
    position, seen, newest = start, 0, None
    last: dict[str, int] = {}
    try:
        while seen < WRITERS * EVENTS:
            running = [w.returncode is None for w in writers]
            rows = await database.writer.fetch(NEXT, position)
            for row in rows:
                # Dense, and in the order of commit: nothing may turn up behind the reader.
                assert row["position"] == position + 1
                assert newest is None or row["recorded_at"] >= newest
                # What one requester sent one after the other stays in that order.
                assert row["number"] == last.get(row["recorded_by"], 0) + 1
                last[row["recorded_by"]] = row["number"]
                position, newest = row["position"], row["recorded_at"]
                seen += 1
            if not rows:
                assert any(running), "the writers ended before all was written"
                await asyncio.sleep(0.001)
    finally:
        for writer in writers:
            if writer.returncode is None and seen < WRITERS * EVENTS:
                writer.kill()
        ended = [await writer.wait() for writer in writers]
    assert ended == [0] * WRITERS
    assert seen == WRITERS * EVENTS >= 50_000
    assert len(last) == WRITERS * REQUESTERS
    assert await database.writer.fetchval("SELECT count(*) FROM events") == start + seen
    assert await database.writer.fetchval("SELECT position FROM log_head") == start + seen


if __name__ == "__main__":
    asyncio.run(write(sys.argv[1], sys.argv[2]))

"""A process knows how far the log is: at once when it is told, soon when it is not."""

import asyncio
from collections.abc import AsyncIterator

import asyncpg
import pytest

from service.feed import newest as module
from service.feed.following import Follower
from service.feed.newest import Newest
from service.log import read
from service.storage.pool import Database
from tests.support.nursery import nursery


@pytest.fixture
async def follower(database: Database) -> AsyncIterator[Follower]:
    """One that looks by itself every hour."""
    made = Follower(database, poll_seconds=3600)
    await made.start()
    yield made
    await made.stop()


async def test_what_is_recorded_is_known_at_once_and_after_a_lost_connection(
    database: Database, follower: Follower
) -> None:
    book = await nursery(database.writer)
    assert await follower.beyond(book.position - 1, 20) == book.position
    told: list[int] = []
    end = follower.subscribe(told.append)
    assert await follower.beyond(book.position, 0.01) == book.position
    administrator = await asyncpg.connect(database.dsn)
    await asyncio.wait_for(follower.listening.wait(), 20)
    ended = await administrator.fetch(
        "SELECT pg_terminate_backend(pid, 5000) AS ended FROM pg_stat_activity "
        "WHERE datname = current_database() AND query LIKE 'LISTEN%'"
    )
    await administrator.close()
    assert [row["ended"] for row in ended] == [True]
    await book.event("place.checked", "CORIN", "2026-03-20", {"place": "C-T1"})
    # It looks when it listens again, for nobody told it meanwhile.
    assert await follower.beyond(book.position - 1, 20) == book.position
    assert told[-1] == book.position
    end()
    await book.event("place.checked", "CORIN", "2026-03-20", {"place": "C-T1"})
    assert await follower.beyond(book.position - 1, 20) == book.position
    assert told[-1] == book.position - 1


async def test_what_nobody_is_told_of_is_found_by_looking(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def deaf(self: object, stopping: asyncio.Event) -> None:
        await stopping.wait()

    monkeypatch.setattr("service.log.listening.Listener.run", deaf)
    made = Follower(database, poll_seconds=0.02)
    await made.start()
    book = await nursery(database.writer)
    assert await made.beyond(book.position - 1, 20) == book.position
    # Who waits is let go when the process stops.
    waiting = asyncio.create_task(made.beyond(book.position, 3600))
    await asyncio.sleep(0)
    await made.stop()
    assert await asyncio.wait_for(waiting, 20) == book.position


async def test_a_hundred_who_ask_at_once_read_the_log_once(
    database: Database, follower: Follower, monkeypatch: pytest.MonkeyPatch
) -> None:
    newest, reads = Newest(database, follower), 0
    assert await newest.after(0) == []
    book = await nursery(database.writer)
    await follower.beyond(book.position - 1, 20)

    asked = read.events

    async def counted(*args: object, **more: object) -> object:
        nonlocal reads
        reads += 1
        return await asked(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(read, "events", counted)
    everybody = await asyncio.gather(*(newest.after(0) for _ in range(100)))
    assert reads == 1
    first = everybody[0]
    assert first is not None
    assert [one.position for one in first] == list(range(1, book.position + 1))
    assert all(found == first for found in everybody)
    # What is no more kept is nobody's here, and nothing of what is kept is left out.
    newest._most = 3
    await book.event("place.checked", "CORIN", "2026-03-20", {"place": "C-T1"})
    await follower.beyond(book.position - 1, 20)
    kept = await newest.after(book.position - 1)
    assert kept is not None
    assert [one.position for one in kept] == [book.position]
    assert await newest.after(book.position - 4) is None
    kept = await newest.after(book.position - 3)
    assert kept is not None
    assert [one.position for one in kept] == list(range(book.position - 2, book.position + 1))


@pytest.mark.parametrize("by_bytes", [False, True])
async def test_wherever_a_reader_stands_what_follows_is_next(
    database: Database, follower: Follower, monkeypatch: pytest.MonkeyPatch, by_bytes: bool
) -> None:
    """Every cut over what is kept: before it, at both its edges, and within."""
    book = await nursery(database.writer)
    begun = await follower.beyond(book.position - 1, 20)
    kept, room = Newest(database, follower, most=4), 4
    assert await kept.after(begun) == []
    for _ in range(9):
        await book.event("place.checked", "CORIN", "2026-03-20", {"place": "C-T1"})
        head = await follower.beyond(book.position - 1, 20)
        (newest,) = await kept.after(head - 1) or ()
        assert newest.position == head
        for position in range(begun - 1, head + 1):
            found = await kept.after(position)
            told = None if found is None else [one.position for one in found]
            held = position >= max(begun, head - room)
            assert told == (list(range(position + 1, head + 1)) if held else None)
        if by_bytes:
            # From now on there is room for two of them and a half.
            monkeypatch.setattr(module, "MOST_BYTES", int(2.5 * len(newest.plain)))
            room = 2

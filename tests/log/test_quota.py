"""No window of any beginning sees more than the quota, however many processes count."""

import asyncio
import json
import sys
from contextlib import AsyncExitStack
from time import monotonic
from typing import Any

import asyncpg
import pytest

from service.log.quota import FIRST, Leases
from service.settings import Settings
from service.storage.pool import Database, open_database
from tests.support.spending import spend


def most_in_any(window: float, moments: list[float]) -> int:
    """The most moments that any window of that length holds, its end left out."""
    moments = sorted(moments)
    most = first = 0
    for last, moment in enumerate(moments):
        while moment - moments[first] >= window:
            first += 1
        most = max(most, last - first + 1)
    return most


def test_windows_are_counted_as_by_hand() -> None:
    assert most_in_any(1, [0, 0.5, 0.9, 1.0, 1.6]) == 3
    assert most_in_any(10, [0, 1, 2]) == 3


async def leases_held(database: Database) -> list[tuple[str, int]]:
    async with database.writer.acquire() as connection:
        rows = await connection.fetch("SELECT asker, tokens FROM quota_leases ORDER BY lease")
    return [(row["asker"], row["tokens"]) for row in rows]


async def test_several_in_one_process_never_spend_more_than_the_quota(database: Database) -> None:
    quota, window = 40, 0.35
    several = [Leases(database.writer, quota, window=window, lasts=0.07) for _ in range(4)]
    spent = await asyncio.gather(*(spend(one, "a", seconds=1.1) for one in several))
    for one in several:
        await one.close()
    assert most_in_any(window, [moment for each in spent for moment in each]) <= quota
    # And they come back: over three windows more than one quota was spent.
    assert sum(map(len, spent)) > quota
    assert all(spent), "nobody was starved"


async def test_several_processes_never_spend_more_than_the_quota(settings: Settings) -> None:
    quota, window = 60, 0.4
    given = {"url": settings.database_url, "prefix": settings.role_prefix}
    task = json.dumps({**given, "quota": quota, "window": window, "lasts": 0.1, "seconds": 1.0})
    running = [
        await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "tests.support.spending",
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
        )
        for _ in range(3)
    ]
    for one in running:
        assert one.stdout is not None
        assert one.stdin is not None
        one.stdin.write(task.encode() + b"\n")
        assert await one.stdout.readline() == b"ready\n"
    for one in running:
        assert one.stdin is not None
        one.stdin.write(b"go\n")
    spent = [json.loads((await one.communicate())[0]) for one in running]
    # CLOCK_MONOTONIC is one clock for all processes of a machine.
    assert most_in_any(window, [moment for each in spent for moment in each]) <= quota
    assert sum(map(len, spent)) > quota
    assert sum(1 for each in spent if each) >= 2


async def test_a_block_serves_many_requests_and_says_what_is_left(database: Database) -> None:
    leases = Leases(database.writer, 1000)
    asked: list[object] = []
    lease = leases._lease

    async def counted(*given: Any) -> None:
        asked.append(given)
        await lease(*given)

    leases._lease = counted  # type: ignore[method-assign]
    told = [await leases.take("a") for _ in range(600)]
    assert [one.left for one in told] == list(range(999, 399, -1))
    assert all(one.granted for one in told)
    # 16, then eight times as many each time, a quarter of what is left at most.
    assert len(asked) <= 8
    await leases.close()
    # What was not spent came back.
    assert sum(tokens for _, tokens in await leases_held(database)) == 600


async def test_who_asks_for_more_is_told_when_and_asks_nobody(database: Database) -> None:
    leases = Leases(database.writer, 3)
    told = [await leases.take("a") for _ in range(4)]
    assert [(one.granted, one.left) for one in told] == [
        (True, 2),
        (True, 1),
        (True, 0),
        (False, 0),
    ]
    assert 59 < told[-1].more_in <= 60
    assert (await leases.take("b")).granted
    database.writer.terminate()
    # Refused from memory: no question to a database that is not there.
    assert not (await leases.take("a")).granted


async def test_many_at_once_share_one_question(database: Database) -> None:
    leases = Leases(database.writer, 10_000)
    told = await asyncio.gather(*(leases.take("a") for _ in range(500)))
    assert all(one.granted for one in told)
    assert len({one.left for one in told}) == 500
    # The first question was for the first, the second for all that waited by then.
    assert len(await leases_held(database)) <= 3


async def test_what_others_have_leased_is_not_left_and_comes_back(database: Database) -> None:
    mine, others = Leases(database.writer, 100), Leases(database.writer, 100)
    assert (await others.take("a")).left == 99
    # A block is held over there, of which one was spent.
    assert (await mine.take("a")).left == 100 - FIRST - 1
    await others.close()
    await mine.close()
    assert await leases_held(database) == [("a", 1), ("a", 1)]
    assert (await mine.take("a")).left == 97


async def test_who_goes_quiet_holds_nothing(database: Database) -> None:
    leases = Leases(database.writer, 100, lasts=0.02)
    await leases.take("a")
    leases._look_later()
    async with asyncio.timeout(10):
        while leases._held or leases._settling is None:
            await asyncio.sleep(0.01)
        await leases._settling
    assert await leases_held(database) == [("a", 1)]


async def test_a_lease_that_is_over_is_not_spent_any_more(database: Database) -> None:
    leases = Leases(database.writer, 100, lasts=0.05)
    await leases.take("a")
    # Before anybody looked for leases that are over.
    assert leases._timer is not None
    leases._timer.cancel()
    await asyncio.sleep(leases.lasts)
    # Fifteen came back, and a new block is had.
    assert (await leases.take("a")).left == 98
    async with database.writer.acquire() as connection:
        spent = await connection.fetchval("SELECT tokens FROM quota_leases ORDER BY lease LIMIT 1")
    assert spent == 1
    await leases.close()


async def test_what_no_window_sees_is_swept_away(database: Database) -> None:
    leases = Leases(database.writer, 100)
    async with database.writer.acquire() as connection:
        await connection.execute(
            "INSERT INTO quota_leases (asker, tokens, ends_at) "
            "VALUES ('gone', 5, now() - interval '61 s'), ('here', 5, now() - interval '59 s')"
        )
    # Those of a process that died count until then.
    assert (await leases.take("here")).left == 94
    assert (await leases.take("gone")).left == 99
    await leases.close()
    assert await leases_held(database) == [("here", 5), ("here", 1), ("gone", 1)]


async def test_without_the_database_a_lease_serves_until_it_is_over(settings: Settings) -> None:
    async with AsyncExitStack() as stack:
        database = await stack.enter_async_context(await open_database(settings))
        leases = Leases(database.writer, 100)
        assert (await leases.take("a")).granted
        database.writer.terminate()
        begun = monotonic()
        told = [await leases.take("a") for _ in range(FIRST - 1)]
        assert all(one.granted for one in told)
        assert monotonic() - begun < leases.lasts
        # Then nobody knows what is left, and none is let through.
        with pytest.raises((OSError, asyncpg.InterfaceError)):
            await leases.take("a")
        with pytest.raises((OSError, asyncpg.InterfaceError)):
            await leases.take("b")
        await leases.close()


async def test_a_slow_database_is_not_waited_for_while_a_lease_serves(database: Database) -> None:
    leases = Leases(database.writer, 1000)
    assert (await leases.take("a")).granted
    async with AsyncExitStack() as stack:
        for _ in range(database.writer.get_max_size()):
            await stack.enter_async_context(database.writer.acquire())
        # The next block is asked for when three quarters are spent; nobody waits for it.
        assert [(await leases.take("a")).granted for _ in range(FIRST - 1)] == [True] * (FIRST - 1)
        asking = leases._held["a"].asking
        assert asking is not None
        assert not asking.done()
    await asking
    assert (await leases.take("a")).left == 1000 - FIRST - 1
    await leases.close()

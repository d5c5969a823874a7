"""Timed work: each tick once over several processes; mornings by each site's clock."""

import asyncio
from datetime import UTC, datetime, timedelta

from service import jobs
from service.jobs.ticks import once, tick_of
from service.jobs.work import Work
from tests.support.nursery import nursery, season


def _clock(text: str):
    return lambda: datetime.fromisoformat(text)


NOON = "2026-03-24T12:02:30+00:00"


async def _ticks(database, like: str = "%") -> list[tuple]:
    rows = await database.writer.fetch(
        "SELECT job, tick, outcome FROM ticks WHERE job LIKE $1 ORDER BY job, tick", like
    )
    return [tuple(row) for row in rows]


def test_a_tick_is_the_scheduled_time() -> None:
    now = datetime.fromisoformat(NOON)
    assert tick_of(now, timedelta(minutes=5)) == datetime(2026, 3, 24, 12, tzinfo=UTC)
    assert tick_of(now, timedelta(hours=6)) == datetime(2026, 3, 24, 12, tzinfo=UTC)


async def test_many_at_once_run_a_tick_once(database) -> None:
    ran = []

    async def work() -> str:
        ran.append(1)
        return "done"

    tick = datetime(2026, 3, 24, 12, tzinfo=UTC)
    won = await asyncio.gather(*(once(database.writer, "job", tick, work) for _ in range(8)))
    assert (len(ran), sum(won)) == (1, 1)
    assert await once(database.writer, "job", tick + timedelta(minutes=5), work)
    assert [outcome for _, _, outcome in await _ticks(database)] == ["done", "done"]


async def test_a_failure_is_kept_with_its_tick(database) -> None:
    async def work() -> str:
        raise RuntimeError("no power")

    tick = datetime(2026, 3, 24, 12, tzinfo=UTC)
    assert await once(database.writer, "job", tick, work)
    assert await _ticks(database) == [("job", tick, "failed: RuntimeError: no power")]


async def test_two_schedulers_run_each_tick_once(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    first = jobs.Jobs(database, _clock(NOON))
    await first.runner.catch_up()
    second = jobs.Jobs(database, _clock(NOON))
    await asyncio.gather(first.start(), second.start())
    try:
        for name in ("overdue_alerts", "ready_dates", "sweep"):
            await first.ended(name, 30)
            await second.ended(name, 30)
        await first.runner.caught_up(book.position, 30)
        await second.runner.caught_up(book.position, 30)
    finally:
        await asyncio.gather(first.stop(), second.stop())
    ticks = await _ticks(database)
    assert [job for job, _, _ in ticks] == [
        "overdue_alerts",
        "ready_dates/CORIN/morning",
        "ready_dates/TARNA/morning",
        "sweep",
    ]
    assert all(outcome and "failed" not in outcome for _, _, outcome in ticks), ticks
    open_alerts = await database.writer.fetchval(
        "SELECT count(*) FROM alerts WHERE kind = 'overdue_check'"
    )
    assert open_alerts == 1


async def test_mornings_come_by_each_sites_clock(database) -> None:
    await nursery(database.writer)

    async def ran_at(moment: str) -> set[str]:
        before = set(await _ticks(database, "ready_dates/%"))
        await Work(database, _clock(moment)).ready_dates()
        new = set(await _ticks(database, "ready_dates/%")) - before
        return {job.split("/")[1] for job, _, _ in new}

    # 05:00 at Auckland (UTC+13) on the 25th is 16:00 UTC; at Madrid (UTC+1) it is 04:00 UTC
    assert await ran_at("2026-03-24T15:59:59+00:00") == {"CORIN", "TARNA"}
    assert await ran_at("2026-03-24T16:00:00+00:00") == {"TARNA"}
    assert await ran_at("2026-03-24T22:59:59+00:00") == set()
    # past midnight at Madrid, but not yet morning
    assert await ran_at("2026-03-25T03:59:59+00:00") == set()
    assert await ran_at("2026-03-25T04:00:00+00:00") == {"CORIN"}
    # summer time since 29 March: Madrid is at UTC+2
    assert await ran_at("2026-03-30T02:59:59+00:00") == {"TARNA", "CORIN"}
    assert await ran_at("2026-03-30T03:00:00+00:00") == {"CORIN"}


async def test_keys_are_forgotten_after_seven_days(database) -> None:
    for days in (6, 8):
        await database.writer.execute(
            "INSERT INTO idempotency VALUES ('desk', $1, 'POST /v1/events', '\\x00', 201, '{}', "
            "'\\x00', $2)",
            f"key-{days}",
            datetime.fromisoformat(NOON) - timedelta(days=days),
        )
    await Work(database, _clock(NOON)).sweep()
    left = await database.writer.fetch("SELECT key FROM idempotency")
    assert [row["key"] for row in left] == ["key-6"]

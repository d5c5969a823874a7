"""Timed work: each tick once over several processes; mornings by each site's clock."""

import asyncio
from datetime import UTC, datetime, timedelta

import pytest

from service import jobs
from service.forecast import refresh
from service.forecast.refresh import ForecastError
from service.forecast.shapes import Foretold, Known
from service.jobs.every_view import every_view
from service.jobs.ticks import once, tick_of
from service.jobs.work import Work
from service.views.runner import Runner
from tests.support import foretelling
from tests.support.nursery import nursery, season


def _clock(text: str):
    return lambda: datetime.fromisoformat(text)


NOON = "2026-03-24T12:02:30+00:00"


@pytest.fixture
def foretold(monkeypatch) -> list[Known]:
    """Forecasts are worked out by a stand-in here; what each was made from."""
    asked: list[Known] = []

    async def noting(known: Known) -> Foretold:
        asked.append(known)
        return foretelling.forecast(known)

    monkeypatch.setattr(refresh, "in_child", noting)
    return asked


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


async def test_two_schedulers_run_each_tick_once(database, foretold) -> None:
    book = await nursery(database.writer)
    await season(book)
    first = jobs.Jobs(database, _clock(NOON))
    await first.runner.catch_up()
    second = jobs.Jobs(database, _clock(NOON))
    await asyncio.gather(first.start(), second.start())
    try:
        for name in ("overdue_alerts", "calendar", "forecast", "expiries", "sweep"):
            await first.ended(name, 30)
            await second.ended(name, 30)
        await first.runner.caught_up(book.position, 30)
        await second.runner.caught_up(book.position, 30)
    finally:
        await asyncio.gather(first.stop(), second.stop())
    ticks = await _ticks(database)
    assert [job for job, _, _ in ticks] == [
        "calendar",
        "expiries",
        "forecast",
        "overdue_alerts",
        "sweep",
    ]
    assert all(outcome and "failed" not in outcome for _, _, outcome in ticks), ticks
    open_alerts = await database.writer.fetchval(
        "SELECT count(*) FROM alerts WHERE kind = 'overdue_check'"
    )
    assert open_alerts == 1


async def test_a_forecast_each_morning_by_each_sites_clock(database, foretold) -> None:
    book = await nursery(database.writer)
    await Runner(database, every_view()).catch_up()

    async def made_at(moment: str) -> str:
        await Work(database, _clock(moment)).forecast()
        (_, _, outcome) = (await _ticks(database, "forecast"))[-1]
        return outcome.split(";")[0]

    # 05:00 at Auckland (UTC+13) on the 25th is 16:00 UTC; at Madrid (UTC+1) it is 04:00 UTC
    assert await made_at("2026-03-24T15:57:00+00:00") == "the first"
    assert await made_at("2026-03-24T16:00:00+00:00") == "a new morning"
    assert await made_at("2026-03-24T22:57:00+00:00") == "the newest says all"
    # past midnight at Madrid, but not yet morning
    assert await made_at("2026-03-25T03:57:00+00:00") == "the newest says all"
    assert await made_at("2026-03-25T04:00:00+00:00") == "a new morning"
    assert await made_at("2026-03-29T17:00:00+00:00") == "a new morning"
    # summer time since 29 March: Madrid is at UTC+2
    assert await made_at("2026-03-30T02:57:00+00:00") == "the newest says all"
    assert await made_at("2026-03-30T03:00:00+00:00") == "a new morning"
    assert len(foretold) == 5
    assert {known.position for known in foretold} == {book.position}


async def test_a_forecast_soon_after_records_at_most_every_three_minutes(
    database, foretold
) -> None:
    book = await nursery(database.writer)
    runner = Runner(database, every_view())
    await runner.catch_up()
    await Work(database, _clock("2026-03-24T12:00:00+00:00")).forecast()
    await season(book)
    await runner.catch_up()
    await Work(database, _clock("2026-03-24T12:02:59+00:00")).forecast()
    assert len(foretold) == 1
    await asyncio.gather(
        *(Work(database, _clock("2026-03-24T12:03:00+00:00")).forecast() for _ in range(4))
    )
    assert [known.position for known in foretold][1:] == [book.position]


async def test_a_forecast_that_fails_leaves_the_rest_alone_and_is_tried_later(
    database, monkeypatch
) -> None:
    await nursery(database.writer)
    await Runner(database, every_view()).catch_up()
    tried = []

    async def failing(known: Known) -> Foretold:
        tried.append(known)
        raise ForecastError("it took longer than 120 s and was ended")

    monkeypatch.setattr(refresh, "in_child", failing)
    now = [datetime.fromisoformat("2026-03-24T12:00:00+00:00")]
    work = Work(database, lambda: now[0])
    for _ in range(6):
        await asyncio.gather(work.forecast(), work.overdue_alerts())
        now[0] += timedelta(minutes=3)
    # at once, and again a quarter of an hour later
    assert len(tried) == 2
    outcomes = [outcome for _, _, outcome in await _ticks(database, "forecast")]
    assert outcomes == ["failed: ForecastError: it took longer than 120 s and was ended"] * 2
    alerts = [outcome for _, _, outcome in await _ticks(database, "overdue_alerts")]
    assert alerts == ["0 alerts raised"] * 4


async def test_stopping_does_not_wait_for_a_forecast_that_hangs(database, monkeypatch) -> None:
    await nursery(database.writer)
    began, ended = asyncio.Event(), asyncio.Event()

    async def hanging(known: Known) -> Foretold:
        began.set()
        try:
            await asyncio.Event().wait()
        finally:
            ended.set()
        raise AssertionError

    monkeypatch.setattr(refresh, "in_child", hanging)
    running = jobs.Jobs(database, _clock(NOON))
    await running.runner.catch_up()
    await running.start()
    await asyncio.wait_for(began.wait(), 30)
    await running.stop()
    assert ended.is_set()
    (_, _, outcome) = (await _ticks(database, "forecast"))[0]
    assert outcome == "cut off, since the process ends"


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

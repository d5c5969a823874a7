"""How everything stands: lag in events and in seconds, what is set aside, the jobs' last ticks."""

from datetime import UTC, datetime, timedelta

import pytest

from service.jobs.ticks import once
from service.storage.pool import Database
from service.views.standing import Lag, Standing, standing
from tests.support.nursery import nursery, season

MORNING = datetime(2026, 6, 30, 5, tzinfo=UTC)


async def stands(database: Database, now: datetime = MORNING) -> Standing:
    async with database.writer.acquire() as conn:
        return await standing(conn, now)


async def reached(database: Database, view: str, position: int, *, live: bool = True) -> None:
    await database.writer.execute(
        "INSERT INTO view_checkpoints (view, generation, position, live) VALUES ($1, $2, $3, $4)",
        view,
        1 if live else 2,
        position,
        live,
    )


async def test_an_empty_log(database: Database) -> None:
    found = await stands(database)
    assert (found.position, found.lags, found.faults, found.ticks) == (0, [], {}, [])
    assert (found.alerts, found.to_put_right) == ({}, 0)


async def test_lag_is_the_age_of_the_oldest_event_not_seen(database: Database) -> None:
    book = await nursery(database.writer)
    await season(book)
    head = book.position
    await reached(database, "all_seen", head)
    await reached(database, "behind", head - 3)
    await reached(database, "behind", 0, live=False)
    oldest = await database.writer.fetchval(
        "SELECT recorded_at FROM events WHERE position = $1", head - 2
    )
    found = await stands(database, oldest + timedelta(minutes=2))
    assert found.position == head
    assert found.lags == [Lag("all_seen", 0, 0.0), Lag("behind", 3, 120.0)]
    # Another machine's clock may be a little ahead of this one's.
    found = await stands(database, oldest - timedelta(seconds=1))
    assert found.lags[1] == Lag("behind", 3, 0.0)


async def test_what_is_set_aside_and_open(database: Database) -> None:
    await database.writer.execute(
        "INSERT INTO view_faults (view, generation, subject, position, error)"
        " VALUES ('checks', 1, 'TR1', 5, 'x'), ('checks', 1, 'TR2', 6, 'x')"
    )
    await database.writer.execute(
        "INSERT INTO alerts (id, key, kind, origin, sites, level, detail, numbers, raised_at,"
        " closed_at) SELECT gen_random_uuid(), n::text, 'overdue_check', 'watch', '{CORIN}',"
        " 1 + n % 2, 'x', '{}', now(), CASE WHEN n > 5 THEN now() END FROM generate_series(1, 7) n"
    )
    found = await stands(database)
    assert found.faults == {"checks": 2}
    assert found.alerts == {("overdue_check", 1): 2, ("overdue_check", 2): 3}


@pytest.mark.parametrize("fails", [False, True])
async def test_the_newest_tick_of_a_job_counts_whatever_its_site(
    database: Database, fails: bool
) -> None:
    async def work() -> str:
        return "done"

    async def broken() -> str:
        raise RuntimeError("no weather")

    pool = database.writer
    await once(pool, "ready_dates/CORIN/morning", MORNING, work)
    await once(pool, "sweep", MORNING, work)
    later = MORNING + timedelta(hours=1)
    await once(pool, "ready_dates/TARNA/morning", later, broken if fails else work)
    await pool.execute("INSERT INTO ticks (job, tick) VALUES ('sweep', $1)", later)
    ticks = {tick.job: tick for tick in (await stands(database)).ticks}
    assert set(ticks) == {"ready_dates", "sweep"}
    assert (ticks["ready_dates"].tick, ticks["ready_dates"].failed) == (later, fails)
    # One that has begun says nothing yet.
    assert (ticks["sweep"].tick, ticks["sweep"].failed) == (MORNING, False)
    assert 0 <= ticks["sweep"].seconds < 60

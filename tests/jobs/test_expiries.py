"""Expiries are recorded by the minute, and never between old records that are being brought in."""

from datetime import timedelta

from service.jobs.work import Work
from service.log.append import Appender
from service.storage.pool import Database
from tests.support.bench_side import NOW, BenchSide, event


async def test_an_expiry_waits_while_old_records_come_in(database: Database) -> None:
    now = [NOW]
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.stocked()
    wish = {"customer": "cust-1", "lines": [{"cultivar": "NAVEL", "buds": True, "count": 1}]}
    soon = (NOW + timedelta(minutes=5)).isoformat()
    await bench.given(event("reservation.made", "2026-06-30", **wish, expires_at=soon))
    work = Work(database, lambda: now[0])

    async def outcome() -> str:
        await work.expiries()
        told: str = await database.writer.fetchval(
            "SELECT outcome FROM ticks WHERE job = 'expiries' ORDER BY tick DESC LIMIT 1"
        )
        return told

    # What was told is of three days ago: as it is while a file of old records is read.
    now[0] = NOW + timedelta(days=3)
    assert await outcome() == "waits: old records come in"
    now[0] += timedelta(minutes=9)
    await bench.given(event("place.checked", "2026-06-30", place="C-T1"))
    assert await outcome() == "waits: old records come in"
    now[0] += timedelta(minutes=9)
    assert await outcome() == "waits: old records come in"
    now[0] += timedelta(minutes=1)
    assert await outcome() == "1 recorded"
    now[0] += timedelta(minutes=1)
    assert await outcome() == "0 recorded"
    await appender.stop()

"""All views over what the real writer wrote: visible at once, the same after a rebuild."""

import time
from collections.abc import AsyncIterator
from datetime import date

import pytest

from service.jobs.every_view import differences, every_view
from service.log.append import Appender
from service.views.checks import ChecksQuery, checks
from service.views.lineage import trace_forward
from service.views.positions import wait_for
from service.views.runner import Runner
from tests.support.bench_side import NOW, BenchSide, event


@pytest.fixture
async def bench(database) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    yield BenchSide(appender, database)
    await appender.stop()


async def _all_right(database) -> None:
    found = await differences(database)
    assert len(found) > 4
    assert not any(found.values()), found


async def _filled(database, *but: str) -> None:
    for view in every_view():
        count = await database.writer.fetchval(f"SELECT count(*) FROM {view.tables[0].name}")
        assert count or view.name in but, view.name


async def _year(bench: BenchSide) -> None:
    """Grafted, unwrapped late, counted, moved, sold, a count voided, a consignment."""
    await bench.grafted(24)
    counted = await bench.when(
        event("push.counted", "2026-04-05", lot="T1", place="C-T1", pushed=15, waiting=8)
    )
    await bench.given(
        event("grafts.unwrapped", "2026-03-20", lot="T1", place="C-T1", alive=23, failed=1)
    )
    await bench.given(
        event("event.voided", "2026-04-06", event=counted.id, reason="another table"),
    )
    await bench.given(
        event("push.counted", "2026-04-06", lot="T1", place="C-T1", pushed=12, waiting=11, failed=1)
    )
    await bench.given(
        event("trees.moved", "2026-04-08", lot="T1", stage="pushed", count=12, to="C-T2"),
        event("place.checked", "2026-04-09", place="C-T2"),
        event("liners.discarded", "2026-04-10", lot="L1", count=1, cause="dead_stock"),
    )
    await bench.given(
        event(
            "consignment.sent",
            "2026-04-20",
            consignment="CON-1",
            to_site="TARNA",
            lines=[{"lot": "T1", "place": "C-T2", "stage": "pushed", "count": 5}],
        )
    )


async def test_every_view_rebuilt_is_as_it_was_kept(database, bench: BenchSide) -> None:
    runner = Runner(database, every_view())
    await bench.grafted(24)
    await runner.catch_up()
    await bench.given(event("trees.lost", "2026-03-07", lot="T1", count=1, cause="breakage"))
    await runner.catch_up()
    # Nothing has pushed, so nothing can have grown on.
    await _filled(database, "alerts", "growth")
    await _all_right(database)


async def test_a_year_step_by_step_is_as_a_year_at_once(database, bench: BenchSide) -> None:
    runner = Runner(database, every_view(), poll_seconds=0.2)
    await runner.start()
    try:
        await _year(bench)
        head = await database.writer.fetchval("SELECT position FROM log_head")
        await runner.caught_up(head, 30)
    finally:
        await runner.stop()
    assert await database.writer.fetchval("SELECT count(*) FROM view_faults") == 0
    await _filled(database)
    await _all_right(database)
    page = await checks(
        database.reader, ChecksQuery(lot="T1", place="C-T1"), None, clock=lambda: NOW
    )
    # unwrapped on 20 March; walked on 6 April, the voided count does not matter
    assert {(c.check, c.last_done) for c in page.rows} == {
        ("force", None),
        ("push_walk", date(2026, 4, 6)),
    }
    trace = await trace_forward(database.reader, "source_tree", "ST-1", None)
    assert trace is not None
    trees = next(step for step in trace.steps if step.code == "T1")
    assert {(w.state, w.site, w.place, w.quantity) for w in trees.whereabouts} == {
        ("here", "CORIN", "C-T1", 11),
        ("here", "CORIN", "C-T2", 7),
        ("failed", "CORIN", "C-T1", 1),
        ("moving", "TARNA", "CON-1", 5),
    }


async def test_a_view_that_is_wrong_is_found_out_and_left_as_it_is(
    database, bench: BenchSide
) -> None:
    await Runner(database, every_view()).catch_up()
    await bench.grafted(24)
    # what has not been applied yet is no difference
    await _all_right(database)
    await Runner(database, every_view()).catch_up()
    await database.writer.execute("UPDATE checks_due SET trees = 23 WHERE check_name = 'read_take'")
    found = (await differences(database))["checks"]
    assert [line.split(" (")[0] for line in found] == ["kept checks_due", "anew checks_due"]
    assert (
        await database.writer.fetchval("SELECT max(trees) FILTER (WHERE lot <> '') FROM checks_due")
        == 23
    )
    await Runner(database, every_view()).rebuild("checks")
    await _all_right(database)


async def test_a_recorded_check_shows_at_once(database, bench: BenchSide) -> None:
    """Aim: half of them within 50 ms of the writer's answer; the bound leaves room."""
    runner = Runner(database, every_view(), poll_seconds=3600)
    await runner.start()
    try:
        await bench.grafted(24)
        took = []
        for day in range(10, 30):
            verdict = await bench.when(
                event("tops.forced", f"2026-03-{day}", lot="T1", place="C-T1", technique="bent")
            )
            start = time.perf_counter()
            assert verdict.position is not None
            assert await wait_for(database.reader, "checks", verdict.position, 10)
            took.append(time.perf_counter() - start)
    finally:
        await runner.stop()
    assert sorted(took)[10] < 0.5

"""What a view cannot apply is set aside and told, and keeps it from nothing else.

Real breakages: a table that refuses a row, a row of the log that cannot be read.
"""

from typing import Any

from service.jobs.every_view import every_view, telling_faults
from service.reminders.alerts import AlertsQuery, alerts
from service.storage.pool import Database
from service.views.rebuild import rebuild
from service.views.runner import Runner
from tests.support.bench_side import NOW, event


def _clock() -> Any:
    return NOW


def _view(name: str) -> Any:
    return next(view for view in every_view() if view.name == name)


async def _faults(database: Database, state: str | None = None) -> list[tuple]:
    query = AlertsQuery(kind="view_fault", state=state)
    page = await alerts(database.reader, query, ["CORIN"], clock=_clock)
    return [(row.subject, row.state) for row in page.rows]


async def test_a_lot_that_cannot_be_computed_is_set_aside_with_an_alert_until_it_can(
    database, bench, administrator
) -> None:
    """A real breakage: the table refuses the row of one lot."""
    await bench.stocked()
    await administrator.execute(
        "ALTER TABLE take ADD CONSTRAINT broken CHECK (lot <> 'T2' OR alive = 0)"
    )
    runner = Runner(database, every_view(), on_faults=telling_faults(_clock))
    for lot in ("T1", "T2", "T3"):
        await bench.given(bench.graft(4, lot=lot))
        await bench.given(event("grafts.unwrapped", "2026-03-20", lot=lot, alive=4))
    await runner.catch_up()
    rows = await database.writer.fetch("SELECT lot, alive FROM take ORDER BY lot")
    assert [tuple(row) for row in rows] == [("T1", 4), ("T3", 4)]
    assert await _faults(database) == [("T2", "open")]
    # a rebuild meets it again, and loses no other lot to it
    done = await rebuild(database, _view("take"), on_faults=telling_faults(_clock))
    assert (done.set_aside, done.differences) == (1, 0)
    assert await _faults(database) == [("T2", "open")]
    await administrator.execute("ALTER TABLE take DROP CONSTRAINT broken")
    await bench.given(event("tops.forced", "2026-03-21", lot="T2", place="C-T1"))
    await runner.catch_up()
    assert await _faults(database) == [("T2", "closed")]
    assert await database.writer.fetchval("SELECT alive FROM take WHERE lot = 'T2'") == 4


async def test_an_event_that_cannot_be_added_is_set_aside_and_a_rebuild_takes_it_in(
    database, bench, administrator
) -> None:
    await bench.stocked()
    await administrator.execute(
        "ALTER TABLE stock_by_day ADD CONSTRAINT broken CHECK (kind <> 'lost')"
    )
    runner = Runner(database, every_view(), on_faults=telling_faults(_clock))
    discarded = {"lot": "L1", "count": 3, "cause": "disease"}
    (verdict,) = await bench.given(event("liners.discarded", "2026-03-04", **discarded))
    await bench.given(bench.graft(24))
    await runner.catch_up()
    subject = f"position:{verdict.position}"
    assert await _faults(database) == [(subject, "open")]
    trees = "SELECT sum(delta) FROM stock_by_day WHERE kind = $1"
    assert await database.writer.fetchval(trees, "trees") == 24
    assert await database.writer.fetchval(trees, "lost") is None
    await administrator.execute("ALTER TABLE stock_by_day DROP CONSTRAINT broken")
    await rebuild(database, _view("stock_by_day"), on_faults=telling_faults(_clock))
    assert await _faults(database) == [(subject, "closed")]
    assert await database.writer.fetchval(trees, "lost") == 3


async def test_an_event_that_cannot_be_read_keeps_no_view_from_the_others(
    database, bench, administrator
) -> None:
    """A row of the log that was broken from outside, past the service."""
    await bench.stocked()
    await bench.given(bench.graft(4, lot="T1"), bench.graft(4, lot="T2"))
    (verdict,) = await bench.given(
        event("push.counted", "2026-04-01", lot="T1", place="C-T1", pushed=1, waiting=3)
    )
    await administrator.execute("ALTER TABLE events DISABLE TRIGGER events_append_only")
    await administrator.execute(
        "UPDATE events SET data = '{\"lot\": 5}' WHERE position = $1", verdict.position
    )
    await administrator.execute("ALTER TABLE events ENABLE TRIGGER events_append_only")
    runner = Runner(database, every_view(), on_faults=telling_faults(_clock))
    await runner.catch_up()
    assert set(await _faults(database)) >= {("T1", "open"), ("lot:T1", "open")}
    told = "SELECT count(*) FROM push_observations WHERE lot = $1"
    assert await database.writer.fetchval(told, "T2") == 1
    reached = await database.writer.fetch("SELECT position FROM view_checkpoints WHERE live")
    assert {row["position"] for row in reached} == {verdict.position}

"""The runner: exactly once over several processes, woken at once, faults set aside."""

import asyncio
import time
from typing import Literal

import asyncpg
import pytest

from service.views.applying import Batch, Table
from service.views.positions import position, wait_for
from service.views.runner import Runner
from service.views.stock_by_day import StockByDay
from tests.support.nursery import graft, nursery, season


class Bad:
    """A view that cannot apply one position."""

    name = "bad"
    kind: Literal["additive"] = "additive"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()

    def __init__(self, refuses: int) -> None:
        self.refuses = refuses
        self.applied: list[int] = []

    async def apply(self, conn, batch: Batch) -> None:
        if batch.after < self.refuses <= batch.through:
            await conn.execute("SELECT 1 / 0")
        self.applied += range(batch.after + 1, batch.through + 1)

    async def outdated(self, conn, batch: Batch) -> bool:
        return False


class Lots:
    """A view of lots that cannot compute one lot until it is told so."""

    name = "lots"
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()

    def __init__(self) -> None:
        self.refuses = {"TR1"}
        self.computed: list[str] = []

    async def touched(self, conn, batch: Batch) -> list[str]:
        rows = await conn.fetch(
            "SELECT DISTINCT code FROM subjects WHERE kind = 'lot' "
            "AND position > $1 AND position <= $2",
            batch.after,
            batch.through,
        )
        return [row["code"] for row in rows]

    async def everything(self, conn) -> list[str]:
        return [row["code"] for row in await conn.fetch("SELECT code FROM lots")]

    async def recompute(self, conn, subjects: list[str]) -> None:
        if self.refuses & set(subjects):
            raise KeyError("no such stage")
        self.computed += subjects


async def test_two_runners_count_every_event_once(database) -> None:
    book = await nursery(database.writer)
    first = Runner(database, [StockByDay()], poll_seconds=0.05)
    second = Runner(database, [StockByDay()], poll_seconds=0.05)
    await first.start()
    await second.start()
    try:
        await season(book)
        for n in range(10):
            await graft(book, f"TX{n}", "2026-03-12", count=1)
        await first.caught_up(book.position, 20)
        await second.caught_up(book.position, 20)
    finally:
        await first.stop()
        await second.stop()
    trees = await database.writer.fetchval(
        "SELECT sum(delta) FROM stock_by_day WHERE kind = 'trees'"
    )
    assert trees == 40


async def test_an_event_is_visible_at_once(database) -> None:
    """The notice of the log wakes the view: nobody waits for the poll, here an hour."""
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [StockByDay()], poll_seconds=3600)
    await runner.start()
    try:
        await runner.caught_up(book.position, 20)
        took = []
        for n in range(15):
            written = await graft(book, f"TX{n}", "2026-03-12", count=1)
            start = time.perf_counter()
            assert await wait_for(database.reader, "stock_by_day", written, 10) >= written
            took.append(time.perf_counter() - start)
        assert sorted(took)[7] < 0.5
    finally:
        await runner.stop()


async def test_a_bad_event_is_set_aside_and_the_rest_goes_on(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    view = Bad(refuses=5)
    await Runner(database, [view]).catch_up()
    assert view.applied == [p for p in range(1, book.position + 1) if p != 5]
    faults = await database.writer.fetch("SELECT subject, position, error FROM view_faults")
    assert [(f["subject"], f["position"]) for f in faults] == [("position:5", 5)]
    assert "DivisionByZero" in faults[0]["error"]
    assert await position(database.reader, "bad") == book.position


async def test_a_bad_subject_is_set_aside_and_mended_when_it_comes_right(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    view = Lots()
    runner = Runner(database, [view])
    await runner.catch_up()
    assert set(view.computed) == {"BW1", "LN1", "TR2"}
    assert await database.writer.fetchval("SELECT subject FROM view_faults") == "TR1"
    view.refuses.clear()
    await book.event("tops.forced", "CORIN", "2026-03-20", {"lot": "TR1", "place": "C-T1"})
    await runner.catch_up()
    assert "TR1" in view.computed
    assert await database.writer.fetchval("SELECT count(*) FROM view_faults") == 0


class Interrupted(StockByDay):
    """Loses its connection after writing its rows, before the commit, so many times."""

    def __init__(self, times: int) -> None:
        self.times = times

    async def apply(self, conn, batch: Batch) -> None:
        await super().apply(conn, batch)
        if self.times:
            self.times -= 1
            raise asyncpg.ConnectionDoesNotExistError("gone")


async def test_a_step_cut_off_before_its_commit_counts_once(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Interrupted(times=1)], poll_seconds=0.01)
    with pytest.raises(asyncpg.ConnectionDoesNotExistError):
        await runner.catch_up()
    assert await position(database.reader, "stock_by_day") == 0
    assert await database.writer.fetchval("SELECT count(*) FROM stock_by_day") == 0
    assert await database.writer.fetchval("SELECT count(*) FROM view_faults") == 0
    runner = Runner(database, [Interrupted(times=2)], poll_seconds=0.01)
    await runner.start()
    try:
        await runner.caught_up(book.position, 20)
    finally:
        await runner.stop()
    trees = await database.writer.fetchval(
        "SELECT sum(delta) FROM stock_by_day WHERE kind = 'trees'"
    )
    assert trees == 30


async def test_a_lost_listener_comes_back(database) -> None:
    book = await nursery(database.writer)
    runner = Runner(database, [StockByDay()], poll_seconds=3600)
    await runner.start()
    try:
        await asyncio.wait_for(runner.listening.wait(), 20)
        administrator = await asyncpg.connect(database.dsn)
        ended = await administrator.fetch(
            "SELECT pg_terminate_backend(pid, 5000) AS ended FROM pg_stat_activity "
            "WHERE datname = current_database() AND query LIKE 'LISTEN%'"
        )
        await administrator.close()
        assert [row["ended"] for row in ended] == [True]
        await season(book)
        assert await wait_for(database.reader, "stock_by_day", book.position, 20) == book.position
    finally:
        await runner.stop()


async def test_a_start_after_a_rebuild_goes_on_where_it_was(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    await Runner(database, [StockByDay()]).rebuild("stock_by_day")
    before = await database.writer.fetch("SELECT * FROM stock_by_day ORDER BY 1,2,3,4,5,6,7,8,9")
    again = Runner(database, [StockByDay()])
    await again.catch_up()
    rows = await database.writer.fetch("SELECT generation, position FROM view_checkpoints")
    assert [tuple(row) for row in rows] == [(2, book.position)]
    after = await database.writer.fetch("SELECT * FROM stock_by_day ORDER BY 1,2,3,4,5,6,7,8,9")
    assert after == before


async def test_a_following_view_never_runs_ahead(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    first, after = Bad(refuses=-1), Bad(refuses=-1)
    after.name, after.follows = "after", ("bad",)
    runner = Runner(database, [after, first])
    await runner._ensure()
    assert await runner.step("after") is False
    assert await position(database.reader, "after") == 0
    await runner.step("bad")
    await runner.step("after")
    assert await position(database.reader, "after") == book.position


async def test_waiting_gives_up_in_time(database) -> None:
    await nursery(database.writer)
    start = time.perf_counter()
    assert await wait_for(database.reader, "stock_by_day", 99, 0.05) == 0
    assert time.perf_counter() - start < 5


async def test_stopping_ends_all_tasks(database) -> None:
    runner = Runner(database, [StockByDay()], poll_seconds=3600)
    await runner.start()
    await asyncio.wait_for(runner.stop(), 10)
    assert not [t for t in asyncio.all_tasks() if t.get_name().startswith("view")]


async def test_of_many_processes_one_builds_an_outdated_view_anew(database, administrator) -> None:
    """The others go on with what else there is, and look again later."""
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [StockByDay()])
    await runner.catch_up()
    await database.writer.execute("UPDATE view_checkpoints SET outdated = true")
    await database.writer.execute("DELETE FROM stock_by_day")
    # given another process that is at it
    held = "SELECT {}(hashtextextended('build stock_by_day', 0))"
    await administrator.execute(held.format("pg_advisory_lock"))
    # when this one looks, it leaves the view alone
    assert not await runner.step("stock_by_day")
    assert await database.writer.fetchval("SELECT count(*) FROM stock_by_day") == 0
    # then, when nobody is, it builds it, once
    await administrator.execute(held.format("pg_advisory_unlock"))
    assert await runner.step("stock_by_day")
    assert await database.writer.fetchval("SELECT count(*) FROM stock_by_day") > 0
    assert not await runner.step("stock_by_day")
    assert await database.writer.fetchval("SELECT generation FROM view_checkpoints") == 2

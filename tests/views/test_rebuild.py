"""Views built anew: the same as kept step by step, put in place under readers' eyes, cut off."""

import asyncio
import os
import random
import re
import sys
from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from service.forecast.known import load_known
from service.forecast.replay import Replay
from service.jobs.every_view import differences, every_view
from service.storage.walls import seeing
from service.views.rebuild import rebuild
from service.views.runner import Runner
from tests.support import commands
from tests.support.bench_side import NOW, BenchSide, event


def _clock() -> Any:
    return NOW


def _view(name: str) -> Any:
    return next(view for view in every_view() if view.name == name)


def _a_day(chance: random.Random) -> str:
    return f"2026-0{chance.choice('3345')}-{chance.randint(6, 28):02}"


def _random_event(chance: random.Random, told: list[str], number: int) -> Any:
    """Anything that might happen to the lots, the liners and the bag; not all of it can be."""
    lot = chance.choice(["T1", "T1", "T2", "T3"])
    place, other = chance.sample(["C-T1", "C-T2"], 2)
    stage = chance.choice(["grafted", "grafted", "pushed", "failed", "ready"])
    day, count = _a_day(chance), chance.randint(1, 5)
    here = {"lot": lot, "place": place}
    standing = here | {"stage": stage, "size": "P9"}
    consignment = f"CON-{chance.randint(1, 2)}"
    liner = {"lot": "L1", "place": "C-T1"}
    grade = {"stage": "ready", "grade": chance.choice(["first", "second"])}
    people = chance.choice([[], [("p-01", count)], [("p-01", 1), ("p-02", count)]])
    by_hand = [{"person": person, "count": n} for person, n in people]
    by_hand = by_hand or [{"person": "p-03", "count": count}]
    choices: list[Any] = [
        event("trees.grafted", day, lot=f"T{chance.randint(2, 4)}", from_=[{"bag": "B1"}],
              onto={"liner_lot": "L1"}, method="t_bud", place=place, grafters=by_hand),
        event("trees.regrafted", day, lot=f"R{number}", of=lot, of_place=place,
              from_=[{"bag": "B1"}], method="chip_bud", count=count, place=place),
        event("grafts.unwrapped", day, **here, alive=chance.randint(0, 12), failed=count),
        event("push.counted", day, **here, size="P9", pushed=chance.randint(0, 9),
              waiting=chance.randint(0, 9), unclear=chance.choice([0, 0, 2]),
              removed=chance.choice([[], [{"count": 1, "cause": "pest"}]])),
        event("trees.lost", day, **standing, count=count, cause=chance.choice(["frost", "culled"])),
        event("trees.moved", day, **standing, count=count, to=other),
        event("trees.graded", day, **standing, outcomes=[grade | {"count": count}]),
        event("trees.sold", day, customer="cust-1", lines=[standing | {"count": count}]),
        event("stock.counted", day, reason="walk", lines=[standing | {"counted": count}]),
        event("liners.discarded", day, **liner, count=count, cause="disease"),
        event("budwood.discarded", day, lines=[{"bag": "B1", "buds": 1}], cause="dried"),
        event("label.lost", day, lot=f"U{number}", lines=[standing | {"count": 1}]),
        event("consignment.sent", day, consignment=consignment, to_site="TARNA",
              lines=[standing | {"count": count}]),
        event("consignment.received", day, "TARNA", consignment=consignment,
              lines=[{"lot": lot, "place": "T-T1", "stage": stage, "count": 1, "dead": 1}]),
        event("place.checked", day, place=place),
    ]  # fmt: skip
    if told and chance.random() < 0.2:
        return event("event.voided", day, event=chance.choice(told), reason="not so")
    return chance.choice(choices)


@pytest.mark.parametrize("seed", range(3))
async def test_step_by_step_is_as_at_once_whatever_happened(database, bench, seed: int) -> None:
    """Late and voided events among them; the days are drawn from three months in any order."""
    chance = random.Random(seed)
    runner = Runner(database, every_view())
    await bench.grafted(30)
    told: list[str] = []
    kinds = set()
    for number in range(12):
        events = [_random_event(chance, told, 10 * number + n) for n in range(10)]
        answer = await bench.send(*events, mode="each")
        for one, verdict in zip(events, answer.verdicts, strict=True):
            if verdict.position is not None:
                told.append(verdict.id)
                kinds.add(one["type"])
        await runner.catch_up()
    assert len(told) > 30
    assert {"event.voided", "trees.grafted", "push.counted"} <= kinds
    found = await differences(database)
    assert len(found) > 6
    assert not any(found.values()), found
    assert await database.writer.fetchval("SELECT count(*) FROM view_faults") == 0
    for table in ("take", "losses", "push_observations", "growth"):
        assert await database.writer.fetchval(f"SELECT count(*) FROM {table}")
    # what a forecast is made from is read out of views and books; the log alone tells the same
    today = dict.fromkeys(("CORIN", "TARNA"), _clock().date() + timedelta(days=1))
    async with seeing(database.reader, None) as conn:
        replay = await Replay.load(conn)
        known = await load_known(conn, today)
        assert await replay.at(conn, _clock().date()) == known
    assert known.standing.lot


async def test_a_wrong_view_is_put_right_and_what_was_wrong_is_told(database, bench) -> None:
    await bench.grafted(24)
    await Runner(database, every_view()).catch_up()
    await database.writer.execute("UPDATE stock_by_day SET delta = delta + 1 WHERE kind = 'trees'")
    await database.writer.execute("DELETE FROM stock_by_day WHERE kind = 'used'")
    lines: list[str] = []
    checked = await rebuild(database, _view("stock_by_day"), swap=False, found=lines.append)
    assert [line.split(" (")[0] for line in lines] == [
        "kept stock_by_day",
        "anew stock_by_day",
        "anew stock_by_day",
    ]
    assert checked.differences == 3
    assert (await rebuild(database, _view("stock_by_day"))).differences == 3
    assert (await rebuild(database, _view("stock_by_day"))).differences == 0
    row = await database.writer.fetchrow(
        "SELECT generation, position FROM view_checkpoints WHERE view = 'stock_by_day'"
    )
    assert tuple(row) == (3, checked.position)


async def test_what_is_recorded_meanwhile_is_in_it(database, bench) -> None:
    """The log goes on while a view is built, and the live view with it."""
    await bench.grafted(24)
    runner = Runner(database, every_view(), poll_seconds=0.05)
    await runner.start()
    try:
        recording = asyncio.create_task(_go_on(bench, 40))
        while not recording.done():
            for name in ("take", "stock_by_day"):
                assert (await rebuild(database, _view(name))).differences == 0
        head = await recording
        await runner.caught_up(head, 30)
    finally:
        await runner.stop()
    assert not any((await differences(database)).values())


async def _go_on(bench: BenchSide, times: int) -> int:
    position = 0
    for number in range(times):
        to = "C-T2" if number % 2 == 0 else "C-T1"
        verdict = await bench.when(
            event("trees.moved", "2026-03-20", lot="T1", stage="grafted", count=24, to=to)
        )
        assert verdict.position, verdict
        position = verdict.position
    return position


async def test_no_reader_sees_an_empty_or_half_a_view(database, bench) -> None:
    """All rows are wrong beforehand, so that every one of them is swapped under readers' eyes."""
    await bench.stocked()
    for number in range(30):
        await bench.given(bench.graft(1, lot=f"T{number}"))
    await Runner(database, every_view()).catch_up()
    await database.writer.execute("UPDATE take SET cultivar = 'WRONG'")
    seen: set[tuple[int, str]] = set()
    reading, ended = asyncio.Event(), asyncio.Event()

    async def read() -> None:
        async with database.writer.acquire() as conn:
            while not ended.is_set():
                rows = await conn.fetch("SELECT cultivar, count(*) FROM take GROUP BY 1")
                assert len(rows) == 1, rows
                seen.add((rows[0]["count"], rows[0]["cultivar"]))
                reading.set()

    async def one_moment() -> None:
        """A reader in the middle of its questions goes on seeing what it saw."""
        async with (
            database.writer.acquire() as conn,
            conn.transaction(isolation="repeatable_read", readonly=True),
        ):
            before = await conn.fetch("SELECT * FROM take ORDER BY lot")
            begun.set()
            await ended.wait()
            assert await conn.fetch("SELECT * FROM take ORDER BY lot") == before

    begun = asyncio.Event()
    readers = [asyncio.create_task(read()), asyncio.create_task(one_moment())]
    await reading.wait()
    await begun.wait()
    try:
        # in its own time, with readers who do not let go
        done = await asyncio.wait_for(rebuild(database, _view("take")), 30)
        reading.clear()
        await asyncio.wait_for(reading.wait(), 30)
        await asyncio.wait_for(reading.wait(), 30)
    finally:
        ended.set()
        await asyncio.gather(*readers)
    assert done.differences == 60
    assert seen == {(30, "WRONG"), (30, "NAVEL")}


async def _until(ask: Any) -> Any:
    """What `ask` finds, as soon as it finds anything."""
    async with asyncio.timeout(60):
        while True:
            if found := await ask():
                return found
            await asyncio.sleep(0.02)


async def test_killed_in_the_middle_it_leaves_the_live_view_and_nothing_behind(
    database, bench, administrator
) -> None:
    await bench.grafted(24)
    await Runner(database, every_view()).catch_up()
    await database.writer.execute("UPDATE losses SET quantity = 7")
    await database.writer.execute("UPDATE take SET cultivar = 'WRONG'")
    before = await administrator.fetch("SELECT * FROM take")
    # Held back when its tables are there and it reads what to fill them with.
    hold = administrator.transaction()
    await hold.start()
    await administrator.execute("LOCK TABLE subjects IN ACCESS EXCLUSIVE MODE")
    async with commands.running(
        "rebuild", "take", DATABASE_URL=database.dsn, DATA_DIR="/nonexistent"
    ) as command:
        waiting = (
            "SELECT pid FROM pg_stat_activity WHERE datname = current_database() "
            "AND wait_event_type = 'Lock' AND query LIKE '%FROM subjects%'"
        )
        watcher = await asyncpg.connect(database.dsn)

        async def held_back() -> Any:
            assert command.process.returncode is None, await command.rest()
            return await watcher.fetchval(waiting)

        await _until(held_back)
        temporary = "SELECT count(*) FROM pg_class WHERE relpersistence = 't' AND relkind = 'r'"
        assert await watcher.fetchval(temporary) > 0
        command.process.kill()
        await command.process.wait()
    await hold.rollback()

    async def gone() -> bool:
        return not await watcher.fetchval(temporary)

    await _until(gone)
    await watcher.close()
    assert await administrator.fetch("SELECT * FROM take") == before
    generations = "SELECT generation, live FROM view_checkpoints WHERE view = 'take'"
    assert [tuple(row) for row in await administrator.fetch(generations)] == [(1, True)]
    again = await commands.graftlog(
        "rebuild", "take", DATABASE_URL=database.dsn, DATA_DIR="/nonexistent"
    )
    assert again.code == 0, again.err
    assert "2 rows differed and were put right" in again.out
    assert await administrator.fetchval("SELECT cultivar FROM take") == "NAVEL"


async def test_the_command_says_what_differs_and_what_there_is(database, bench) -> None:
    await bench.grafted(24)
    await Runner(database, every_view()).catch_up()
    here = {"DATABASE_URL": database.dsn, "DATA_DIR": "/nonexistent"}
    checked = await commands.graftlog("rebuild", "--all", "--check", **here)
    assert checked.code == 0, checked.err
    for view in every_view():
        words = "all rows as they were"
        assert re.search(rf"^{view.name}: \d+ events in .*{words}", checked.out, re.MULTILINE)
    await database.writer.execute("DELETE FROM lineage WHERE child = 'lot:T1'")
    checked = await commands.graftlog("rebuild", "lineage", "--check", **here)
    assert checked.code == 1
    assert "anew lineage (lot:T1,bag:B1,T1)" in checked.out
    assert "3 rows differ; nothing was changed" in checked.out
    unknown = await commands.graftlog("rebuild", "nothing", **here)
    assert unknown.code == 2
    assert "there are: checks, alerts" in unknown.err


async def test_where_temporary_tables_are_not_allowed_it_says_what_would_help(
    database, bench, administrator
) -> None:
    name = await administrator.fetchval("SELECT current_database()")
    await administrator.execute(f'REVOKE TEMPORARY ON DATABASE "{name}" FROM PUBLIC')
    here = {"DATABASE_URL": database.dsn, "DATA_DIR": "/nonexistent"}
    told = await commands.graftlog("rebuild", "take", **here)
    assert told.code == 1
    assert f"GRANT TEMPORARY ON DATABASE {name} TO graftlog_writer" in told.err


async def test_somebody_who_looks_on_sees_how_far_it_is(database, bench) -> None:
    """Standard error is a terminal here."""
    await bench.grafted(24)
    ours, theirs = os.openpty()
    try:
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "service.cli", "rebuild", "take"),
            env=commands.environment({"DATABASE_URL": database.dsn, "DATA_DIR": "/nonexistent"}),
            stdout=asyncio.subprocess.PIPE,
            stderr=theirs,
        )
        out, _ = await asyncio.wait_for(process.communicate(), 60)
        shown = os.read(ours, 100_000).decode()
    finally:
        os.close(ours)
        os.close(theirs)
    assert process.returncode == 0
    assert re.search(r"take +\[#{24}\] 100% 18 of 18 events, [\d,]+ a second", shown)
    assert b"take: 18 events in" in out


async def test_wood_that_was_of_another_cultivar_all_along(database, bench) -> None:
    """The cutting is voided and told anew: what came of it is of the other cultivar too."""
    cut = {"bags": [{"bag": "B1", "buds": 40, "sticks": 3, "place": "C-BOX"}], "lot": "BW1"}
    runner = Runner(database, every_view())
    await bench.nursery()
    liners = {"lot": "L1", "rootstock": "CARRIZO", "size": "P9", "supplier": "sup-1"}
    wrong, _, _ = await bench.given(
        event("budwood.received", "2026-03-01", **cut, cultivar="NAVEL", supplier="sup-1"),
        event("liners.received", "2026-03-01", **liners, lines=[{"place": "C-T1", "count": 100}]),
        bench.graft(24),
    )
    await bench.given(
        event("grafts.unwrapped", "2026-03-20", lot="T1", alive=22, failed=2),
        event("trees.lost", "2026-03-22", lot="T1", stage="grafted", count=2, cause="frost"),
        event("push.counted", "2026-03-30", lot="T1", place="C-T1", pushed=12, waiting=8),
    )
    await runner.catch_up()
    right = event("budwood.received", "2026-03-01", **cut, cultivar="LIMA", supplier="sup-1")
    await bench.given(
        event("event.voided", "2026-04-01", event=wrong.id, reason="mixed up"),
        right | {"replaces": wrong.id},
    )
    await runner.catch_up()
    views = ("take", "losses", "push_observations", "growth", "checks_due", "stock_by_day")
    for table in (*views, "budwood_on_hand"):
        found = await database.writer.fetch(
            f"SELECT DISTINCT cultivar FROM {table} WHERE cultivar <> '' ORDER BY 1"
        )
        assert [row["cultivar"] for row in found] == ["LIMA"], table
    assert not any((await differences(database)).values())

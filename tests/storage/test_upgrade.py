"""A database that was in use before take, work orders and walls, brought to the newest revision.

Its rows are made by today's writer and put into the tables of revision 0003, as far as these had
the columns; the kept views are left as they stood before a lot was made anew, which their older
code did not notice.
"""

import io
from collections.abc import AsyncIterator
from typing import Any
from uuid import UUID

import asyncpg
import pytest

from service import cli_selftest_books
from service.cli_selftest_finding import State
from service.jobs.every_view import differences, every_view
from service.log.append import Appender
from service.log.keys import create_key
from service.settings import Settings
from service.storage.migrate import migrate, revisions
from service.storage.pool import Database, open_database
from service.storage.walls import seeing
from service.views.runner import Runner
from tests.support.bench_side import NOW, BenchSide, event

OLD = "0003_views"
GRAFTED = "01980000-0000-7000-8000-000000000001"
REFUSED = "01980000-0000-7000-8000-000000000002"
# Filled by hand, below, or not kept by the upgrade.
_NOT_COPIED = ("alembic_version", "to_put_right", "keys", "ready_dates")
_OLD_VIEWS = ("alerts", "budwood", "checks", "lineage", "stock_by_day")
# What the columns held before.
_AS_THEN = {("events", "data"): "data - 'work_order' AS data"}
BAG = {"bag": "B1", "buds": 40, "sticks": 3, "place": "C-BOX"}


def _clock() -> Any:
    return NOW


def _views(database: Database) -> Runner:
    return Runner(database, every_view())


def _wood(cultivar: str, **more: Any) -> Any:
    return event(
        "budwood.received", "2026-03-01", lot="BW1", cultivar=cultivar, supplier="sup-1",
        bags=[BAG], **more,
    )  # fmt: skip


def _graft() -> Any:
    return {**BenchSide.graft(None, 24), "id": GRAFTED}  # type: ignore[arg-type]


async def _story(database: Database, bench: BenchSide) -> None:
    """Trees grafted, read, pushed and lost; then the wood turns out to be of another cultivar."""
    await bench.nursery()
    liners = {"lot": "L1", "rootstock": "CARRIZO", "size": "P9", "supplier": "sup-1"}
    wrong, *_ = await bench.given(
        _wood("NAVEL"),
        event("liners.received", "2026-03-01", **liners, lines=[{"place": "C-T1", "count": 100}]),
        _graft(),
        event("grafts.unwrapped", "2026-03-20", lot="T1", alive=20, failed=4),
        event("push.counted", "2026-04-01", lot="T1", pushed=5, waiting=15),
        event("trees.lost", "2026-04-02", lot="T1", stage="pushed", count=2, cause="frost"),
    )
    await _views(database).catch_up()
    await bench.given(
        event("event.voided", "2026-04-03", event=wrong.id, reason="mixed up"),
        _wood("LIMA", replaces=wrong.id),
    )


async def _copy(new: Any, old: Any) -> None:
    """Every table of the old database gets its rows, in the columns that it has."""
    tables = await old.fetch(
        "SELECT table_name::text AS name, array_agg(column_name::text) AS columns "
        "FROM information_schema.columns WHERE table_schema = 'public' "
        "AND table_name <> ALL ($1) GROUP BY 1",
        _NOT_COPIED,
    )
    await old.execute("DELETE FROM log_head")
    for name, columns in tables:
        rows = io.BytesIO()
        taken = ", ".join(_AS_THEN.get((name, column), f'"{column}"') for column in columns)
        await new.copy_from_query(f'SELECT {taken} FROM "{name}"', output=rows, format="binary")
        rows.seek(0)
        await old.copy_to_table(name, columns=columns, source=rows, format="binary")
    await old.execute(
        "UPDATE view_checkpoints SET position = (SELECT position FROM log_head)",
    )
    await old.execute("DELETE FROM view_checkpoints WHERE view <> ALL ($1)", _OLD_VIEWS)


async def _refused(old: Any, who: str, site: str | None, event_id: str | None = None) -> None:
    await old.execute(
        "INSERT INTO to_put_right (event_id, principal, site, raw, reasons, first_at, last_at) "
        "VALUES ($1, $2, $3, '{}', '[]', $4, $4)",
        None if event_id is None else UUID(event_id),
        who,
        site,
        NOW,
    )


@pytest.fixture
async def upgraded(database: Database, empty_settings: Settings) -> AsyncIterator[Database]:
    """The old database, migrated; no view has looked at it yet."""
    appender = Appender(database, clock=_clock)
    await appender.start()
    await _story(database, BenchSide(appender, database))
    await appender.stop()
    async with await open_database(empty_settings) as old:
        await migrate(old, to=OLD)
        new_side, old_side = [await asyncpg.connect(one.dsn) for one in (database, old)]
        await _copy(new_side, old_side)
        async with old.writer.acquire() as connection:
            for who, sites in (("hand", {"TARNA"}), ("office", {"*"})):
                await create_key(connection, name=who, role="recorder", sites=frozenset(sites))
        await _refused(old_side, "hand", "TARNA", REFUSED)
        await _refused(old_side, "hand", "CORIN")
        await _refused(old_side, "hand", "NOWHERE")
        await _refused(old_side, "office", "CORIN")
        await _refused(old_side, "office", "NOWHERE")
        await _refused(old_side, "gone", "TARNA")
        await _refused(old_side, "hand", None)
        await old_side.execute(
            "INSERT INTO alerts (id, key, kind, origin, site, sites, detail, numbers, raised_at) "
            "SELECT gen_random_uuid(), 'to_put_right/' || id, 'to_put_right', 'watch', site, "
            "ARRAY[site], '', '{}', last_at FROM to_put_right WHERE site = 'NOWHERE' "
            "AND principal = 'hand'"
        )
        for side in (new_side, old_side):
            await side.close()
        assert await migrate(old) == revisions()[revisions().index(OLD) + 1 :]
        yield old


async def test_views_are_what_the_log_says(upgraded: Database) -> None:
    """New ones are filled from the whole log; kept ones that their older code got wrong are built
    anew by the runner, and only once."""
    runner = _views(upgraded)
    await runner.catch_up()
    assert not any((await differences(upgraded)).values())
    taken = await upgraded.writer.fetchrow("SELECT cultivar, grafted, alive, failed FROM take")
    assert tuple(taken) == ("LIMA", 24, 20, 4)
    kept = "SELECT DISTINCT cultivar FROM {} WHERE cultivar <> ''"
    for table in ("checks_due", "budwood_on_hand", "stock_by_day"):
        rows = await upgraded.writer.fetch(kept.format(table))
        assert [row["cultivar"] for row in rows] == ["LIMA"], table
    generations = "SELECT view, generation FROM view_checkpoints ORDER BY 1"
    before = await upgraded.writer.fetch(generations)
    await runner.catch_up()
    assert await upgraded.writer.fetch(generations) == before


async def test_the_selftest_says_what_is_still_to_come(upgraded: Database) -> None:
    """Views that wait to be built anew are no fault, and no success either."""
    waiting = await cli_selftest_books.views(upgraded, _clock)
    assert waiting.state is State.NOTE
    assert "wait to be built anew" in waiting.words
    assert "budwood, checks, lineage, stock_by_day" in waiting.words
    await _views(upgraded).catch_up()
    assert (await cli_selftest_books.views(upgraded, _clock)).state is State.OK


async def test_the_log_goes_on(upgraded: Database) -> None:
    """What was told before the upgrade is known after it, and can be voided; orders begin."""
    appender = Appender(upgraded, clock=_clock)
    await appender.start()
    bench = BenchSide(appender, upgraded)
    assert (await bench.when(_graft())).verdict == "known"
    order = {"cultivar": "LIMA", "rootstock": "CARRIZO", "count": 10, "needed_by": "2026-05-01"}
    await bench.given(event("grafting.ordered", "2026-04-04", work_order="WO-1", **order))
    await bench.given(bench.graft(10, day="2026-04-05", lot="T2"))
    assert await upgraded.writer.fetchval("SELECT done FROM work_orders") == 10
    await appender.stop()
    await _views(upgraded).catch_up()
    assert not any((await differences(upgraded)).values())


async def test_what_waited_to_be_put_right_has_its_sites(upgraded: Database) -> None:
    """As today: the site named if the sender's key sees it, else the sites of that key."""
    rows = await upgraded.writer.fetch(
        "SELECT principal, site, sites, last_by FROM to_put_right ORDER BY id"
    )
    assert [(row["principal"], row["site"], row["sites"]) for row in rows] == [
        ("hand", "TARNA", ["TARNA"]),
        ("hand", "CORIN", ["TARNA"]),
        ("hand", "NOWHERE", ["TARNA"]),
        ("office", "CORIN", ["CORIN"]),
        ("office", "NOWHERE", ["NOWHERE"]),
        ("gone", "TARNA", []),
        ("hand", None, ["TARNA"]),
    ]
    assert all(row["last_by"] == row["principal"] for row in rows)
    # and who is told of it are those who may see to it
    alert = await upgraded.writer.fetchrow("SELECT site, sites FROM alerts WHERE closed_at IS NULL")
    assert tuple(alert) == (None, ["TARNA"])


async def test_rows_of_before_are_behind_the_walls(upgraded: Database) -> None:
    await _views(upgraded).catch_up()
    counted = "SELECT count(*) FROM {}"
    views = ("take", "losses", "push_observations", "growth", "stock_by_day")
    tables = ("events", "legs", *views)
    for sites, some in ((["CORIN"], True), (["TARNA"], False), ([], False)):
        async with seeing(upgraded.reader, sites) as connection:
            for table in tables[1:]:
                found = await connection.fetchval(counted.format(table))
                assert bool(found) is some, (table, sites)
    async with seeing(upgraded.reader, []) as connection:
        assert await connection.fetchval(counted.format("events")) == 0

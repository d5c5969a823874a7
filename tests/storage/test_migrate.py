"""Migrations: from nothing to the newest revision, by many at once, and never backwards."""

import asyncio

import asyncpg
import pytest

from service.settings import Settings
from service.storage import migrate as migrations
from service.storage.migrate import current, head, migrate, revisions
from service.storage.pool import Database, open_database
from service.storage.roles import DatabaseError


async def test_empty_to_head_and_again(empty_settings: Settings) -> None:
    async with await open_database(empty_settings) as database:
        assert await current(database.reader) is None
        assert await migrate(database) == revisions()
        assert await current(database.reader) == head()
        assert await migrate(database) == []
        assert await database.reader.fetchval("SELECT position FROM log_head") == 0
        owners = await database.reader.fetch(
            "SELECT DISTINCT tableowner::text FROM pg_tables WHERE schemaname = 'public'"
        )
        assert [row["tableowner"] for row in owners] == ["graftlog_owner"]


async def test_one_revision_at_a_time(empty_settings: Settings) -> None:
    async with await open_database(empty_settings) as database:
        ran = []
        for revision in revisions():
            ran += await migrate(database, to=revision)
            assert await current(database.writer) == revision
        assert ran == revisions()


async def test_many_processes_migrate_at_once(empty_settings: Settings) -> None:
    async with await open_database(empty_settings) as one, await open_database(empty_settings) as b:
        ran = await asyncio.gather(*(migrate(database) for database in (one, b, one, b)))
    assert sorted(ran, key=len) == [[], [], [], revisions()]


async def test_a_revision_gives_way_to_who_holds_its_table(
    empty_settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(migrations, "LOCK_TIMEOUT", "20ms")
    async with await open_database(empty_settings) as database:
        await migrate(database, to="0007_records_in")
        # given somebody who holds the table that the next revision alters
        holder = await database.connect("owner")
        await holder.execute("BEGIN; LOCK TABLE to_put_right IN SHARE MODE")
        # when it gives way, the table is free for others meanwhile
        pauses: list[float] = []
        sleep = asyncio.sleep

        async def others_go_on(seconds: float) -> None:
            if seconds != migrations.PAUSE_S:
                # It waits for who migrated before to be gone.
                await sleep(seconds)
                return
            pauses.append(seconds)
            await database.reader.fetchval("SELECT count(*) FROM to_put_right", timeout=1)
            if len(pauses) == 2:
                await holder.execute("ROLLBACK")

        monkeypatch.setattr(migrations.asyncio, "sleep", others_go_on)
        ran = await migrate(database)
        # then it comes back until it is done
        assert ran == revisions()[7:]
        assert pauses == [migrations.PAUSE_S] * 2
        await holder.close()


async def test_a_revision_that_locks_up_with_a_question_gives_way_too(
    empty_settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each has a table that the other waits for; the server ends one of them."""
    async with await open_database(empty_settings) as database:
        await migrate(database, to="0008_put_right")
        # given somebody who has read one table and asks for another, and is in no hurry
        asker = await asyncpg.connect(database.dsn)
        await asker.execute("SET deadlock_timeout = '1min'")
        await asker.execute("BEGIN; SELECT FROM legs")
        watcher = await asyncpg.connect(database.dsn)
        waits = "SELECT count(*) FROM pg_locks WHERE relation = 'legs'::regclass AND NOT granted"

        async def ask_for_what_is_locked() -> None:
            while not await watcher.fetchval(waits):
                await asyncio.sleep(0.01)
            await asker.execute("SELECT FROM events; COMMIT")

        # when the revision walls them all
        monkeypatch.setattr(migrations, "PAUSE_S", 0)
        _, ran = await asyncio.gather(ask_for_what_is_locked(), migrate(database))
        # then it was the revision that gave way, and came back
        assert ran == revisions()[8:]
        for connection in (asker, watcher):
            await connection.close()


async def test_a_revision_that_can_not_have_its_table_says_so(
    empty_settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(migrations, "LOCK_TIMEOUT", "5ms")
    monkeypatch.setattr(migrations, "PAUSE_S", 0)
    monkeypatch.setattr(migrations, "TRIES", 3)
    async with await open_database(empty_settings) as database:
        await migrate(database, to="0007_records_in")
        holder = await database.connect("owner")
        await holder.execute("BEGIN; LOCK TABLE to_put_right IN SHARE MODE")
        with pytest.raises(DatabaseError, match=r"gave up after 3 tries.*lock timeout.*try again"):
            await migrate(database)
        await holder.close()
        assert await current(database.reader) == "0007_records_in"


async def test_a_newer_database_is_left_alone(database: Database) -> None:
    owner = await database.connect("owner")
    await owner.execute("UPDATE alembic_version SET version_num = '9999_later'")
    await owner.close()
    with pytest.raises(DatabaseError, match="9999_later, which this version does not know"):
        await migrate(database)


async def test_a_clone_of_the_template_is_at_head(database: Database) -> None:
    assert await current(database.reader) == head()

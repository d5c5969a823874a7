"""A copy of the whole database and back: nothing missing, nobody waits, nothing overwritten."""

import asyncio
from dataclasses import replace
from pathlib import Path
from uuid import uuid4

import asyncpg
import httpx
import pytest

from service.cli_selftest import run_checks
from service.jobs import every_view
from service.log.append import Appender
from service.log.keys import create_key
from service.settings import Settings
from service.storage.backup import back_up, restore
from service.storage.migrate import current, head
from service.storage.pool import Database, open_database
from service.storage.roles import DatabaseError
from service.views.runner import Runner
from tests.support.bench_side import NOW, BenchSide, event
from tests.support.commands import graftlog, running
from tests.support.database import TestServer

ROWS = """
SELECT format('SELECT count(*) FROM %I', tablename) FROM pg_tables WHERE schemaname = 'public'
ORDER BY tablename
"""


@pytest.fixture
async def nursery(database: Database) -> Database:
    """A database with a little of everything in it."""
    await _tell(database)
    return database


async def _tell(database: Database) -> None:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.grafted(24)
    # refused: kept to be put right
    await bench.send(bench.graft(100, lot="T2"), mode="each")
    await Runner(database, every_view()).catch_up()
    async with database.writer.acquire() as connection:
        await create_key(connection, name="ada", role="recorder", sites=frozenset({"CORIN"}))
    await appender.stop()


async def _counts(database: Database) -> list[tuple[str, int]]:
    connection = await asyncpg.connect(database.dsn)
    try:
        asked = [row[0] for row in await connection.fetch(ROWS)]
        return [(one, await connection.fetchval(one)) for one in asked]
    finally:
        await connection.close()


def _files_in(folder: Path) -> list[Path]:
    return list(folder.iterdir())


async def test_a_restored_database_is_the_same_and_goes_on(
    nursery: Database, empty_settings: Settings, tmp_path: Path
) -> None:
    file = tmp_path / "nursery.dump"
    assert await back_up(nursery, file) == await nursery.writer.fetchval(
        "SELECT position FROM log_head"
    )
    assert file.stat().st_mode & 0o777 == 0o600
    assert _files_in(tmp_path) == [file]
    async with await open_database(empty_settings) as other:
        await restore(other, file)
        assert await _counts(other) == await _counts(nursery)
        said: list[str] = []
        assert await run_checks(other, said.append), said
        # the walls stand, and the log can still only be added to
        assert await other.reader.fetchval("SELECT count(*) FROM events") == 0
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await other.writer.execute("DELETE FROM events")
        appender = Appender(other, clock=lambda: NOW)
        await appender.start()
        bench = BenchSide(appender, other)
        lost = await bench.when(event("trees.lost", "2026-04-01", lot="T1", count=1, cause="heat"))
        assert lost.position == await nursery.writer.fetchval("SELECT position + 1 FROM log_head")
        # what was refused before the copy can be put right after it
        await bench.send(bench.graft(99, lot="T3"), mode="each")
        assert await other.writer.fetchval("SELECT count(*) FROM to_put_right") == 2
        await appender.stop()


async def test_a_copy_is_of_one_moment_while_others_write(
    database: Database, empty_settings: Settings, tmp_path: Path
) -> None:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.grafted(24)
    enough = asyncio.Event()

    async def go_on() -> int:
        told = 0
        while not enough.is_set():
            await bench.given(event("place.checked", "2026-04-01", place="C-T1"))
            told += 1
        return told

    writing = asyncio.create_task(go_on())
    await back_up(database, tmp_path / "copy")
    enough.set()
    assert await writing > 0
    await appender.stop()
    async with await open_database(empty_settings) as other:
        await restore(other, tmp_path / "copy")
        said: list[str] = []
        assert await run_checks(other, said.append), said


async def test_neither_a_file_nor_a_database_is_overwritten(
    nursery: Database, tmp_path: Path
) -> None:
    file = tmp_path / "copy"
    file.write_text("mine")
    with pytest.raises(DatabaseError, match="is there already"):
        await back_up(nursery, file)
    assert file.read_text() == "mine"
    with pytest.raises(DatabaseError, match=r"not empty.*GRAFTLOG_DATA_DIR"):
        await restore(nursery, file)
    with pytest.raises(DatabaseError, match="cannot write in"):
        await back_up(nursery, tmp_path / "nowhere" / "copy")


async def test_what_is_no_copy_leaves_the_database_empty(
    nursery: Database, empty_settings: Settings, tmp_path: Path
) -> None:
    good, cut = tmp_path / "good", tmp_path / "cut"
    await back_up(nursery, good)
    cut.write_bytes(good.read_bytes()[: good.stat().st_size * 2 // 3])
    async with await open_database(empty_settings) as other:
        wrong = {
            cut: "pg_restore failed",
            tmp_path / "none": "there is no file",
            Path(__file__): "is no copy that `graftlog backup` wrote",
        }
        for file, said in wrong.items():
            with pytest.raises(DatabaseError, match=said):
                await restore(other, file)
            assert await current(other.writer) is None
        await restore(other, good)
        assert await current(other.writer) == head()


async def test_without_a_superuser_nothing_is_left_out(
    server: TestServer, nursery: Database, tmp_path: Path
) -> None:
    word = f"t{uuid4().hex[:12]}"
    admin = await asyncpg.connect(server.dsn)
    try:
        await admin.execute(f"CREATE ROLE {word} LOGIN CREATEDB PASSWORD 'hush'")
        for role in nursery.roles.all():
            await admin.execute(f"GRANT {role} TO {word}")
        name = nursery.dsn.partition("?")[0].rpartition("/")[2]
        plain = replace(nursery, dsn=server.dsn_of(name, f"{word}:hush"))
        await back_up(plain, tmp_path / "copy")
        url = server.dsn_of(word, f"{word}:hush")
        async with await open_database(
            Settings(data_dir=Path("/nonexistent"), database_url=url)
        ) as other:
            await restore(other, tmp_path / "copy")
            assert await _counts(replace(other, dsn=server.dsn_of(word))) == await _counts(nursery)
            said: list[str] = []
            assert await run_checks(other, said.append), said
    finally:
        await admin.execute(f"DROP DATABASE IF EXISTS {word} WITH (FORCE)")
        await admin.execute(f"DROP ROLE IF EXISTS {word}")
        await admin.close()


async def test_the_commands(settings: Settings, empty_settings: Settings, tmp_path: Path) -> None:
    async with await open_database(settings) as database:
        await _tell(database)
        async with database.writer.acquire() as one:
            key = await create_key(one, name="bo", role="auditor", sites=frozenset({"*"}))
            head_position = await one.fetchval("SELECT position FROM log_head")
    file = str(tmp_path / "nursery.dump")
    made = await graftlog("backup", file, DATABASE_URL=str(settings.database_url))
    assert (made.code, made.err) == (0, "")
    assert f"the log up to position {head_position} at least" in made.out
    again = await graftlog("backup", file, DATABASE_URL=str(settings.database_url))
    assert (again.code, again.err) == (
        1,
        f"Error: {file} is there already; name another file\n",
    )
    where = {"DATABASE_URL": str(empty_settings.database_url)}
    filled = await graftlog("restore", file, **where)
    assert filled.code == 0, filled.err
    assert "All is as it should be." in filled.out
    # the service starts on it, and lets in who was let in before
    async with running("serve", **where, PORT="0") as service:
        address = (await service.line_with(" on http://")).split(" on ")[1].strip()
        async with httpx.AsyncClient(base_url=address) as client:
            bearer = {"Authorization": f"Bearer {key.token}"}
            page = (await client.get("/v1/events", headers=bearer)).json()
        assert page["position"] == head_position

"""`graftlog selftest` tells each kind of damage: what it is, where, and what to do.

The damage is done by hand, as a superuser: no path of the service makes it.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any, NamedTuple

import asyncpg
import pytest

from service.cli_selftest import run_checks
from service.cli_selftest_running import _room
from service.clock import system_clock
from service.jobs import every_view
from service.jobs.work import Work
from service.log.append import Appender
from service.storage.pool import Database, open_database
from service.views.runner import Runner
from tests.support.bench_side import BenchSide, event
from tests.support.database import TestServer

Damage = Callable[[str], Awaitable[str]]


# In one process: what its tests share is made once.
pytestmark = pytest.mark.xdist_group("selftest")


class Said(NamedTuple):
    """What a selftest said, and whether it was content."""

    content: bool
    lines: list[str]

    @property
    def text(self) -> str:
        return "\n".join(self.lines)


async def selftest(database: Database, **options: Any) -> Said:
    lines: list[str] = []
    return Said(await run_checks(database, lines.append, **options), lines)


@pytest.fixture(scope="module")
def filled(server: TestServer) -> Iterator[str]:
    """The name of a database with everything in order: views at the head, jobs done."""

    async def fill() -> str:
        name = await server.create()
        async with (
            await open_database(server.settings_for(name)) as database,
            writing(database) as bench,
        ):
            await bench.grafted(24)
            lost = event("trees.lost", "2026-03-20", lot="T1", count=2, cause="heat")
            await bench.given(lost)
            await Runner(database, every_view()).catch_up()
        return name

    name = asyncio.run(fill())
    yield name
    asyncio.run(server.drop(name))


@asynccontextmanager
async def writing(database: Database) -> AsyncIterator[BenchSide]:
    """Somebody at the bench."""
    appender = Appender(database)
    await appender.start()
    yield BenchSide(appender, database)
    await appender.stop()


@pytest.fixture
async def nursery(server: TestServer, filled: str) -> AsyncIterator[Database]:
    """A copy of that database, the calendar just looked at."""
    name = await server.create(template=filled)
    async with await open_database(server.settings_for(name)) as database:
        await Work(database, system_clock).overdue_alerts()
        yield database
    await server.drop(name)


@pytest.fixture
async def damage(nursery: Database) -> AsyncIterator[Damage]:
    """Runs a statement past every guard."""
    connection = await asyncpg.connect(nursery.dsn)
    await connection.execute("SET session_replication_role = replica")
    yield connection.execute
    await connection.close()


async def test_all_is_well(nursery: Database) -> None:
    said = await selftest(nursery)
    assert said.content, said.text
    assert [line for line in said.lines if not line.startswith("ok")] == ["All is as it should be."]


def _standing(lot: str, kind: str) -> str:
    """The condition that finds a lot's account of a kind."""
    of = f"lot_id = (SELECT lot_id FROM lots WHERE code = '{lot}')"
    return f"{of} AND account_id = (SELECT account_id FROM balances WHERE {of} AND kind = '{kind}')"


# What damages can be told apart in one run: what is done, and the words about each.
FAULTS = {
    "legs": {
        f"UPDATE legs SET delta = delta + 3 WHERE {_standing('T1', 'trees')} AND delta > 0": [
            "event 18 (trees.grafted) on L1, T1: plants sum to 3", "graftlog export"],
        f"UPDATE legs SET occurred_day = '2026-03-01' WHERE {_standing('T1', 'trees')} "
        "AND delta < 0": [
            "T1 trees CORIN C-T1 grafted P9: -2 at the end of 2026-03-01"],
        "INSERT INTO legs VALUES (99, 98, '2026-03-01', '2026-03-01T11:00Z', 5, 'CORIN', 1, null)":
            ["a leg at position 5 of lot number 99, account number 98: no account, no lot"],
    },
    "what is made of the log": {
        f"UPDATE balances SET balance = 80 WHERE {_standing('L1', 'liners')}": [
            "L1 liners CORIN C-T1 P9: the balance is 80, its legs sum to 76", "account L1 liners"],
        "UPDATE events SET data = jsonb_set(data, '{count}', '5') WHERE position = 19": [
            "The books differ from those computed anew from the log.",
            "day of an account T1 trees"],
        "UPDATE events SET sites = '{TARNA}' WHERE position = 19": [
            "event 19 (trees.lost): filed under sites TARNA, it touches CORIN"],
        "UPDATE subjects SET code = 'T9' WHERE position = 18 AND code = 'T1'": [
            "event 18 (trees.grafted): filed under lot T9 too much, lot T1 missing"],
        "INSERT INTO item_out VALUES ('NAVEL', 'CARRIZO', 'P9', 'first', 'CORIN', 3)": [
            "what went out of NAVEL CARRIZO P9 first CORIN: stored 3, by the log nothing"],
        "UPDATE budwood_on_hand SET buds = buds + 1": [
            "Views differ from what the log says: ", "budwood: ", "`graftlog rebuild budwood"],
    },
    "an event that can't be read": {
        "UPDATE events SET data = data - 'count' WHERE position = 19": [
            "could not be taken in again from its beginning", "required field `count`"],
    },
    "an event of a newer version": {
        "UPDATE events SET version = 9 WHERE position = 19": [
            "trees.lost was stored in version 9; this version of the service knows up to 1"],
    },
    "an event that is gone": {
        "DELETE FROM events WHERE position = 7": ["missing: 7", "graftlog restore"],
    },
}  # fmt: skip
# What is cheap to find and to take back: what is done, the words, what takes it back.
CHEAP_FAULTS = {
    "a view set something aside": (
        "INSERT INTO view_faults SELECT view, generation, 'lot:T1', 18, 'no such stage' "
        "FROM view_checkpoints WHERE view = 'checks'",
        ["checks set aside 1, first lot:T1 (position 18): no such stage", "graftlog rebuild VIEW"],
        "DELETE FROM view_faults",
    ),
    "the log can be changed": (
        "GRANT DELETE ON events TO graftlog_writer; GRANT SELECT ON keys TO graftlog_reader",
        ["graftlog_writer may delete events", "REVOKE DELETE ON events FROM graftlog_writer",
         "graftlog_reader may select keys"],
        "REVOKE DELETE ON events FROM graftlog_writer; REVOKE SELECT ON keys FROM graftlog_reader",
    ),
    "a guard is off": (
        "ALTER TABLE events DISABLE TRIGGER events_append_only",
        ["trigger events_append_only on events is not in force",
         "ALTER TABLE events ENABLE TRIGGER events_append_only"],
        "ALTER TABLE events ENABLE TRIGGER events_append_only",
    ),
    "a wall is down": (
        "ALTER TABLE events DISABLE ROW LEVEL SECURITY",
        ["events is shown whole to every reader", "names no site is shown events all the same",
         "ALTER TABLE events ENABLE ROW LEVEL SECURITY"],
        "ALTER TABLE events ENABLE ROW LEVEL SECURITY",
    ),
    "a clock ran ahead": (
        "UPDATE log_head SET recorded_at = recorded_at + interval '100 years'",
        ["the newest event was recorded at 21", "until then every event is recorded at that time",
         "NTP"],
        "UPDATE log_head SET recorded_at = recorded_at - interval '100 years'",
    ),
    "a clock went back": (
        "UPDATE events SET recorded_at = recorded_at - interval '7 years' WHERE position = 19",
        ["event 19: 20", "the one before it"],
        "UPDATE events SET recorded_at = recorded_at + interval '7 years' WHERE position = 19",
    ),
    "a job fails": (
        "INSERT INTO ticks VALUES ('sweep', now(), now(), now(), 'failed: OSError: no room')",
        ["The newest run of a job failed.", "failed: OSError: no room", "see the service's log"],
        "DELETE FROM ticks WHERE job = 'sweep'",
    ),
    "tables of a newer version": (
        "CREATE TABLE was AS TABLE alembic_version; UPDATE alembic_version "
        "SET version_num = '9999_later'",
        ["Its tables are at 9999_later", "a newer version of graftlog made them"],
        "UPDATE alembic_version SET version_num = was.version_num FROM was; DROP TABLE was",
    ),
    "tables of an older version": (
        "CREATE TABLE was AS TABLE alembic_version; UPDATE alembic_version "
        "SET version_num = '0001_ledger'",
        ["Its tables are at 0001_ledger", "run `graftlog migrate`"],
        "UPDATE alembic_version SET version_num = was.version_num FROM was; DROP TABLE was",
    ),
    "a role that is too strong": (
        "ALTER ROLE graftlog_owner BYPASSRLS",
        ["refusing to work as graftlog_owner", "ALTER ROLE graftlog_owner NOSUPERUSER NOBYPASSRLS"],
        "ALTER ROLE graftlog_owner NOBYPASSRLS",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", FAULTS)
async def test_damage_is_told(what: str, nursery: Database, damage: Damage) -> None:
    for statement in FAULTS[what]:
        await damage(statement)
    said = await selftest(nursery)
    for words in FAULTS[what].values():
        _is_told(said, words)


def _is_told(said: Said, words: list[str]) -> None:
    assert not said.content
    assert any(line.startswith("FAILED") for line in said.lines)
    for one in [*words, "What to do: "]:
        assert one in said.text


async def test_cheap_damage_is_told(nursery: Database, damage: Damage) -> None:
    assert (await selftest(nursery, quick=True)).content
    for statement, words, back in CHEAP_FAULTS.values():
        await damage(statement)
        said = await selftest(nursery, quick=True)
        await damage(back)
        _is_told(said, words)
    assert (await selftest(nursery, quick=True)).content


async def test_quick_looks_at_what_is_cheap(nursery: Database, damage: Damage) -> None:
    for statement in FAULTS["legs"]:
        await damage(statement)
    said = await selftest(nursery, quick=True)
    assert said.content, said.text
    assert "without --quick the books are checked too" in said.lines[-1]
    await damage("DELETE FROM events WHERE position = 7")
    assert not (await selftest(nursery, quick=True)).content


async def test_notes_are_no_faults(nursery: Database, damage: Damage) -> None:
    async with writing(nursery) as bench:
        await bench.given(event("place.checked", "2026-04-01", place="C-T1"))
        await bench.send(bench.graft(99, lot="T2"), mode="each")
    await damage("UPDATE ticks SET started_at = started_at - interval '1 hour'")
    said = await selftest(nursery)
    assert said.content, said.text
    notes = [line for line in said.lines if line.startswith("note")]
    assert "have events to catch up with" in notes[0]
    assert "checks is 1 events behind, since 2" in said.text
    assert "Nothing has looked for overdue checks since" in notes[1]
    assert "Of what people recorded, 1 wait to be put right, since" in notes[2]
    assert len(notes) == 3


async def test_clocks_that_differ(nursery: Database) -> None:
    late = await selftest(nursery, quick=True, clock=lambda: system_clock() - timedelta(hours=3))
    assert "Its clock is 10,800 s ahead of this machine's." in late.text
    assert "What to do: set both by a time server" in late.text


@pytest.mark.parametrize(("mebibytes", "state"), [(200, "FAILED"), (1000, "note"), (3000, "ok")])
def test_room_on_the_disk(mebibytes: int, state: str) -> None:
    found = _room(Path("/data"), mebibytes * 1024**2)
    assert found.state.value == state
    assert "free where /data is" in found.words
    assert state == "ok" or "make room" in str(found.remedy)

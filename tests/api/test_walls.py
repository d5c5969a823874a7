"""Two walls between sites: the questions' own filters, and the database's row-level security."""

import asyncpg
import pytest

from service.storage.pool import Database
from service.storage.walls import past_the_wall, seeing
from tests.api.conftest import MakeClient
from tests.support.two_nurseries import THEIRS, fill, rows_of, tables_read

# What every reader is shown whole, and why that tells nothing of any site.
OPEN = {
    "alembic_version": "the revision of the tables",
    "log_head": "how far the log is: counters",
    "voids": "pairs of positions, bare numbers",
    "view_checkpoints": "how far each view is",
    "ticks": "which job ran when",
}
THEIR_ANCHORS = (
    "SELECT t::text AS row FROM anchors t JOIN lots l USING (lot_id) WHERE l.code LIKE 'ZZ%'"
)
# Seen by those who see every site alone; calendars by whose they are too.
CLOSED = {"view_faults", "calendars"}
# Hold rows of all sites drawn together, which are seen by those alone.
TOGETHER = {"supply", "foretold_before", "take_rates"}
# Was learned of crops over all sites, and is shown whole to whoever sees any.
OF_NO_SITE = {"push_curves"}


@pytest.fixture
async def filled(client_for: MakeClient, database: Database) -> Database:
    await fill(await client_for("administrator"), database)
    async with database.writer.acquire() as connection:
        await connection.execute(
            "INSERT INTO view_faults VALUES ('checks', 1, 'lot:ZZ-T', 1, 'ZZ', now())"
        )
    return database


async def test_what_the_reader_may_read_is_walled_or_said_to_be_open(database: Database) -> None:
    async with database.writer.acquire() as connection:
        tables = set(await tables_read(connection))
        walled = await connection.fetch(
            "SELECT c.relname, c.relforcerowsecurity AS forced, "
            "array_agg(DISTINCT role.rolname::text ORDER BY role.rolname::text) AS roles "
            "FROM pg_class c JOIN pg_policy p ON p.polrelid = c.oid "
            "JOIN pg_roles role ON role.oid = ANY (p.polroles) "
            "WHERE c.relrowsecurity GROUP BY 1, 2"
        )
        views = await connection.fetch(
            "SELECT relname, reloptions FROM pg_class WHERE relkind IN ('v', 'm') "
            "AND relnamespace = 'public'::regnamespace"
        )
    assert {row["relname"] for row in walled} == tables - set(OPEN)
    assert all(row["forced"] for row in walled)
    everyone = ["graftlog_owner", "graftlog_reader", "graftlog_writer"]
    assert [row["relname"] for row in walled if row["roles"] != everyone] == []
    # A view looks with its owner's eyes unless it is told otherwise.
    plain = [v["relname"] for v in views if "security_invoker=true" not in (v["reloptions"] or ())]
    assert plain == []


async def test_with_the_filters_removed_nothing_of_another_site_comes_back(
    filled: Database,
) -> None:
    async with filled.writer.acquire() as connection:
        tables = [name for name in await tables_read(connection) if name not in OPEN]
        whole = {name: await rows_of(connection, name) for name in tables}
        theirs = {name: {row for row in rows if _theirs(row)} for name, rows in whole.items()}
        # These rows hold bare numbers.
        theirs["anchors"] = {row["row"] for row in await connection.fetch(THEIR_ANCHORS)}
    # There is something of theirs in every table, or else this would show nothing.
    assert {name for name, rows in theirs.items() if not rows} == OF_NO_SITE
    async with seeing(filled.reader, ["AA-SITE"]) as connection:
        seen = {name: await rows_of(connection, name) for name in tables}
    assert {name: both for name in tables if (both := theirs[name] & set(seen[name]))} == {}
    # And something of ours, where there is any that a site may see.
    assert {name for name, rows in seen.items() if not rows} == CLOSED
    for name, rows in seen.items():
        is_whole = set(rows) == set(whole[name])
        assert set(rows) <= set(whole[name]), name
        assert is_whole == (name in OF_NO_SITE), name
    # Both together are all there is: nothing is hidden from both.
    async with seeing(filled.reader, ["AA-SITE", "AA-TWO", "ZZ-SITE", "ZZ-TWO"]) as connection:
        both = {name: await rows_of(connection, name) for name in tables}
    assert {n for n, rows in both.items() if rows != whole[n]} == CLOSED | TOGETHER
    async with filled.writer.acquire() as connection:
        for name in TOGETHER:
            together = f"SELECT t::text AS row FROM {name} t WHERE site = '' ORDER BY 1"
            hidden = [row["row"] for row in await connection.fetch(together)]
            assert sorted({*whole[name]} - {*both[name]}) == sorted(hidden)
    async with seeing(filled.reader, None) as connection:
        assert {name: await rows_of(connection, name) for name in tables} == whole


def _theirs(row: str) -> bool:
    # Data of the log's JSON, and bytes as PostgreSQL writes them: two letters alone, 5a5a, are in
    # many a hash and id.
    return THEIRS in row or f"{THEIRS}-".encode().hex() in row


async def test_who_says_nothing_sees_nothing(filled: Database) -> None:
    async with filled.reader.acquire() as connection:
        tables = [name for name in await tables_read(connection) if name not in OPEN]

        async def shown() -> list[str]:
            return [name for name in tables if await rows_of(connection, name)]

        # Never said, said and over, said to be nothing.
        assert await shown() == []
        async with seeing(filled.reader, ["AA-SITE"]):
            pass
        async with connection.transaction():
            await connection.execute("SET LOCAL graftlog.sites = 'AA-SITE'")
        assert await connection.fetchval("SELECT current_setting('graftlog.sites')") == ""
        assert await shown() == []
    for nothing in ([], [""]):
        async with seeing(filled.reader, nothing) as connection:
            assert [name for name in tables if await rows_of(connection, name)] == []
    # Cultivars and the like are common to all who see anything, and so is what crops taught.
    async with seeing(filled.reader, ["NO-SUCH"]) as connection:
        assert [name for name in tables if await rows_of(connection, name)] == [
            "catalogue",
            "learned",
            "push_curves",
        ]
        kinds = await connection.fetch("SELECT DISTINCT kind FROM catalogue ORDER BY 1")
    assert [row["kind"] for row in kinds] == ["cultivar", "rootstock", "size", "source_tree"]


async def test_what_is_said_ends_with_the_transaction(database: Database) -> None:
    told = "SELECT coalesce(current_setting('graftlog.sites', true), '')"
    async with seeing(database.reader, None, "o'brien") as connection:
        assert await connection.fetchval(told) == "*"
        assert await connection.fetchval("SELECT asker()") == "o'brien"
    async with seeing(database.reader, ["X"]) as connection:
        async with past_the_wall(connection):
            assert await connection.fetchval(told) == "*"
        assert await connection.fetchval(told) == "X"

    async def failing(statement: str) -> None:
        async with seeing(database.reader, ["X"]) as connection, past_the_wall(connection):
            await connection.execute(statement)

    with pytest.raises(asyncpg.DivisionByZeroError):
        await failing("SELECT 1 / 0")
    for _ in range(8):
        assert await database.reader.fetchval(told) == ""


async def test_a_reader_can_not_step_over_the_wall(filled: Database) -> None:
    async with filled.reader.acquire() as connection:
        await connection.execute("SET default_transaction_read_only = off")
        for statement in (
            "ALTER TABLE events DISABLE ROW LEVEL SECURITY",
            "DROP POLICY sees_its_sites ON events",
            "SELECT wall('ticks', 'true')",
        ):
            with pytest.raises(asyncpg.InsufficientPrivilegeError):
                await connection.execute(statement)
        await connection.execute("SET row_security = off")
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await connection.fetch("SELECT * FROM events")


async def test_what_two_sites_saw_both_see(client_for: MakeClient, database: Database) -> None:
    """A consignment from one to the other: both are told of it, and neither of more."""
    admin = await client_for("administrator")
    await fill(admin, database)
    sent = {
        "type": "consignment.sent",
        "site": "AA-SITE",
        "occurred": "2026-08-05",
        "data": {
            "consignment": "BETWEEN",
            "to_site": "ZZ-SITE",
            "lines": [{"lot": "AA-L", "place": "AA-T1", "size": "P9", "count": 3}],
        },
    }
    answer = await admin.post("/v1/events", json=sent)
    assert answer.status_code == 201, answer.text
    theirs = await client_for("auditor", "ZZ-SITE")
    lot = (await theirs.get("/v1/liner-lots/AA-L")).json()
    assert lot["places"] == []
    assert [(one["to_site"], one["count"]) for one in lot["travelling"]] == [("ZZ-SITE", 3)]
    assert [event["type"] for event in lot["history"]] == ["consignment.sent"]
    async with seeing(database.reader, ["ZZ-SITE"]) as connection:
        assert [row for row in await rows_of(connection, "lots") if "AA-L" in row]
        assert not [row for row in await rows_of(connection, "balances") if "AA-SITE" in row]

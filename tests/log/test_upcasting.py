"""An older shape of an event reads as the newest everywhere: log, books, voids, views, lists.

There is no old version yet, so one is made up here: as if trees.lost had told its cause as `why`,
and before that its count as `many`.
"""

import re
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest

from service.log import read
from service.log.append import Appender
from service.log.refold import differences, refold
from service.log.upcasting import UPCASTERS, NewerVersion, newest_data, newest_version
from service.storage.pool import Database
from service.storage.sql import parse
from service.storage.walls import seeing
from tests.support.bench_side import NOW, BenchSide, event

KIND = "trees.lost"
TWIN = """
CREATE OR REPLACE FUNCTION newest_data(type text, version smallint, data jsonb) RETURNS jsonb
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN CASE
    WHEN type = 'trees.lost' AND version = 1
        THEN data - 'many' - 'why' || jsonb_build_object('count', data -> 'many',
                                                         'cause', data -> 'why')
    WHEN type = 'trees.lost' AND version = 2
        THEN data - 'why' || jsonb_build_object('cause', data -> 'why')
    ELSE data
END
"""


def _renamed(data: dict[str, Any], old: str, new: str) -> dict[str, Any]:
    return {new if name == old else name: value for name, value in data.items()}


@pytest.fixture
def third_version(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(UPCASTERS, (KIND, 1), lambda data: _renamed(data, "many", "count"))
    monkeypatch.setitem(UPCASTERS, (KIND, 2), lambda data: _renamed(data, "why", "cause"))


@pytest.fixture
async def bench(database: Database, third_version: None) -> AsyncIterator[BenchSide]:
    """A log in which two losses were stored in older shapes, and one in the newest."""
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.grafted(24)
    for number in (1, 2, 3):
        await bench.given(
            event(KIND, f"2026-03-1{number}", id=_id(number), lot="T1", count=number, cause="heat")
        )
    owner = await database.connect("owner")
    await owner.execute(TWIN)
    await owner.execute("ALTER TABLE events DISABLE TRIGGER USER")
    # as the owner, too, one is shown nothing without saying so
    await owner.execute("SELECT set_config('graftlog.sites', '*', false)")
    await owner.execute("ALTER TABLE events NO FORCE ROW LEVEL SECURITY")
    for number, names in ((1, {"many": "count", "why": "cause"}), (2, {"why": "cause"})):
        row = await owner.fetchrow("SELECT data FROM events WHERE id = $1", _id(number))
        assert row is not None
        data = dict(row["data"])
        for old, new in names.items():
            data = _renamed(data, new, old)
        await owner.execute(
            "UPDATE events SET version = $2, data = $3 WHERE id = $1", _id(number), number, data
        )
    await owner.execute("ALTER TABLE events FORCE ROW LEVEL SECURITY")
    await owner.execute("ALTER TABLE events ENABLE TRIGGER USER")
    await owner.close()
    yield bench
    await appender.stop()


def _id(number: int) -> str:
    return f"0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a7{number}"


async def test_old_shapes_are_read_as_the_newest(bench: BenchSide) -> None:
    stored = await bench.database.writer.fetch(
        "SELECT version, data FROM events WHERE type = $1 ORDER BY position", KIND
    )
    assert [row["version"] for row in stored] == [1, 2, 3]
    assert "many" in stored[0]["data"]
    async with seeing(bench.database.reader, None) as connection:
        found = await read.events(
            connection, None, read.EventFilter(types=[KIND]), after=0, limit=10
        )
        one = await read.event(connection, None, _id(1))
    assert [(e.version, e.data["count"], e.data["cause"]) for e in found] == [
        (3, 1, "heat"),
        (3, 2, "heat"),
        (3, 3, "heat"),
    ]
    assert one is not None
    assert one.data == found[0].data


async def test_the_twin_in_the_database_says_the_same(bench: BenchSide) -> None:
    rows = await bench.database.writer.fetch(
        "SELECT type, version, data, newest_data(type, version, data) AS newest FROM events"
    )
    for row in rows:
        assert row["newest"] == newest_data(row["type"], row["version"], row["data"])


async def test_books_are_folded_from_old_shapes_and_old_events_are_voided(
    bench: BenchSide,
) -> None:
    async with bench.database.writer.acquire() as connection:
        assert await differences(connection, await refold(connection)) == []
    await bench.given(event("event.voided", "2026-04-01", event=_id(1), reason="a slip"))
    assert await bench.balance("T1", "trees") == 24 - 2 - 3
    async with bench.database.writer.acquire() as connection:
        assert await differences(connection, await refold(connection)) == []


def test_a_chain_goes_step_by_step(third_version: None) -> None:
    old = {"lot": "T1", "many": 4, "why": "heat"}
    assert newest_version(KIND) == 3
    assert newest_data(KIND, 1, old) == {"lot": "T1", "count": 4, "cause": "heat"}
    assert old == {"lot": "T1", "many": 4, "why": "heat"}
    assert newest_data("trees.sold", 1, old) is old


def test_what_a_newer_service_stored_is_not_guessed_at() -> None:
    with pytest.raises(NewerVersion, match=r"version 2; this version .* up to 1: run a newer"):
        newest_data(KIND, 2, {})


def _statements() -> Iterator[tuple[str, str]]:
    """Every statement of the service that asks the table of events."""
    for path in sorted((Path(__file__).parents[2] / "service").rglob("*.sql")):
        found = parse(path.name, path.read_text())
        for name in found:
            words = re.sub(r"--.*", "", getattr(found, name))
            if re.search(r"\b(FROM|JOIN) events\b", words):
                yield f"{path.name}:{name}", words


STATEMENTS = list(_statements())


@pytest.mark.parametrize(
    "statement", [text for _, text in STATEMENTS], ids=[name for name, _ in STATEMENTS]
)
def test_no_statement_reads_into_old_shapes(statement: str) -> None:
    """In SQL through `newest_data`; what is decoded in Python comes with its version."""
    newest = r"newest_data\([^()]*\)(::text)?"
    raw = re.sub(rf"{newest}( AS data)?", "", statement)
    # what a query calls data by itself may be the newest already
    whose = r"[ew]\." if re.search(rf"{newest} AS data", statement) else r"([ew]\.)?"
    assert not re.search(rf"(?<![\w.]){whose}data\s*->", raw)
    if re.search(rf"(?<![\w.]){whose}data\b", raw):
        assert "version" in raw

"""Requests share a transaction, never a fate."""

import asyncio
import gc
from collections.abc import AsyncIterator
from typing import Any
from uuid import uuid4

import asyncpg
import msgspec
import pytest

from service.log.append import Appender
from service.log.submission import (
    Answer,
    Busy,
    Element,
    IdempotencyKey,
    KeyInFlight,
    KeyReused,
    OutcomeUnknown,
    Submission,
)
from service.storage.pool import Database
from service.trade.books import Books
from service.trade.events import Event
from tests.support.bench_side import EVERYTHING, NOW, BenchSide, event
from tests.support.database import TestServer

LOCK = "SELECT pg_advisory_lock(7023648511)"
UNLOCK = "SELECT pg_advisory_unlock(7023648511)"
WAITING = "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted"


@pytest.fixture
async def bench(database: Database) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    side = BenchSide(appender, database)
    await side.nursery()
    yield side
    await appender.stop()


def looked(**rest: Any) -> Any:
    return event("place.checked", "2026-03-01", place="C-T1", id=str(uuid4()), **rest)


def submission(*events: Any, **options: Any) -> Submission:
    decode = msgspec.json.Decoder(Event).decode
    raws = [msgspec.json.encode(one) for one in events]
    elements = [Element(raw, decode(raw)) for raw in raws]
    return Submission(principal=EVERYTHING, elements=elements, **options)


async def as_superuser(server: TestServer, database: Database, sql: str) -> None:
    connection = await asyncpg.connect(database.dsn)
    try:
        await connection.execute(sql)
    finally:
        await connection.close()


async def at_the_insert_of(
    server: TestServer, database: Database, event_id: str, statement: str
) -> None:
    """What happens in the database when this one event is written."""
    await as_superuser(
        server,
        database,
        f"""
        CREATE OR REPLACE FUNCTION spoil() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
        BEGIN IF NEW.id = '{event_id}' THEN {statement} END IF; RETURN NEW; END $$;
        CREATE OR REPLACE TRIGGER spoil BEFORE INSERT ON events
            FOR EACH ROW EXECUTE FUNCTION spoil();
        """,
    )


async def transactions(bench: BenchSide, events: list[Any]) -> set[str]:
    """The transactions that these events were written in."""
    rows = await bench.database.writer.fetch(
        "SELECT xmin::text AS t FROM events WHERE id = ANY($1::uuid[])", [e["id"] for e in events]
    )
    return {row["t"] for row in rows}


async def test_requests_at_once_are_one_transaction(bench: BenchSide) -> None:
    events = [looked() for _ in range(12)]
    answers = await asyncio.gather(*(bench.send(one) for one in events))
    assert [answer.status for answer in answers] == [201] * 12
    assert len(await transactions(bench, events)) == 1
    positions = [answer.verdicts[0].position for answer in answers]
    assert positions == list(range(positions[0] or 0, (positions[0] or 0) + 12))


async def test_one_bad_request_harms_no_other(bench: BenchSide, server: TestServer) -> None:
    """A row that the database refuses takes its own request with it, and nothing else."""
    events = [looked() for _ in range(9)]
    bad = events[4]["id"]
    refusal = "RAISE EXCEPTION 'no such thing' USING ERRCODE = 'invalid_text_representation';"
    await at_the_insert_of(server, bench.database, bad, refusal)
    before = await bench.database.writer.fetchval("SELECT position FROM log_head")
    answers = await asyncio.gather(*(bench.send(e) for e in events), return_exceptions=True)
    assert isinstance(answers[4], asyncpg.InvalidTextRepresentationError)
    good = [answer for answer in answers if isinstance(answer, Answer)]
    assert [answer.status for answer in good] == [201] * 8
    # Still dense: the one that failed has left no hole.
    found = await bench.database.writer.fetch(
        "SELECT position FROM events WHERE position > $1 ORDER BY position", before
    )
    assert [row["position"] for row in found] == list(range(before + 1, before + 9))
    assert (await bench.send(looked())).status == 201


async def test_a_refused_request_in_the_group_harms_no_other(bench: BenchSide) -> None:
    fine, wrong = looked(), event("place.checked", "2026-03-01", place="NOWHERE")
    answers = await asyncio.gather(bench.send(fine), bench.send(wrong), bench.send(looked()))
    assert [answer.status for answer in answers] == [201, 409, 201]


async def test_a_cancelled_request_does_not_take_its_group_with_it(bench: BenchSide) -> None:
    events = [looked() for _ in range(3)]
    async with bench.database.writer.acquire() as connection:
        await connection.execute(LOCK)
        tasks = [asyncio.create_task(bench.send(one)) for one in events]
        await waiting(bench, 1)
        tasks[1].cancel()
        with pytest.raises(asyncio.CancelledError):
            await tasks[1]
        await connection.execute(UNLOCK)
    assert (await tasks[0]).status == (await tasks[2]).status == 201
    # What was queued is decided, whoever has gone away meanwhile.
    assert (await bench.send(events[1])).verdicts[0].verdict == "known"


async def waiting(bench: BenchSide, count: int) -> None:
    """Until so many wait for the lock."""
    async with asyncio.timeout(20):
        while await bench.database.writer.fetchval(WAITING) < count:
            await asyncio.sleep(0.005)


async def test_the_queue_is_bounded(database: Database) -> None:
    appender = Appender(database, clock=lambda: NOW, queue_limit=10)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.nursery()
    async with database.writer.acquire() as connection:
        await connection.execute(LOCK)
        at_work = asyncio.create_task(bench.send(looked()))
        await waiting(bench, 1)
        queued = [asyncio.create_task(bench.send(looked(), looked())) for _ in range(5)]
        await asyncio.sleep(0)
        with pytest.raises(Busy):
            await bench.send(looked())
        await connection.execute(UNLOCK)
    answers = await asyncio.gather(at_work, *queued)
    assert {answer.status for answer in answers} == {201}
    assert (await bench.send(looked())).status == 201
    await appender.stop()


async def test_a_commit_whose_answer_was_lost_is_looked_up(
    bench: BenchSide, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The connection breaks when the commit is done but nobody has heard of it."""
    lost = _lose_the_answer_once(monkeypatch)
    one = looked()
    answer = await bench.send(one)
    assert lost == [True]
    assert answer.status == 201
    assert answer.verdicts[0].verdict == "accepted"
    stored = await bench.database.writer.fetchval(
        "SELECT position FROM events WHERE id = $1", one["id"]
    )
    assert answer.verdicts[0].position == stored


def _lose_the_answer_once(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    lost: list[bool] = []
    execute = asyncpg.Connection.execute

    async def commit_then_break(self: Any, query: str, *parts: Any, **options: Any) -> str:
        done = await execute(self, query, *parts, **options)
        if "COMMIT" in query and not lost:
            lost.append(True)
            raise asyncpg.ConnectionDoesNotExistError("connection was closed")
        return done

    monkeypatch.setattr(asyncpg.Connection, "execute", commit_then_break)
    return lost


async def test_what_can_not_be_looked_up_is_unknown_never_refused(
    bench: BenchSide, server: TestServer
) -> None:
    """The server ends the session in the middle of the group: nobody is told 'refused'."""
    events = [looked() for _ in range(3)]
    end = "PERFORM pg_terminate_backend(pg_backend_pid());"
    await at_the_insert_of(server, bench.database, events[1]["id"], end)
    answers = await asyncio.gather(*(bench.send(e) for e in events), return_exceptions=True)
    assert [type(answer) for answer in answers] == [OutcomeUnknown] * 3
    await as_superuser(server, bench.database, "DROP TRIGGER spoil ON events")
    again = await asyncio.gather(*(bench.send(e) for e in events))
    assert [answer.verdicts[0].verdict for answer in again] == ["accepted"] * 3


async def test_part_of_a_group_that_got_in_is_not_taken_for_all(
    bench: BenchSide, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of two requests one was refused; the lost answer says so of neither."""
    fine = looked()
    wrong = event("place.checked", "2026-03-01", place="NOWHERE", id=str(uuid4()))
    _lose_the_answer_once(monkeypatch)
    answers = await asyncio.gather(bench.send(fine), bench.send(wrong), return_exceptions=True)
    assert isinstance(answers[0], Answer)
    assert answers[0].verdicts[0].verdict == "accepted"
    assert isinstance(answers[1], OutcomeUnknown)
    assert (await bench.send(wrong)).status == 409


@pytest.mark.parametrize("more", [0, 2])
async def test_stopping_finishes_what_was_begun(database: Database, more: int) -> None:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.nursery()
    async with database.writer.acquire() as connection:
        await connection.execute(LOCK)
        begun = [asyncio.create_task(bench.send(looked()))]
        await waiting(bench, 1)
        begun += [asyncio.create_task(bench.send(looked())) for _ in range(more)]
        await asyncio.sleep(0)
        stopping = asyncio.create_task(appender.stop())
        await waiting(bench, 1)
        with pytest.raises(Busy):
            await bench.send(looked())
        await connection.execute(UNLOCK)
    async with asyncio.timeout(10):
        await stopping
        assert {answer.status for answer in await asyncio.gather(*begun)} == {201}
    with pytest.raises(Busy):
        await bench.send(looked())


async def test_a_groups_books_go_when_it_ends(bench: BenchSide) -> None:
    """Not when the collector comes: a busy writer would carry many groups' books about."""
    gc.collect()
    gc.disable()
    try:
        # What tests before this one in the same process still hold.
        before = all_books()
        await bench.given(*(looked() for _ in range(20)))
        assert len(all_books()) == len(before)
    finally:
        gc.enable()


def all_books() -> list[object]:
    return [thing for thing in gc.get_objects() if isinstance(thing, Books)]


# -- ids and keys -----------------------------------------------------------------------


async def test_the_same_id_twice_in_one_group(bench: BenchSide) -> None:
    one = looked()
    other = one | {"occurred": "2026-03-02"}
    first, again, reused = await asyncio.gather(*(bench.send(e) for e in (one, one, other)))
    assert len(await transactions(bench, [one])) == 1
    assert (first.status, first.verdicts[0].verdict) == (201, "accepted")
    assert (again.status, again.verdicts[0].verdict) == (200, "known")
    assert again.verdicts[0].position == first.verdicts[0].position
    assert reused.status == 409
    assert [fault.kind for fault in reused.verdicts[0].errors] == ["id_reused"]


async def test_the_same_id_in_two_writers_at_once(bench: BenchSide) -> None:
    other = Appender(bench.database, clock=lambda: NOW)
    await other.start()
    one = looked()
    first, second = await asyncio.gather(
        bench.send(one), BenchSide(other, bench.database).send(one)
    )
    await other.stop()
    verdicts = sorted(answer.verdicts[0].verdict for answer in (first, second))
    assert verdicts == ["accepted", "known"]


def keyed(name: str, body: bytes = b"1") -> IdempotencyKey:
    return IdempotencyKey(key=name, method_path="POST /v1/events?", fingerprint=body)


async def test_a_key_in_flight(bench: BenchSide) -> None:
    one = submission(looked(), key=keyed("k-1"))
    first = asyncio.create_task(bench.appender.append(one))
    await asyncio.sleep(0)
    with pytest.raises(KeyInFlight):
        await bench.appender.append(one)
    assert (await first).status == 201
    assert (await bench.appender.append(one)).replayed


async def test_a_key_is_free_again_after_a_refusal(bench: BenchSide) -> None:
    wrong = submission(event("place.checked", "2026-03-01", place="NOWHERE"), key=keyed("k-2"))
    assert (await bench.appender.append(wrong)).status == 409
    assert (await bench.appender.append(wrong)).status == 409
    right = submission(looked(), key=keyed("k-2", b"2"))
    assert (await bench.appender.append(right)).status == 201


async def test_a_key_seen_by_another_writer(bench: BenchSide) -> None:
    """Two processes with the same key at once: one records, the other gives that answer."""
    other = Appender(bench.database, clock=lambda: NOW)
    await other.start()
    one = submission(looked(), key=keyed("k-3"))
    answers = await asyncio.gather(bench.appender.append(one), other.append(one))
    assert sorted(answer.replayed for answer in answers) == [False, True]
    assert {answer.status for answer in answers} == {201}
    with pytest.raises(KeyReused):
        await other.append(submission(looked(), key=keyed("k-3", b"other")))
    # Whoever else has a key of that name has another key.
    someone = msgspec.structs.replace(EVERYTHING, name="someone-else")
    theirs = msgspec.structs.replace(
        submission(looked(), key=keyed("k-3", b"other")), principal=someone
    )
    assert not (await other.append(theirs)).replayed
    await other.stop()


async def test_a_reused_key_harms_no_other_of_its_group(bench: BenchSide) -> None:
    await bench.appender.append(submission(looked(), key=keyed("k-4")))
    answers = await asyncio.gather(
        bench.send(looked()),
        bench.appender.append(submission(looked(), key=keyed("k-4", b"other"))),
        bench.send(looked()),
        return_exceptions=True,
    )
    assert isinstance(answers[1], KeyReused)
    assert all(isinstance(a, Answer) and a.status == 201 for a in (answers[0], answers[2]))


# -- append-only ------------------------------------------------------------------------

CHANGES = (
    "UPDATE events SET actor = 'p-99'",
    "DELETE FROM events",
    "TRUNCATE events",
    "TRUNCATE events CASCADE",
)


@pytest.mark.parametrize("change", CHANGES)
async def test_nobody_changes_the_log(bench: BenchSide, change: str) -> None:
    """The service's roles may not; the owner of the table is stopped by its triggers."""
    before = await bench.database.writer.fetch("SELECT * FROM events ORDER BY position")
    assert before
    for part, refusal in (
        ("writer", asyncpg.InsufficientPrivilegeError),
        ("reader", asyncpg.InsufficientPrivilegeError),
        ("owner", asyncpg.RestrictViolationError),
    ):
        connection = await bench.database.connect(part)  # type: ignore[arg-type]
        try:
            with pytest.raises(refusal):
                await connection.execute(change)
        finally:
            await connection.close()
    assert await bench.database.writer.fetch("SELECT * FROM events ORDER BY position") == before


@pytest.mark.parametrize("table", ["events", "legs", "subjects", "voids"])
async def test_the_writer_only_adds(bench: BenchSide, table: str) -> None:
    for change in (f"UPDATE {table} SET position = 1", f"DELETE FROM {table}"):
        if table == "voids":
            change = change.replace(" position", " by_position")
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await bench.database.writer.execute(change)


async def test_the_reader_sees_no_secrets(bench: BenchSide) -> None:
    for table in ("keys", "idempotency"):
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await bench.database.reader.fetch(f"SELECT * FROM {table}")

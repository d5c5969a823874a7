"""The whole log out and back: to the letter, or refused with its line."""

import asyncio
import hashlib
import io
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import pytest

from seed_scenario.generator import scenario
from seed_scenario.telling import Request
from service.cli_selftest import run_checks
from service.forecast.records.ahead import AheadDay, AheadPut, put_ahead
from service.forecast.records.readings import Reading, record_readings
from service.forecast.records.temperatures import TemperatureDay, put_temperatures
from service.log.append import Appender
from service.log.rights import SCOPES, Principal
from service.log.submission import Element, Submission
from service.sheets.archive import PositionInsideUnitError, archive, is_archive
from service.sheets.restoring import ArchiveError, restore
from service.storage.pool import Database, open_database
from service.trade.events import Event
from tests.support.bench_side import NOW, BenchSide, entry, event
from tests.support.database import TestServer

# What follows from the log, or from what is beside it in the file: equal to the row and the number.
TABLES = [
    "events", "voids", "subjects", "catalogue", "lots", "bags", "holds", "consignments",
    "reservations", "commitments", "anchors", "balances", "legs", "temperature_versions",
    "temperatures", "reading_versions", "readings", "forecast_versions", "to_put_right",
    "put_right_earlier",
]  # fmt: skip
# Where the group's end matters, and numbers of accounts, which mean nothing outside the database.
HEAD = "SELECT position, recorded_at, next_lot_id, next_code FROM log_head"
MADRID = ZoneInfo("Europe/Madrid")
_decode = msgspec.json.Decoder(Event).decode


@pytest.fixture
async def other(server: TestServer) -> Any:
    """Another database, empty."""
    name = await server.create()
    async with await open_database(server.settings_for(name)) as opened:
        yield opened
    await server.drop(name)


async def written(database: Database, until: int | None = None) -> bytes:
    """The log as a file."""
    out = io.BytesIO()
    async with (
        database.writer.acquire() as one,
        one.transaction(isolation="repeatable_read", readonly=True),
    ):
        async for lines in archive(one, until):
            out.write(lines)
    return out.getvalue()


def events_in(content: bytes) -> int:
    return sum(line.startswith(b'{"event":') for line in content.splitlines())


async def tables(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of the log and its books. Accounts go by what they are."""
    found: dict[str, list[tuple[Any, ...]]] = {}
    async with database.writer.acquire() as one:
        for table in TABLES:
            columns = await one.fetch(
                "SELECT attname FROM pg_attribute WHERE attrelid = $1::regclass AND attnum > 0 "
                "AND NOT attisdropped ORDER BY attnum",
                table,
            )
            names = [row[0] for row in columns]
            source = table
            if "account_id" in names and table != "balances":
                names = [name for name in names if name != "account_id"]
                names += ["kind", "place", "stage", "size", "grade", "ref", "commodity"]
                kept = ", ".join(f"b.{name}" if name in ("site",) else name for name in names)
                source = f"{table} JOIN balances b USING (lot_id, account_id)"
            else:
                names = [name for name in names if name != "account_id"]
                kept = ", ".join(names)
            rows = await one.fetch(f"SELECT {kept} FROM {source}")
            found[table] = sorted((tuple(row) for row in rows), key=lambda row: [*map(str, row)])
        head = await one.fetchrow(HEAD)
        assert head is not None
        found["log_head"] = [tuple(head)]
    return found


async def restored(database: Database, content: bytes, path: Path, **options: Any) -> Any:
    path.write_bytes(content)  # noqa: ASYNC240
    return await restore(database, path, **options)


def _submitted(request: Request, principal: Principal) -> Submission:
    elements = []
    for one in request.events:
        raw = msgspec.json.encode(one)
        elements.append(Element(raw, _decode(raw)))
    return Submission(
        principal=principal,
        elements=elements,
        mode=request.mode,
        recorded_at=request.recorded_at,
        recorded_by=request.recorded_by,
    )


async def tell_the_scenario(database: Database) -> None:
    """The whole scenario, told to the writer as the HTTP side would hand it on."""
    year = scenario(date(2026, 11, 20))
    appender = Appender(database, queue_limit=100_000)
    await appender.start()
    principal = Principal("loader", frozenset(SCOPES), frozenset({"*"}))
    sites = max(
        number
        for number, request in enumerate(year.requests)
        if any(one["data"].get("entry", {}).get("kind") == "site" for one in request.events)
    )
    for request in year.requests[: sites + 1]:
        await appender.append(_submitted(request, principal))
    # The rest waits all at once, so that the writer takes many into one group.
    rest = year.requests[sites + 1 :]
    await asyncio.gather(*(appender.append(_submitted(one, principal)) for one in rest))
    await appender.stop()
    async with database.writer.acquire() as one:
        for site, days in year.temperatures.items():
            told = [TemperatureDay(day=d, min_c=low, max_c=high) for d, low, high in days[:400]]
            await put_temperatures(
                one, site=site, source="logger", days=told, today=date(2026, 11, 20),
                recorded_by="p-1", recorded_at=NOW,
            )  # fmt: skip


async def test_the_whole_scenario_goes_out_and_comes_back(
    database: Database, other: Database, tmp_path: Path
) -> None:
    await tell_the_scenario(database)
    content = await written(database)
    events = events_in(content)
    assert events >= 1500
    done = await restored(other, content, tmp_path / "log.ndjson")
    assert (done.events, done.known) == (events, False)
    assert await written(other) == content
    assert await tables(other) == await tables(database)
    words: list[str] = []
    assert await run_checks(other, words.append), "\n".join(words)
    # Into the log that it came from, it is all known.
    assert (await restored(database, content, tmp_path / "log.ndjson")).known


async def small(bench: BenchSide) -> bytes:
    """A log of a few units with everything beside it, as a file."""
    await bench.grafted(24)
    await bench.given(event("stock.counted", "2026-03-10", reason="check",
                            lines=[{"lot": "L1", "place": "C-T1", "counted": 70}]))  # fmt: skip
    # before that count, so the book's opposite is drawn at it
    await bench.given(bench.graft(4, "2026-03-06", "T2"))
    slip = await bench.given(bench.graft(3, "2026-03-11", "T3"))
    await bench.given(event("event.voided", "2026-03-12", event=slip[0].id, reason="slip"))
    await bench.send(bench.graft(3, "2026-03-11", "T4", from_=[{"bag": "B9"}]), mode="each")
    async with bench.database.writer.acquire() as one:
        day = TemperatureDay(day=date(2026, 3, 1), min_c=4.25, max_c=19)
        await put_temperatures(
            one, site="CORIN", source="logger", days=[day], today=NOW.date(), recorded_by="p-1",
            recorded_at=NOW + timedelta(hours=1),
        )  # fmt: skip
        read = Reading(sensor="bench 3", time=NOW.astimezone(MADRID), celsius=17.25)
        await record_readings(
            one, site="CORIN", zone=MADRID, readings=[read], recorded_by="p-1",
            recorded_at=NOW + timedelta(hours=1),
        )  # fmt: skip
        given = AheadPut(source="local forecast",
                         days=[AheadDay(day=NOW.date(), min_c=7.5, max_c=21)])  # fmt: skip
        await put_ahead(
            one, site="CORIN", given=given, today=NOW.date(), recorded_by="p-1",
            recorded_at=NOW + timedelta(hours=1),
        )  # fmt: skip
    return await written(bench.database)


async def test_a_device_s_retry_is_known_in_the_log_that_came_back(
    bench: BenchSide, other: Database, tmp_path: Path
) -> None:
    graft = bench.graft(2, "2026-03-07", "T9", id="0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77")
    await small(bench)
    first = await bench.when(graft)
    refused = await bench.send(bench.graft(3, "2026-03-11", "T5", from_=[{"bag": "B9"}]),
                               mode="each")  # fmt: skip
    await restored(other, await written(bench.database), tmp_path / "log.ndjson")
    assert await tables(other) == await tables(bench.database)
    appender = Appender(other, clock=lambda: NOW)
    await appender.start()
    there = BenchSide(appender, other)
    again = await there.when(graft)
    assert (again.verdict, again.position) == ("known", first.position)
    # What goes on there goes on alike: codes that are minted, numbers of what is to be put right.
    for side in (bench, there):
        minted = await side.when(bench.graft(1, "2026-03-08", None))
        late = await side.send(bench.graft(3, "2026-03-11", "T6", from_=[{"bag": "B9"}]),
                               mode="each")  # fmt: skip
        assert (minted.verdict, late.verdicts[0].verdict) == ("accepted", "refused")
    await appender.stop()
    assert refused.verdicts[0].verdict == "refused"
    ids = "SELECT array_agg(id ORDER BY id) FROM to_put_right"
    lots = "SELECT array_agg(code ORDER BY code) FROM lots"
    for question in (ids, lots):
        assert await other.writer.fetchval(question) == await bench.database.writer.fetchval(
            question
        )


def sealed(lines: list[bytes]) -> bytes:
    """The lines with a last one whose hash fits: changed by somebody who knows how."""
    end = msgspec.json.decode(lines[-1])
    end["end"]["sha256"] = hashlib.sha256(b"".join(lines[:-1])).hexdigest()
    return b"".join([*lines[:-1], msgspec.json.encode(end) + b"\n"])


def line_of(lines: list[bytes], words: bytes) -> int:
    """Index of the first line that holds the words."""
    return next(index for index, line in enumerate(lines) if words in line)


def swapped(lines: list[bytes], words: bytes, old: bytes, new: bytes) -> list[bytes]:
    """One line changed."""
    index = line_of(lines, words)
    assert old in lines[index], lines[index]
    return [*lines[:index], lines[index].replace(old, new), *lines[index + 1 :]]


def without(lines: list[bytes], words: bytes) -> list[bytes]:
    index = line_of(lines, words)
    return [*lines[:index], *lines[index + 1 :]]


Spoilt = Callable[[list[bytes]], list[bytes]]


SPOILT: list[tuple[Spoilt, bytes, str]] = [
    # more grafted than there were liners
    (lambda x: swapped(x, b'"lot": "T1"', b'"count": 24', b'"count": 124'), b'"lot": "T1"',
     "asked"),
    (lambda x: without(x, b'"stock.counted"'), b'"lot": "T2"', "a line is missing"),
    (lambda x: swapped(x, b'"lot": "T1"', b'"L1"', b'"L7"'), b'"lot": "T1"', "does not follow"),
    (lambda x: swapped(x, b'"lot": "T1"', b'"sites":["CORIN"]', b'"sites":["TARNA"]'),
     b'"lot": "T1"', "touches"),
    (lambda x: swapped(x, b'"lot": "T2"', b'before_a_count', b'other'), b'"lot": "T2"',
     "should be remarked"),
    (lambda x: swapped(x, b'"lot": "T2"', b'"occurred_day":"2026-03-06"',
                       b'"occurred_day":"2026-03-07"'), b'"lot": "T2"', "occurred"),
    (lambda x: swapped(x, b'"lot": "T2"', b'"type":"trees.grafted"', b'"type":"trees.grown"'),
     b'trees.grown', "can't be read"),
    (lambda x: swapped(x, b'"lot": "T2"', b'"version":1', b'"version":9'), b'"version":9',
     "version"),
    (lambda x: swapped(x, b'"lot": "T2"', b'"happened":false', b'"happened":0'), b'"lot": "T2"',
     "no line of an exported log"),
    (lambda x: x[1:], b'{"event"', "must begin"),
    (lambda x: [*x[:-1], b"{}\n", x[-1]], b"{}\n", "nothing in the line"),
    (lambda x: swapped(x, b'{"temperatures"', b'"min_c": 4.25', b'"min_c": "cold"'),
     b'{"temperatures"', "database refuses"),
    (lambda x: without(x, b'{"temperatures"'), b'{"end"', "0 were read"),
    (lambda x: without(x, b'{"readings"'), b'{"end"', "1 reading versions are told, 0 were read"),
    (lambda x: without(x, b'{"forecast"'), b'{"end"', "1 forecast versions are told, 0 were read"),
    (lambda x: swapped(x, b'{"end"', b'"events":', b'"events":1'), b'{"end"', "were read"),
]  # fmt: skip


async def test_a_changed_file_is_refused_with_its_line(
    bench: BenchSide, other: Database, tmp_path: Path
) -> None:
    content = await small(bench)
    for spoil, words, says in SPOILT:
        lines = spoil(content.splitlines(keepends=True))
        with pytest.raises(ArchiveError, match=says) as refused:
            await restored(other, sealed(lines), tmp_path / "log.ndjson")
        assert refused.value.line == line_of(lines, words) + 1
    assert await other.writer.fetchval("SELECT position FROM log_head") == 0
    assert await other.writer.fetchval("SELECT count(*) FROM lots") == 0


async def test_a_file_that_was_cut_or_touched_is_refused(
    bench: BenchSide, other: Database, tmp_path: Path
) -> None:
    content = await small(bench)
    lines = content.splitlines(keepends=True)
    path = tmp_path / "log.ndjson"
    for spoilt, says in (
        (b"".join(lines[:-1]), "cut off"),
        (b"".join(lines[:-1]) + lines[-1][:40], "no line"),
        (content + lines[-1], "after the last line"),
        (content.replace(b'"recorded_by":"tester"', b'"recorded_by":"jester"'), "SHA-256"),
        (b"", "cut off"),
    ):
        with pytest.raises(ArchiveError, match=says):
            await restored(other, spoilt, path)
    assert await other.writer.fetchval("SELECT position FROM log_head") == 0
    # Looked at only, nothing is there afterwards; and it still goes in whole.
    assert (await restored(other, content, path, check=True)).events > 0
    assert await other.writer.fetchval("SELECT position FROM log_head") == 0
    assert is_archive(path)
    await restored(other, content, path)
    assert await written(other) == content


async def test_into_another_log_it_says_what_is_not_there(
    bench: BenchSide, other: Database, tmp_path: Path
) -> None:
    content = await small(bench)
    await restored(other, content, tmp_path / "log.ndjson")
    await bench.given(entry("size", "L9", label="9 litre"))
    newer = await written(bench.database)
    line = newer.splitlines().index(
        next(one for one in newer.splitlines() if b'"code": "L9"' in one)
    )
    with pytest.raises(ArchiveError, match=r"has no event .*catalogue\.changed") as refused:
        await restored(other, newer, tmp_path / "log.ndjson")
    assert refused.value.line == line + 1


async def test_only_so_far_and_never_through_what_was_judged_together(bench: BenchSide) -> None:
    await small(bench)
    # The two sites were told in one request.
    with pytest.raises(PositionInsideUnitError, match=r"1 to 2.*0 or 2"):
        await written(bench.database, 1)
    part = await written(bench.database, 2)
    assert events_in(part) == 2
    assert b'{"temperatures":' not in part
    assert await written(bench.database, 10_000) != part
    whole = await written(bench.database)
    last = events_in(whole)
    assert events_in(await written(bench.database, last)) == last


async def test_an_empty_log_goes_out_and_comes_back(
    database: Database, other: Database, tmp_path: Path
) -> None:
    content = await written(database)
    assert (await restored(other, content, tmp_path / "log.ndjson")).events == 0
    assert await written(other) == content

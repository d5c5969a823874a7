"""Records in and out: files taken in and the log written and taken back, beside plain COPY."""

import asyncio
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import msgspec

from service.sheets.archive import archive
from service.sheets.restoring import restore
from service.sheets.writing import write_csv
from service.storage.pool import Database, open_database
from tests.support.bench_side import entry, event
from tests.support.database import TestServer
from tests.support.files import Files

CSV_ROWS, LINES, A_DAY = 10_000, 20_000, 400
LOTS = 100
HEADER = ("date", "site", "what", "lot", "cultivar", "rootstock", "method", "stage", "size",
          "place", "count")  # fmt: skip
SITE = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 40, "longitude": 1}
CATALOGUE = [
    entry("site", "CORIN", **SITE),
    *(entry("place", f"TB{n}", site="CORIN", structure="House 1") for n in range(60)),
    entry("cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navelina"),
    entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
    entry("size", "P9", label="9 cm pot"),
]
Figure = tuple[str, str, str, list[str]]
# Of a database: events a second by COPY of all rows, of events alone, and rows an event.
CopyRates = Callable[[str, int], Awaitable[tuple[float, float, float]]]


def opening(rows: int) -> str:
    """A CSV of opening stock, a lot a row."""
    return write_csv(
        HEADER,
        (
            {
                "date": "2026-03-01",
                "site": "CORIN",
                "what": "trees",
                "lot": f"LOT-{n}",
                "cultivar": "NAVEL",
                "rootstock": "CARRIZO",
                "method": "t_bud",
                "stage": "grafted",
                "size": "P9",
                "place": f"TB{n % 60}",
                "count": 100_000,
            }
            for n in range(rows)
        ),
    )


def losses(lines: int) -> list[bytes]:
    """Events in order of occurrence, a few hundred a day."""
    return [
        msgspec.json.encode(
            event("trees.lost", f"2026-{4 + n // 300 % 2:02}-{1 + n // 600 % 28:02}",
                  lot=f"LOT-{n % LOTS}", count=1, cause="frost")
        )
        for n in range(lines)
    ]  # fmt: skip


def measure(server: TestServer, copy_rates: CopyRates) -> Iterator[Figure]:
    """CSV, lines of JSON, and the whole log, each beside COPY of the rows it became."""
    for what, rows in (("a CSV", CSV_ROWS), ("lines of JSON", LINES)):
        yield asyncio.run(_taken_in(server, what, rows, copy_rates))
    yield asyncio.run(_a_day(server))
    yield asyncio.run(_out_and_back(server, copy_rates))


async def _started(server: TestServer) -> tuple[Database, Files]:
    database = await open_database(server.settings_for(await server.create()))
    files = Files(database)
    await files.lines(*map(msgspec.json.encode, CATALOGUE))
    return database, files


async def _taken_in(server: TestServer, what: str, rows: int, copy_rates: CopyRates) -> Figure:
    database, files = await _started(server)
    text, lines = opening(rows if what == "a CSV" else LOTS), losses(rows)
    begin = time.perf_counter()
    report = await files.sheet(text)
    if what != "a CSV":
        begin = time.perf_counter()
        report = await files.lines(*lines)
    rate = rows / (time.perf_counter() - begin)
    assert (report.recorded, report.refused) == (rows, 0)
    await database.close()
    both, _, each = await copy_rates(database.dsn, 0)
    return (
        f"{rows:,} events imported from {what}, of the raw COPY rate",
        f"{rate / both:.2f}",
        ">= 0.2",
        [f"import: {rate:,.0f} events/s; COPY: {both:,.0f} events/s ({each:.1f} rows an event)"],
    )


async def _a_day(server: TestServer) -> Figure:
    database, files = await _started(server)
    begin = time.perf_counter()
    dry = await files.sheet(opening(A_DAY), check=True)
    middle = time.perf_counter()
    report = await files.sheet(opening(A_DAY))
    took = time.perf_counter() - middle
    assert (dry.refused, report.recorded) == (0, A_DAY)
    await database.close()
    return (
        f"opening in a day: {A_DAY} rows of opening stock imported",
        f"{took:.2f} s",
        "< 5 s",
        [f"its dry run before that: {middle - begin:.2f} s"],
    )


async def _out_and_back(server: TestServer, copy_rates: CopyRates) -> Figure:
    database, files = await _started(server)
    await files.sheet(opening(LOTS))
    await files.lines(*losses(LINES))
    with TemporaryDirectory() as folder:
        path, began = Path(folder) / "log.ndjson", time.perf_counter()
        events = await _written(database, path)
        out = events / (time.perf_counter() - began)
        size: Any = path.stat().st_size
        other = await open_database(server.settings_for(await server.create()))
        began = time.perf_counter()
        done = await restore(other, path)
        back = events / (time.perf_counter() - began)
        assert done.events == events
    await database.close()
    await other.close()
    both, _, _ = await copy_rates(other.dsn, 0)
    return (
        "an exported log taken back, of the raw COPY rate",
        f"{back / both:.2f}",
        ">= 0.2",
        [
            f"export: {out:,.0f} events/s, {size / events:,.0f} bytes an event; import: "
            f"{back:,.0f} events/s; COPY: {both:,.0f} events/s"
        ],
    )


async def _written(database: Database, path: Path) -> int:
    async with (
        database.writer.acquire() as one,
        one.transaction(isolation="repeatable_read", readonly=True),
    ):
        with path.open("wb") as out:
            async for lines in archive(one):
                out.write(lines)
        position: int = await one.fetchval("SELECT position FROM log_head")
    return position

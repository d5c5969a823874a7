"""From an event's being sent until five hundred readers of the stream have it."""

import asyncio
import re
import statistics
import time
from collections.abc import Iterable
from typing import Any

import httpx

from tests.bench.place import Place
from tests.support.bench_side import event
from tests.support.database import TestServer

READERS, EVENTS, PAUSE_SECONDS, MANY = 500, 100, 0.05, 500
_TOLD = re.compile(rb"id: (\d+)\ndata: ")


class Reader(asyncio.Protocol):
    """A reader over a bare socket: when which position came."""

    def __init__(self, asked: bytes) -> None:
        self._asked, self._rest = asked, b""
        self.came: dict[int, float] = {}

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.write(self._asked)

    def data_received(self, data: bytes) -> None:
        now = time.perf_counter()
        whole, end, self._rest = (self._rest + data).rpartition(b"\n\n")
        for position in _TOLD.findall(whole + end):
            self.came[int(position)] = now


async def _until(readers: list[Reader], count: int, seconds: float) -> None:
    """Wait until every reader was told of so many events."""
    async with asyncio.timeout(seconds):
        while min(len(reader.came) for reader in readers) < count:
            await asyncio.sleep(0.01)


def _look(number: int) -> dict[str, Any]:
    return event("place.checked", "2025-06-15", place="TB1", note=f"look {number}")


async def _measure(place: Place) -> tuple[list[float], list[float], float]:
    """Seconds to each reader and to the last one, event by event; seconds for many at once."""
    asked = (
        f"GET /v1/events/stream HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {place.token}\r\n\r\n"
    ).encode()
    loop, readers = asyncio.get_running_loop(), []
    for _ in range(READERS):
        _, reader = await loop.create_connection(lambda: Reader(asked), "127.0.0.1", place.port)
        readers.append(reader)
    headers = {"Authorization": f"Bearer {place.token}"}
    base = f"http://127.0.0.1:{place.port}"
    async with httpx.AsyncClient(base_url=base, headers=headers, timeout=60) as client:

        async def record(*events: dict[str, Any]) -> int:
            answer = await client.post("/v1/events", json=list(events))
            assert answer.status_code == 201, answer.text
            position: int = answer.json()["position"]
            return position

        # Streams that began before it are told of it; when all are, all have begun.
        async with asyncio.timeout(60):
            while not all(reader.came for reader in readers):
                await record(_look(0))
                await asyncio.sleep(0.5)
        sent: dict[int, float] = {}
        for number in range(EVENTS):
            begin = time.perf_counter()
            sent[await record(_look(number))] = begin
            await asyncio.sleep(PAUSE_SECONDS)
        async with asyncio.timeout(60):
            while any(position not in reader.came for reader in readers for position in sent):
                await asyncio.sleep(0.01)
        took = [reader.came[p] - begin for p, begin in sent.items() for reader in readers]
        last = [max(r.came[p] for r in readers) - begin for p, begin in sent.items()]
        before = min(len(reader.came) for reader in readers)
        begin = time.perf_counter()
        await record(*(_look(number) for number in range(MANY)))
        await _until(readers, before + MANY, 60)
        return took, last, time.perf_counter() - begin


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """Each figure with its aim and what it comes from."""
    with Place(server, views=False, GRAFTLOG_STREAM_LIMIT=str(READERS)) as place:
        place.stocked(1)
        before = place.memory()["VmRSS"]
        busy = place.processor_seconds()
        took, last, many = asyncio.run(_measure(place))
        busy = place.processor_seconds() - busy
        memory = place.memory()["VmHWM"]
    p50, p99 = statistics.median(took), statistics.quantiles(took, n=100)[98]
    yield (
        f"from sending an event to {READERS} readers of a stream, p99",
        f"{1000 * p99:.0f} ms",
        "< 300 ms",
        [
            f"p50 {1000 * p50:.0f} ms, worst {1000 * max(took):.0f} ms, to the last reader p50 "
            f"{1000 * statistics.median(last):.0f} ms ({EVENTS} events, {PAUSE_SECONDS} s apart)",
            f"{MANY} events at once: {many:.2f} s until all have all, "
            f"{MANY * READERS / many:,.0f} told a second",
            f"memory of serve: {before:.0f} MiB before, {memory:.0f} MiB at most with {READERS} "
            f"streams; {busy:.1f} s of a processor in all",
        ],
    )

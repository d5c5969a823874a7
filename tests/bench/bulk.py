"""Events sent as lines in one request, beside the same events in batches."""

import socket
import threading
import time
from collections.abc import Iterator

from tests.bench.client import Task, event_maker
from tests.bench.place import Place
from tests.support.database import TestServer

LINES = 100_000
BATCH = 1000


def measure(server: TestServer) -> Iterator[tuple[str, str, str, list[str]]]:
    """Rates of lines and batches, and what a hundred thousand lines take of memory."""
    with Place(server, views=False) as place:
        place.stocked()
        before = place.memory()
        make = event_maker(Task(port=place.port, path=""), seed=0)
        body = b"".join(make() + b"\n" for _ in range(LINES))
        used = place.processor_seconds()
        took = [_send(place, body, reads=reads) for reads in (True, False)]
        used = (place.processor_seconds() - used) / (2 * LINES)
        after = place.memory()
        batches_used = place.processor_seconds()
        batches = place.ask(
            path="/v1/events?mode=each", connections=1, size=BATCH, seconds=10, warm_up=0
        )
        batches_used = (place.processor_seconds() - batches_used) / batches.events
    rates = [LINES / seconds for seconds, _ in took]
    yield (
        f"{LINES:,} events as lines, of the rate of batches of {BATCH:,}",
        f"{sum(rates) / 2 / batches.rate:.2f}",
        ">= 0.9",
        [
            f"lines {rates[0]:,.0f} events/s, the first verdict after {took[0][1]:.0f} ms; read "
            f"only once all was sent {rates[1]:,.0f} events/s",
            f"batches from one client {batches.rate:,.0f} events/s",
            f"processor time of serve: lines {1e6 * used:.0f} µs an event, batches "
            f"{1e6 * batches_used:.0f} µs",
        ],
    )
    yield (
        f"memory that {LINES:,} lines of {len(body) / 2**20:.0f} MiB take at most",
        f"{after['VmHWM'] - before['VmRSS']:.0f} MiB",
        "< 40 MiB",
        [f"{before['VmRSS']:.0f} MiB before, at most {after['VmHWM']:.0f} MiB meanwhile"],
    )


def _send(place: Place, body: bytes, *, reads: bool) -> tuple[float, float]:
    """Seconds for all of it, and milliseconds to the first byte of the answer.

    `reads`: while it is still sending; else only when all is sent.
    """
    head = (
        f"POST /v1/events?mode=each HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer "
        f"{place.token}\r\nContent-Type: application/x-ndjson\r\nAccept: application/x-ndjson\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", place.port)) as sock:
        begin = time.perf_counter()
        sending = threading.Thread(target=sock.sendall, args=(head.encode() + body,))
        sending.start()
        if not reads:
            sending.join()
        received, first = 0, 0.0
        tail = b""
        while not tail.endswith(b"0\r\n\r\n"):
            piece = sock.recv(1 << 20)
            if not piece:
                raise RuntimeError(f"it ended after {received} bytes: {tail!r}")
            first = first or 1000 * (time.perf_counter() - begin)
            received += len(piece)
            tail = (tail + piece)[-400:]
        sending.join()
        seconds = time.perf_counter() - begin
    told = b'"lines":%d,"accepted":%d,' % (LINES, LINES)
    if told not in tail:
        raise RuntimeError(tail.decode())
    return seconds, first

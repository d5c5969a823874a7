"""From an event's being sent until fifty receivers have it, with one among them that hangs."""

import asyncio
import statistics
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from threading import Thread
from typing import Any

import msgspec

from service.webhooks.sealing import new_key
from tests.bench.place import Place
from tests.ledger.served import make_key
from tests.support.bench_side import event
from tests.support.database import TestServer

WEBHOOKS, EVENTS, MANY = 50, 100, 200


class Receivers:
    """One server for all: when which message came, by the event's id and the address's path."""

    def __init__(self) -> None:
        self.came: dict[tuple[str, str], float] = {}
        self.port = 0

    async def take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while True:
                head = (await reader.readuntil(b"\r\n\r\n")).decode()
                now = time.perf_counter()
                size = next(
                    line for line in head.split("\r\n") if line.lower().startswith("content-length")
                )
                body = await reader.readexactly(int(size.split(":")[1]))
                path = head.split(" ", 2)[1]
                if path == "/hangs":
                    continue
                self.came[msgspec.json.decode(body)["id"], path] = now
                writer.write(b"HTTP/1.1 204 No Content\r\n\r\n")
        except (asyncio.IncompleteReadError, OSError):
            writer.close()

    @contextmanager
    def running(self) -> Iterator[None]:
        """On a loop and a thread of their own."""
        loop = asyncio.new_event_loop()

        async def begin() -> None:
            server = await asyncio.start_server(self.take, "127.0.0.1", 0)
            self.port = server.sockets[0].getsockname()[1]

        loop.run_until_complete(begin())
        thread = Thread(target=loop.run_forever, daemon=True)
        thread.start()
        try:
            yield
        finally:
            loop.call_soon_threadsafe(loop.stop)
            thread.join(5)

    def until(self, count: int, seconds: float) -> float:
        """Wait until so many messages have come; how long that took."""
        begin = time.perf_counter()
        while len(self.came) < count:
            if time.perf_counter() - begin > seconds:
                raise RuntimeError(f"{len(self.came)} of {count} messages came")
            time.sleep(0.01)
        return time.perf_counter() - begin


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """Each figure with its aim and what it comes from."""
    settings = {
        "GRAFTLOG_SECRETS_KEY": new_key(),
        "GRAFTLOG_WEBHOOK_TARGETS": "loopback",
    }
    receivers = Receivers()
    with receivers.running(), Place(server, views=True, **settings) as place:
        place.stocked(20)
        shop = asyncio.run(make_key(place.database_url, "shop", "administrator"))
        as_shop = {"Authorization": f"Bearer {shop}"}
        for number in range(WEBHOOKS + 1):
            path = "hangs" if number == WEBHOOKS else f"n{number}"
            said = {"url": f"http://127.0.0.1:{receivers.port}/{path}", "types": ["trees.moved"]}
            made = place.client.put(f"/v1/webhooks/W{number}", json=said, headers=as_shop)
            made.raise_for_status()
        for number in range(5):
            place.client.post("/v1/events", json=_moved(number)).raise_for_status()
        receivers.until(5 * WEBHOOKS, 30)
        receivers.came.clear()
        sent, answered = {}, []
        busy = place.processor_seconds()
        for number in range(EVENTS):
            begin = time.perf_counter()
            answer = place.client.post("/v1/events", json=_moved(number))
            answered.append(1000 * (time.perf_counter() - begin))
            sent[answer.json()["verdicts"][0]["id"]] = begin
            # Ten a second: as fast as people and shops record, not as fast as it goes.
            time.sleep(max(0.0, begin + 0.1 - time.perf_counter()))
        receivers.until(EVENTS * WEBHOOKS, 30)
        busy = place.processor_seconds() - busy
        took = sorted(1000 * (came - sent[found]) for (found, _), came in receivers.came.items())
        receivers.came.clear()
        begin = time.perf_counter()
        events = [_moved(number) for number in range(MANY)]
        place.client.post("/v1/events", json=events).raise_for_status()
        receivers.until(MANY * WEBHOOKS, 120)
        rate = MANY * WEBHOOKS / (time.perf_counter() - begin)
    p50, p99 = statistics.median(took), statistics.quantiles(took, n=100)[98]
    lines = [
        f"{EVENTS} events, ten a second, to {WEBHOOKS} webhooks each, one more hangs; the append "
        f"alone took {statistics.median(answered):.1f} ms (p50)",
        f"the service used {1000 * busy / EVENTS:.0f} ms of a processor an event, "
        f"{1000 * busy / EVENTS / WEBHOOKS:.1f} ms a message",
        f"{MANY} events at once: {rate:,.0f} messages/s",
    ]
    yield (
        "event sent to received, 50 webhooks, p50 / p99",
        f"{p50:.0f} / {p99:.0f} ms",
        "< 100 / 500 ms",
        lines,
    )


def _moved(number: int) -> Any:
    where = {"lot": f"LOT-{number % 20}", "place": "TB1", "stage": "grafted", "size": "P9"}
    return event("trees.moved", "2025-06-15", **where, count=1, to="TB2")

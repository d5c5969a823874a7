"""A client that costs little: bare sockets kept alive, requests made beforehand or by counting.

Run as a process of its own: a `Task` as JSON on standard input, a `Result` on standard output.
"""

import asyncio
import sys
import time
from collections import Counter
from collections.abc import Callable
from typing import cast

import msgspec


class Task(msgspec.Struct, kw_only=True):
    """So many connections, each asking again as soon as it is answered."""

    port: int
    path: str
    token: str = ""
    connections: int = 64
    seconds: float = 4.0
    warm_up: float = 1.0
    # events a request: 1 for single ones
    size: int = 1
    lots: int = 100
    day: str = "2025-06-15"
    late_day: str = "2025-05-15"
    # every so many-th event is late; 0 for none
    late_every: int = 0
    # not "": nothing is sent but a GET that names this tag as the one that is known
    known_tag: str = ""


class Result(msgspec.Struct, kw_only=True):
    """What was answered while it was measured."""

    requests: int
    events: int
    seconds: float
    p50_ms: float
    p99_ms: float
    statuses: dict[int, int]
    trouble: str = ""

    @property
    def rate(self) -> float:
        """Events a second."""
        return self.events / self.seconds


def event_maker(task: Task, seed: int) -> Callable[[], bytes]:
    """Events by turns: a table looked at, a tree moved from one table to another. Or wishes to
    reserve a tree, of one item after another."""
    number = seed

    def reserve() -> bytes:
        nonlocal number
        number += 1
        return (
            b'{"customer":"cust-1","site":"CORIN","lines":[{"cultivar":"CV%d","rootstock":'
            b'"CARRIZO","size":"P9","count":1}]}' % (number % task.lots)
        )

    if task.path == "/v1/reservations":
        return reserve

    def make() -> bytes:
        nonlocal number
        number += 1
        late = task.late_every and number % task.late_every == 0
        day = task.late_day if late else task.day
        if number % 2:
            return (
                b'{"type":"place.checked","site":"CORIN","occurred":"%s","actor":"p-07",'
                b'"data":{"place":"TB1","note":"walked the table"}}' % day.encode()
            )
        return (
            b'{"type":"trees.moved","site":"CORIN","occurred":"%s","actor":"p-07",'
            b'"data":{"lot":"LOT-%d","place":"TB1","stage":"grafted","size":"P9","count":1,'
            b'"to":"TB2"}}' % (day.encode(), number // 2 % task.lots)
        )

    return make


class Connection(asyncio.Protocol):
    """One connection: asks, reads the answer by its length, asks again."""

    def __init__(self, task: Task, number: int, tell: Callable[[int, float, bytes], bool]) -> None:
        self.task, self.tell = task, tell
        self.make = event_maker(task, number * 7919)
        self.head = (
            f"POST {task.path} HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            f"Authorization: Bearer {task.token}\r\nContent-Type: application/json\r\n"
            "Content-Length: "
        ).encode()
        if task.known_tag:
            self.head = (
                f"GET {task.path} HTTP/1.1\r\nHost: 127.0.0.1\r\n"
                f"Authorization: Bearer {task.token}\r\nIf-None-Match: {task.known_tag}\r\n\r\n"
            ).encode()
        self.received = b""
        self.asked = 0.0
        self.transport: asyncio.Transport | None = None
        self.over: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # uvloop's transports are no subclass of asyncio's
        self.transport = cast(asyncio.Transport, transport)
        self.ask()

    def ask(self) -> None:
        assert self.transport is not None
        if self.task.known_tag:
            self.asked = time.perf_counter()
            self.transport.write(self.head)
            return
        if self.task.size == 1:
            body = self.make()
        else:
            body = b"[" + b",".join(self.make() for _ in range(self.task.size)) + b"]"
        self.asked = time.perf_counter()
        self.transport.write(self.head + b"%d\r\n\r\n" % len(body) + body)

    def data_received(self, data: bytes) -> None:
        self.received += data
        end = self.received.find(b"\r\n\r\n")
        if end < 0:
            return
        head = self.received[:end].lower()
        at = head.find(b"content-length: ") + 16
        # An answer of 304 has no content, and says no length.
        length = int(head[at:].split(b"\r\n", 1)[0]) if at > 15 else 0
        if len(self.received) < end + 4 + length:
            return
        status, body = int(head[9:12]), self.received[end + 4 :]
        self.received = b""
        if self.tell(status, time.perf_counter() - self.asked, body):
            self.ask()
        elif not self.over.done():
            self.over.set_result(None)

    def connection_lost(self, error: Exception | None) -> None:
        if not self.over.done():
            self.over.set_result(None)


async def run(task: Task) -> Result:
    """Ask as told, count what was answered after the warm-up."""
    begin = time.perf_counter() + task.warm_up
    end = begin + task.seconds
    times: list[float] = []
    statuses: Counter[int] = Counter()
    trouble = ""

    def tell(status: int, took: float, body: bytes) -> bool:
        nonlocal trouble
        now = time.perf_counter()
        if begin <= now < end:
            times.append(took)
            statuses[status] += 1
        if status >= 400 and not trouble:
            trouble = body[:500].decode(errors="replace")
        return now < end

    loop = asyncio.get_running_loop()
    made = [
        await loop.create_connection(lambda n=n: Connection(task, n, tell), "127.0.0.1", task.port)
        for n in range(task.connections)
    ]
    await asyncio.gather(*(protocol.over for _, protocol in made))
    for transport, _ in made:
        transport.close()
    times.sort()
    good = sum(count for status, count in statuses.items() if status < 400)
    return Result(
        requests=len(times),
        events=good * task.size,
        seconds=task.seconds,
        p50_ms=1000 * times[len(times) // 2] if times else 0,
        p99_ms=1000 * times[int(len(times) * 0.99)] if times else 0,
        statuses=dict(statuses),
        trouble=trouble,
    )


if __name__ == "__main__":
    import uvloop

    asked = msgspec.json.decode(sys.stdin.buffer.read(), type=Task)
    sys.stdout.buffer.write(msgspec.json.encode(uvloop.run(run(asked))))

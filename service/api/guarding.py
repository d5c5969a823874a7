"""A connection with limits: on the size of a request's head, and on the time it takes to come.

What comes too slowly or too large is ended here, before there is a request to answer.
"""

import asyncio
from collections.abc import Callable

import msgspec
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from service.api.headers import SECURITY
from service.api.problems import PROBLEM_TYPE, Problem
from service.api.streaming import CONNECTION

HEAD_BYTES = 65_536
HEAD_SECONDS = 20.0


class TooLarge(Exception):
    """The head of a request is larger than what is read at all."""


class GuardedConnection(HttpToolsProtocol):
    """uvicorn's connection with a limit on what comes before a request's body.

    An answer that is streamed finds it in the request's scope (`streaming.Line`): uvicorn waits for
    such answers when it stops, and lets them write on when nobody reads.
    """

    _head = 0
    _timer: asyncio.TimerHandle | None = None
    over = False
    _watching: dict[object, Callable[[], None]]

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._watching = {}
        super().connection_made(transport)  # type: ignore[arg-type]
        self._expect_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._head_came()
        super().connection_lost(exc)
        self._end()

    def shutdown(self) -> None:
        super().shutdown()
        self._end()

    def when_over(self, told: Callable[[], None]) -> Callable[[], None]:
        """Have `told` called when the asker is gone or the service stops."""
        mark = object()
        self._watching[mark] = told

        def take_back() -> None:
            self._watching.pop(mark, None)

        return take_back

    def abort(self) -> None:
        """Close at once; what waits to be sent is dropped."""
        if self.cycle is not None:
            self.cycle.disconnected = True
        self.transport.abort()

    def _end(self) -> None:
        self.over = True
        for told in list(self._watching.values()):
            told()

    def on_message_begin(self) -> None:
        self._head = 0
        self._expect_head()
        super().on_message_begin()
        self.scope["extensions"] = {CONNECTION: self}  # type: ignore[dict-item]

    def on_url(self, url: bytes) -> None:
        self._count(len(url))
        super().on_url(url)

    def on_header(self, name: bytes, value: bytes) -> None:
        self._count(len(name) + len(value))
        super().on_header(name, value)

    def on_headers_complete(self) -> None:
        self._head_came()
        super().on_headers_complete()

    def send_400_response(self, msg: str) -> None:
        """What is no HTTP, or is too much of it, is answered by a problem as all else is."""
        slug = "headers-too-large" if self._head > HEAD_BYTES else "malformed-request"
        problem = Problem(slug, "This is no request that can be read.")
        body = msgspec.json.encode(problem.document("/"))
        lines: list[tuple[bytes, bytes]] = [
            (b"content-type", PROBLEM_TYPE.encode()),
            (b"content-length", str(len(body)).encode()),
            (b"cache-control", b"no-store"),
            (b"connection", b"close"),
            *SECURITY,
        ]
        head = b"".join(name + b": " + value + b"\r\n" for name, value in lines)
        self.transport.write(b"HTTP/1.1 %d \r\n" % problem.status + head + b"\r\n" + body)
        self.transport.close()

    def _count(self, size: int) -> None:
        self._head += size
        if self._head > HEAD_BYTES:
            raise TooLarge

    def _expect_head(self) -> None:
        if self._timer is None:
            self._timer = self.loop.call_later(HEAD_SECONDS, self._too_slow)

    def _head_came(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _too_slow(self) -> None:
        self._timer = None
        self.transport.close()

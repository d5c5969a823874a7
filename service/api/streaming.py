"""Answers that are sent while they are made, and the connection that they go out on."""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import contextmanager
from typing import Any, Protocol

import structlog
from litestar.types import Message, Receive, Scope, Send

# Under this name the server's connection stands among the `extensions` of a request's scope.
CONNECTION = "graftlog.connection"
# Who takes nothing for so long is gone, whatever the network says: what waits for them is let go.
PATIENCE = 30.0
_log = structlog.get_logger(__name__)


class Line(Protocol):
    """The connection of a request."""

    over: bool
    """The asker went away, or the service is about to stop: end soon."""

    def when_over(self, told: Callable[[], None]) -> Callable[[], None]:
        """Have `told` called when it is over; returns what takes that back."""
        ...

    def abort(self) -> None:
        """Close it at once and drop what waits to be sent."""
        ...


class NoLine:
    """Where the server does not say: never over by itself."""

    over = False

    def when_over(self, told: Callable[[], None]) -> Callable[[], None]:
        return lambda: None

    def abort(self) -> None:
        return


def line_of(scope: Scope) -> Line:
    """The connection that a request came by."""
    extensions: Any = scope.get("extensions") or {}
    found: Line = extensions.get(CONNECTION) or NoLine()
    return found


@contextmanager
def woken(wake: asyncio.Event, line: Line) -> Iterator[None]:
    """Inside, `wake` is set when the connection is over."""
    take_back = line.when_over(wake.set)
    try:
        yield
    finally:
        take_back()


class Streamed:
    """An answer of unknown length as an ASGI application; each chunk is sent as it comes.

    The server waits while the asker's side is full, so no more than a chunk is held for a slow one;
    one who takes nothing for `PATIENCE` seconds is cut off. However it ends, `chunks` is closed.
    """

    __slots__ = ("asker_sends", "chunks", "headers", "status")

    def __init__(
        self,
        status: int,
        headers: list[tuple[bytes, bytes]],
        chunks: AsyncIterator[bytes],
        asker_sends: Callable[[], bool] = lambda: False,
    ) -> None:
        """`asker_sends`: whether the request still comes; until it is there nobody need read."""
        self.status, self.headers, self.chunks = status, headers, chunks
        self.asker_sends = asker_sends

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        scope["state"]["streamed"] = True
        try:
            start: Message = {
                "type": "http.response.start",
                "status": self.status,
                "headers": self.headers,
            }
            await send(start)
            if scope["method"] != "HEAD":  # type: ignore[typeddict-item]
                async for chunk in self.chunks:
                    await self._send(send, chunk, more=True)
            await self._send(send, b"", more=False)
        except _TakesNothing:
            _log.info("slow_reader_cut_off", principal=scope["state"].get("principal"))
            line_of(scope).abort()
        finally:
            close = getattr(self.chunks, "aclose", None)
            if close is not None:
                await close()

    async def _send(self, send: Send, body: bytes, *, more: bool) -> None:
        message: Message = {"type": "http.response.body", "body": body, "more_body": more}
        while True:
            try:
                # What waits for room has sent nothing yet, so it can be tried again.
                async with asyncio.timeout(PATIENCE):
                    await send(message)
                return
            except TimeoutError as error:
                if not self.asker_sends():
                    raise _TakesNothing from error


class _TakesNothing(Exception):
    """The asker did not make room for the next chunk in time."""

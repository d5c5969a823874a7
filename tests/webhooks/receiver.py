"""A receiver of webhooks on this machine that does as it is told, and remembers what came."""

import asyncio
import contextlib
import ssl
from collections import deque
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import msgspec
from standardwebhooks import Webhook as Verifier

# How an answer is given: a status line with headers, or one of the ways to fail.
HANG, CUT = "hang", "cut"


@dataclass(frozen=True)
class Got:
    """One request: its headers (lower case) and body."""

    headers: dict[str, str]
    body: bytes

    @property
    def id(self) -> str:
        return self.headers["webhook-id"]

    @property
    def event(self) -> Any:
        return msgspec.json.decode(self.body)

    def signed_by(self, secret: str) -> bool:
        """Whether another hand's verifier takes it for signed with that secret, and now."""
        try:
            Verifier(secret).verify(self.body, self.headers)
        except Exception:
            return False
        return True


@dataclass
class Receiver:
    """`answers` are given one after the other, then `200`. Tuples are status and more headers."""

    answers: deque[Any] = field(default_factory=deque)
    got: list[Got] = field(default_factory=list)
    port: int = 0
    server: asyncio.Server | None = None
    tls: ssl.SSLContext | None = None
    _came: asyncio.Condition = field(default_factory=asyncio.Condition)
    _open: set[asyncio.StreamWriter] = field(default_factory=set)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hook?a=b"

    async def until(self, enough: Callable[[list[Got]], bool], seconds: float = 10.0) -> list[Got]:
        """Wait for requests. TimeoutError when they don't come."""
        async with asyncio.timeout(seconds), self._came:
            await self._came.wait_for(lambda: enough(self.got))
        return self.got

    async def count(self, wanted: int, seconds: float = 10.0) -> list[Got]:
        """Wait for so many requests."""
        return await self.until(lambda got: len(got) >= wanted, seconds)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._open.add(writer)
        with contextlib.suppress(OSError, asyncio.IncompleteReadError):
            while await self._one(reader, writer):
                pass
        await self._end(writer)

    async def _end(self, writer: asyncio.StreamWriter) -> None:
        self._open.discard(writer)
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()

    async def open(self) -> None:
        """Be there, on the port that it had."""
        self.server = await asyncio.start_server(self.serve, "127.0.0.1", self.port, ssl=self.tls)
        self.port = self.server.sockets[0].getsockname()[1]

    async def close(self) -> None:
        """Be there no more, and cut off whoever is connected."""
        if self.server is not None:
            self.server.close()
        for writer in list(self._open):
            await self._end(writer)

    async def _one(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        head = (await reader.readuntil(b"\r\n\r\n")).decode().split("\r\n")
        pairs = (line.split(": ", 1) for line in head[1:] if line)
        headers = {name.lower(): value for name, value in pairs}
        body = await reader.readexactly(int(headers["content-length"]))
        answer = self.answers.popleft() if self.answers else 200
        async with self._came:
            self.got.append(Got(headers, body))
            self._came.notify_all()
        if answer == HANG:
            await reader.read()
            return False
        if answer == CUT:
            writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf of it")
            await writer.drain()
            return False
        status, more = answer if isinstance(answer, tuple) else (answer, {})
        lines = "".join(f"{name}: {value}\r\n" for name, value in more.items())
        writer.write(f"HTTP/1.1 {status} X\r\nContent-Length: 0\r\n{lines}\r\n".encode())
        await writer.drain()
        return True


@asynccontextmanager
async def receiving(*answers: Any, tls: ssl.SSLContext | None = None) -> AsyncIterator[Receiver]:
    """A receiver on a port of its own."""
    receiver = Receiver(deque(answers), tls=tls)
    await receiver.open()
    try:
        yield receiver
    finally:
        await receiver.close()

"""The service over real HTTP on a real PostgreSQL, in this process."""

import asyncio
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

import httpx
import pytest
import uvicorn

from service.api import stream
from service.api.guarding import GuardedConnection
from service.application import assemble, http
from service.clock import system_clock
from service.feed.following import Follower
from service.log.append import Appender
from service.log.keys import create_key
from service.log.submission import Answer, Submission
from service.settings import Settings
from service.storage.pool import Database

Client = httpx.AsyncClient
MakeClient = Callable[..., Awaitable[Client]]


@asynccontextmanager
async def listening(app: object, *, send_buffer: int | None = None) -> AsyncIterator[str]:
    """The address of `app`, served by uvicorn on a free port.

    `send_buffer`: the bytes that the system takes for a reader who does not read.
    """
    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        log_config=None,
        access_log=False,
        http=GuardedConnection,
        ws="none",
    )
    server = uvicorn.Server(config)
    # With its protocol named, asyncio sends without delay (TCP_NODELAY): 40 ms an answer.
    with socket.socket(proto=socket.IPPROTO_TCP) as sock:
        if send_buffer is not None:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, send_buffer)
        sock.bind(("127.0.0.1", 0))
        task = asyncio.create_task(server.serve(sockets=[sock]))
        while not server.started:
            if task.done():
                await task
            await asyncio.sleep(0)
        try:
            yield f"http://127.0.0.1:{sock.getsockname()[1]}"
        finally:
            server.should_exit = True
            await task


@pytest.fixture
async def appender(database: Database) -> AsyncIterator[object]:
    """The log's writer; a test module may bring another."""
    writer = Appender(database)
    await writer.start()
    yield writer
    await writer.stop()


@pytest.fixture(autouse=True)
def streams_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who asks for everything there is in turn is not kept waiting for what is still to come."""
    monkeypatch.setattr(stream, "LONGEST", 0.0)


class NeverAsked:
    """For tests of what is answered before the log is asked."""

    async def append(self, submission: Submission) -> Answer:
        raise AssertionError("this request should not have reached the log")


@pytest.fixture
async def base_url(database: Database, settings: Settings, appender: object) -> AsyncIterator[str]:
    app = http(settings)
    follower = Follower(database)
    await follower.start()
    app.state.services = assemble(settings, database, appender, system_clock, follower)  # type: ignore[arg-type]
    async with listening(app) as url:
        yield url
    await follower.stop()


@pytest.fixture
async def client_for(database: Database, base_url: str) -> AsyncIterator[MakeClient]:
    """Makes a client with a fresh key: `await client_for("recorder", "CORIN")`; no role: no key."""
    made: list[Client] = []

    async def make(role: str | None = "administrator", *sites: str) -> Client:
        headers = {}
        if role is not None:
            async with database.writer.acquire() as connection:
                key = await create_key(
                    connection,
                    name=f"{role}-{len(made)}",
                    role=role,
                    sites=frozenset(sites or ("*",)),
                )
            headers["Authorization"] = f"Bearer {key.token}"
        client = httpx.AsyncClient(base_url=base_url, headers=headers)
        made.append(client)
        return client

    yield make
    for client in made:
        await client.aclose()

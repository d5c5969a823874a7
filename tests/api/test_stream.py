"""The log as a stream: nothing missed, nothing twice, nothing of another site, and an end to it."""

import asyncio
import json
import random
import socket
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from functools import partial
from typing import Any, NamedTuple

import httpx
import msgspec
import pytest

from service import application
from service.api import stream, streaming
from service.api.services import Services
from service.application import assemble, http
from service.clock import system_clock
from service.feed import newest
from service.feed.following import Follower
from service.log.append import Appender
from service.log.keys import KeyRing, create_key, revoke_key
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import listening
from tests.api.nursery import CATALOGUE, STOCK, event
from tests.support.sse import Got, Reader, events_of

PATH = "/v1/events/stream"


@pytest.fixture
def streams_end() -> None:
    """Here they go on."""


class Serving(NamedTuple):
    """A service with a nursery in it: all that is told is under `client`, a key for every site."""

    url: str
    client: httpx.AsyncClient
    services: Services
    database: Database

    async def key(self, *sites: str, name: str = "reader") -> dict[str, str]:
        """The header of a fresh key that may read at these sites."""
        async with self.database.writer.acquire() as connection:
            made = await create_key(
                connection, name=name, role="auditor", sites=frozenset(sites or ("*",))
            )
        return {"Authorization": f"Bearer {made.token}"}

    async def look(self, count: int, *, site: str = "CORIN", place: str = "H2-T04") -> None:
        """Record that a table was looked at, so often."""
        told = [event("place.checked", {"place": place}, site=site) for _ in range(count)]
        answer = await self.client.post("/v1/events", json=told)
        assert answer.status_code == 201, answer.text

    @asynccontextmanager
    async def following(
        self, query: dict[str, Any] | None = None, **headers: str
    ) -> AsyncIterator[httpx.Response]:
        """An open stream."""
        headers = {name.replace("_", "-"): value for name, value in headers.items()}
        async with self.client.stream("GET", PATH, params=query, headers=headers) as answer:
            assert answer.status_code == 200, await answer.aread()
            yield answer

    async def listed(self, headers: dict[str, str], **query: str) -> list[dict[str, Any]]:
        """What the list of events says for the same question."""
        answer = await self.client.get(
            "/v1/events", params={"limit": "1000", **query}, headers=headers
        )
        found: list[dict[str, Any]] = answer.json()["items"]
        return found

    async def let_go(self) -> None:
        """Wait until no stream is open any more."""
        async with asyncio.timeout(20):
            while self.services.streams.count:
                await asyncio.sleep(0.01)


@asynccontextmanager
async def serving(
    database: Database, settings: Settings, *, send_buffer: int | None = None, **more: Any
) -> AsyncIterator[Serving]:
    writer, follower = Appender(database), Follower(database)
    await writer.start()
    await follower.start()
    settings = msgspec.structs.replace(settings, **more)
    app = http(settings)
    services = app.state.services = assemble(settings, database, writer, system_clock, follower)
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="all", role="administrator", sites=frozenset("*"))
    headers = {"Authorization": f"Bearer {key.token}"}
    try:
        async with (
            listening(app, send_buffer=send_buffer) as url,
            httpx.AsyncClient(base_url=url, headers=headers, timeout=30) as client,
        ):
            for path, body in CATALOGUE:
                assert (await client.put(f"/v1/{path}", json=body)).status_code == 201
            yield Serving(url, client, services, database)
    finally:
        await follower.stop()
        await writer.stop()


@pytest.fixture
async def served(database: Database, settings: Settings) -> AsyncIterator[Serving]:
    async with serving(database, settings) as made:
        yield made


async def take(answer: httpx.Response, count: int) -> list[Got]:
    """The next events of a stream; fails when they do not come."""
    found: list[Got] = []
    async with asyncio.timeout(20):
        async for got in events_of(answer):
            found.append(got)
            if len(found) == count:
                break
    return found


async def test_cut_off_a_hundred_times_a_reader_misses_nothing_and_is_told_nothing_twice(
    served: Serving, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut at any byte, while others record; some of the log is in memory, some no more."""
    monkeypatch.setattr(served.services.newest, "_most", 40)
    chance, total, seen = random.Random(7), 1000, []
    last_id, cuts = "0", 0
    start = (await served.client.get("/v1/events")).json()["position"]

    async def record() -> None:
        for _ in range(total // 10):
            await served.look(10)

    recording = asyncio.create_task(record())
    while len(seen) < start + total:
        reader = Reader()
        left = chance.randint(1, 6_000) if cuts < 100 else 10**9
        async with asyncio.timeout(30), served.following(Last_Event_ID=last_id) as answer:
            async for chunk in answer.aiter_raw():
                found = reader.read(chunk[:left])
                seen += [int(got.id) for got in found]
                assert all(json.loads(got.data)["position"] == int(got.id) for got in found)
                last_id, left = reader.last_id or last_id, left - len(chunk)
                if left <= 0 or len(seen) >= start + total:
                    break
        cuts += 1
    await recording
    assert cuts > 100
    assert seen == list(range(1, start + total + 1))


@pytest.mark.parametrize("remembered", [1000, 5], ids=["in memory", "from the log"])
async def test_a_stream_tells_what_the_list_tells_a_key_of_a_site(
    served: Serving, monkeypatch: pytest.MonkeyPatch, remembered: int
) -> None:
    monkeypatch.setattr(served.services.newest, "_most", remembered)
    monkeypatch.setattr(newest, "PAGE", 7)
    monkeypatch.setattr(stream, "PAGE", 7)
    theirs, ours = await served.key("VALE", name="vale"), await served.key("CORIN", name="corin")
    questions: list[tuple[dict[str, str], dict[str, str]]] = [
        (ours, {}),
        (theirs, {}),
        (ours, {"type": "grafts.wrapped,place.checked"}),
        (ours, {"lot": "T-1"}),
        (ours, {"place": "H2-T04", "type": "place.checked"}),
        ({}, {"site": "VALE"}),
    ]

    async def follow(headers: dict[str, str], query: dict[str, str], until: asyncio.Event) -> Any:
        seen: list[Any] = []
        async with served.following({"after": "0", **query}, **headers) as answer:
            reading = asyncio.create_task(_all(answer, seen))
            await until.wait()
            wanted = [one["id"] for one in await served.listed(headers, **query)]
            async with asyncio.timeout(20):
                while len(seen) < len(wanted):
                    await asyncio.sleep(0.01)
            reading.cancel()
            await asyncio.wait([reading])
        return seen, await served.listed(headers, **query)

    told = asyncio.Event()
    assert (await served.client.post("/v1/events", json=STOCK)).status_code == 201
    followers = [asyncio.create_task(follow(*one, told)) for one in questions]
    for _ in range(6):
        wrapped = event("grafts.wrapped", {"lot": "T-1", "material": "film"})
        assert (await served.client.post("/v1/events", json=wrapped)).status_code == 201
        await served.look(3)
        await served.look(2, site="VALE", place="V1")
    told.set()
    for (headers, query), (seen, listed) in zip(
        questions, await asyncio.gather(*followers), strict=True
    ):
        assert len(listed) > 6, query
        assert seen == listed, query
        if headers is theirs:
            assert {one["site"] for one in seen} == {"VALE"}


async def _all(answer: httpx.Response, seen: list[Any]) -> None:
    async for got in events_of(answer):
        seen.append(json.loads(got.data))


async def test_ids_come_alone_past_what_is_not_for_the_reader(
    served: Serving, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else who comes again would have all of it looked through again."""
    monkeypatch.setattr(stream, "KEEP_ALIVE", 0.05)
    monkeypatch.setattr(stream, "TICK", 0.05)
    reader, kept_alive = Reader(), b""
    async with served.following({"type": "trees.sold"}) as answer:
        await served.look(5)
        head = str((await served.client.get("/v1/events")).json()["position"])
        async with asyncio.timeout(20):
            async for chunk in answer.aiter_raw():
                assert reader.read(chunk) == []
                kept_alive += chunk
                if reader.last_id == head and b"\n:\n\n" in kept_alive:
                    break
    assert kept_alive.startswith(b"retry: 2000\nid: ")


async def test_where_a_stream_begins(served: Serving) -> None:
    await served.look(4)
    head = (await served.client.get("/v1/events")).json()["position"]
    async with served.following({"after": "1"}) as answer:
        assert answer.headers["content-type"] == "text/event-stream"
        assert answer.headers["cache-control"] == "no-store"
        assert [got.id for got in await take(answer, head - 1)] == [
            str(n) for n in range(2, head + 1)
        ]
    # A browser comes again to the address that it began with.
    async with served.following({"after": "1"}, Last_Event_ID=str(head - 1)) as answer:
        assert [got.id for got in await take(answer, 1)] == [str(head)]
    # Without either it begins with what comes.
    async with served.following({"format": "cloudevent"}) as answer:
        await served.look(1)
        (got,) = await take(answer, 1)
        assert (got.id, json.loads(got.data)["sequence"]) == (str(head + 1), f"{head + 1:020}")
    head += 1
    get = partial(served.client.get, PATH)
    for answer in (
        await get(params={"after": str(head + 1)}),
        await get(headers={"Last-Event-ID": str(head + 1)}),
        await served.client.get("/v1/events", params={"after": str(head + 1)}),
    ):
        assert (answer.status_code, answer.json()["errors"][0]["kind"]) == (422, "beyond_log")
    for bad in ("-1", "one", "1" * 19, "１"):
        answer = await get(headers={"Last-Event-ID": bad.encode()})
        assert (answer.status_code, answer.json()["type"]) == (400, "/problems/malformed-request")
    answer = await get(params={"type": "trees.sold,trees.sawn"})
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "type")
    whole = await served.client.head(PATH)
    assert (whole.status_code, whole.content) == (200, b"")
    await served.let_go()


async def test_a_stream_ends_when_its_key_does(
    database: Database, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stream, "TICK", 0.05)
    monkeypatch.setattr(application, "KeyRing", partial(KeyRing, remember=0.05))
    async with serving(database, settings) as served:
        revoked, narrowed = await served.key("CORIN", name="a"), await served.key(name="b")
        async with served.following(**revoked) as one, served.following(**narrowed) as other:
            async with database.writer.acquire() as connection:
                assert await revoke_key(connection, revoked["Authorization"].split("_")[1])
                await connection.execute("UPDATE keys SET sites = '{CORIN}' WHERE name = 'b'")
            async with asyncio.timeout(20):
                assert [got async for got in events_of(one)] == []
                assert [got async for got in events_of(other)] == []
        again = await served.client.get(PATH, headers=revoked)
        assert again.status_code == 401


async def test_streams_end_after_an_hour_and_when_the_service_stops(
    database: Database, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server of these tests would wait for ever for what is being answered."""
    async with httpx.AsyncClient(timeout=30) as apart:
        async with serving(database, settings) as served:
            await served.look(1)
            with monkeypatch.context() as hour:
                hour.setattr(stream, "LONGEST", 0.0)
                async with served.following({"after": "0"}) as answer:
                    assert [got async for got in events_of(answer)][-1:] != []
            asked = apart.build_request("GET", served.url + PATH, headers=await served.key())
            answer = await apart.send(asked, stream=True)
            reading = asyncio.create_task(answer.aread())
            async with asyncio.timeout(20):
                while not served.services.streams.count:
                    await asyncio.sleep(0.01)
        async with asyncio.timeout(20):
            assert b"data:" not in await reading


async def test_who_reads_nothing_is_cut_off_and_harms_nobody(
    database: Database, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(streaming, "PATIENCE", 0.3)
    # What the system itself takes for a reader is kept small, so that little has to be recorded.
    async with serving(database, settings, send_buffer=16_384) as served:
        headers = await served.key(name="slow")
        host, port = served.url.removeprefix("http://").split(":")
        with socket.socket() as slow:
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            slow.connect((host, int(port)))
            asked = f"GET {PATH}?after=0 HTTP/1.1\r\nhost: x\r\n"
            slow.sendall(f"{asked}authorization: {headers['Authorization']}\r\n\r\n".encode())
            head = (await served.client.get("/v1/events")).json()["position"]
            async with served.following({"after": "0"}) as answer:
                for _ in range(2):
                    await served.look(250)
                seen = await take(answer, head + 500)
                assert [int(got.id) for got in seen] == list(range(1, head + 501))
            await served.let_go()


async def test_a_key_has_only_so_many_streams_and_leaves_room_for_requests(
    database: Database, settings: Settings
) -> None:
    async with serving(database, settings, stream_limit=1, request_limit=4) as served:
        async with served.following():
            answer = await served.client.get(PATH)
            assert answer.status_code == 429
            assert answer.json()["violated-policies"] == ["streams"]
            assert int(answer.headers["retry-after"]) > 0
            other, third = await served.key(name="other"), await served.key(name="third")
            async with served.following(**other):
                answer = await served.client.get(PATH, headers=third)
                assert (answer.status_code, answer.json()["type"]) == (503, "/problems/overloaded")
                assert (await served.client.get("/v1/sites", headers=third)).status_code == 200
        await served.let_go()
        # Many who come at once are counted one by one.
        async with AsyncExitStack() as stack:
            asked = (stack.enter_async_context(served.client.stream("GET", PATH)) for _ in range(4))
            answers = await asyncio.gather(*asked)
            assert sorted(one.status_code for one in answers) == [200, 429, 429, 429]


# WHATWG HTML, 9.2.6 "Interpreting an event stream", its examples; the last is a test of ids of the
# web platform tests (eventsource/format-field-id). Each: a stream, its events as (id, data).
PUBLISHED: list[tuple[bytes, list[Got]]] = [
    (b"data: YHOO\ndata: +2\ndata: 10\n\n", [Got("", "YHOO\n+2\n10")]),
    (
        b": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\n"
        b"data:  third event\n\n",
        [Got("1", "first event"), Got("", "second event"), Got("", " third event")],
    ),
    (b"data\n\ndata\ndata\n\ndata:", [Got("", ""), Got("", "\n")]),
    (b"data:test\n\ndata: test\n\n", [Got("", "test"), Got("", "test")]),
    (
        b"id: 1\ndata: 1\n\ndata: 2\n\nid: 2\ndata:3\n\ndata:4\n\n",
        [Got("1", "1"), Got("1", "2"), Got("2", "3"), Got("2", "4")],
    ),
]


@pytest.mark.parametrize("sent", PUBLISHED, ids=["lines", "ids", "empty", "space", "id stays"])
def test_the_reader_of_these_tests_reads_as_published(sent: tuple[bytes, list[Got]]) -> None:
    told, dispatched = sent
    reader = Reader()
    assert [got for byte in told for got in reader.read(bytes([byte]))] == dispatched
    # And an id alone counts without being dispatched.
    reader = Reader()
    assert (reader.read(b"id: 9\n\n"), reader.last_id) == ([], "9")

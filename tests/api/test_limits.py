"""What is too much, too large or too slow is answered so; and what every answer tells browsers."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import msgspec
import pytest

from service.api.entrance import ADDRESS_BYTES, HEADERS_BYTES, InTime
from service.api.guarding import HEAD_BYTES
from service.api.limits import WRONG_KEYS, Buckets, Limits
from service.api.problems import Problem
from service.application import assemble, http
from service.clock import system_clock
from service.log.keys import create_key
from service.log.quota import FIRST
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import MakeClient, NeverAsked, listening


@pytest.fixture
def appender() -> NeverAsked:
    return NeverAsked()


@asynccontextmanager
async def serving(database: Database, settings: Settings, **more: Any) -> AsyncIterator[str]:
    """A service with other settings on the same database."""
    settings = msgspec.structs.replace(settings, **more)
    app = http(settings)
    app.state.services = assemble(settings, database, NeverAsked(), system_clock)  # type: ignore[arg-type]
    async with listening(app) as url:
        yield url


@pytest.fixture
async def strict_url(database: Database, settings: Settings) -> AsyncIterator[str]:
    """A service that allows three requests a minute."""
    async with serving(database, settings, rate_limit=3) as url:
        yield url


async def key(database: Database, name: str) -> dict[str, str]:
    async with database.writer.acquire() as connection:
        made = await create_key(connection, name=name, role="auditor")
    return {"Authorization": f"Bearer {made.token}"}


# The OWASP REST Security Cheat Sheet's headers, and none of CORS.
BROWSER = {
    "x-content-type-options": "nosniff",
    "content-security-policy": "default-src 'none'; frame-ancestors 'none'",
    "referrer-policy": "no-referrer",
    "x-frame-options": "DENY",
}


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 200),
        ("GET", "/v1/stock", 401),
        ("GET", "/nowhere", 404),
        ("DELETE", "/v1/stock", 405),
        ("TRACE", "/v1/stock", 405),
        ("TRACE", "/", 405),
        ("OPTIONS", "/v1/stock", 204),
        ("GET", "/?x=" + "y" * ADDRESS_BYTES, 414),
        ("GET", "/problems/not-found", 200),
    ],
)
async def test_every_answer_tells_browsers_what_they_may_do(
    client_for: MakeClient, method: str, path: str, status: int
) -> None:
    client = await client_for(None)
    answer = await client.request(method, path, headers={"Origin": "https://elsewhere.example"})
    assert answer.status_code == status
    assert {name: answer.headers.get(name) for name in BROWSER} == BROWSER
    assert "camera=()" in answer.headers["permissions-policy"]
    assert "cache-control" in answer.headers
    assert not [name for name in answer.headers if name.startswith("access-control")]
    if status == 405:
        assert "GET" in answer.headers["allow"]


async def test_a_browser_is_not_let_in_from_another_origin(client_for: MakeClient) -> None:
    client = await client_for()
    asked = {"Origin": "https://elsewhere.example", "Access-Control-Request-Method": "POST"}
    answer = await client.options("/v1/events", headers=asked)
    assert not [name for name in answer.headers if name.startswith("access-control")]


async def test_long_headers_are_431(client_for: MakeClient) -> None:
    client = await client_for()
    answer = await client.get("/", headers={"X-Long": "y" * HEADERS_BYTES})
    assert (answer.status_code, answer.json()["type"]) == (431, "/problems/headers-too-large")


async def test_a_key_has_its_share_and_others_keep_theirs(
    strict_url: str, database: Database
) -> None:
    mine, other = await key(database, "mine"), await key(database, "other")
    async with httpx.AsyncClient(base_url=strict_url) as client:
        answers = [await client.get("/v1/stock", headers=mine) for _ in range(4)]
        assert [a.status_code for a in answers] == [200, 200, 200, 429]
        assert (await client.get("/v1/stock", headers=other)).status_code == 200
        assert (await client.get("/livez")).status_code == 200
    # draft-ietf-httpapi-ratelimit-headers-10: lists of strings with parameters q, w and r, t.
    assert answers[0].headers["ratelimit-policy"] == '"requests";q=3;w=60'
    assert [a.headers["ratelimit"].split(";")[1] for a in answers] == ["r=2", "r=1", "r=0", "r=0"]
    refused = answers[-1]
    assert refused.json()["type"] == "/problems/quota-exceeded"
    assert refused.json()["violated-policies"] == ["requests"]
    # The first token comes back a minute after it was spent; Retry-After is not earlier than t.
    wait = int(refused.headers["retry-after"])
    assert 55 <= wait <= 60
    assert wait >= int(refused.headers["ratelimit"].rpartition("t=")[2])


async def test_two_keys_of_one_name_share(strict_url: str, database: Database) -> None:
    one, two = await key(database, "same"), await key(database, "same")
    async with httpx.AsyncClient(base_url=strict_url) as client:
        answers = [await client.get("/v1/stock", headers=who) for who in (one, two, one, two)]
    assert [a.status_code for a in answers] == [200, 200, 200, 429]


async def test_keys_are_not_guessed_for_long(client_for: MakeClient) -> None:
    client, known = await client_for(None), await client_for()
    assert (await known.get("/v1/stock")).status_code == 200
    guesses = [
        (await client.get("/v1/stock", headers={"Authorization": f"Bearer guess-{n}"})).status_code
        for n in range(WRONG_KEYS + 5)
    ]
    # Half of them at once, the other half as the minute goes by.
    assert guesses[: WRONG_KEYS // 2] == [401] * (WRONG_KEYS // 2)
    assert guesses[-1] == 429
    # Who was right before goes on, from the same address.
    assert (await known.get("/v1/stock")).status_code == 200


def test_a_bucket_fills_steadily_and_forgets_the_full() -> None:
    now = [0.0]
    buckets = Buckets(60, clock=lambda: now[0])
    # Half at once and the other half in a minute: no minute sees more than 60.
    assert sum(buckets.take("a") for _ in range(100)) == 30
    assert buckets.wait("a") == 2
    now[0] += 10
    assert sum(buckets.take("a") for _ in range(100)) == 5
    now[0] += 1000
    assert buckets.left("a") == 30
    for number in range(10_001):
        buckets.take(f"other-{number}")
    assert len(buckets._held) <= 10_000


async def test_no_limit_says_nothing() -> None:
    assert await Limits().count("anybody") == []


async def test_two_processes_share_a_quota(
    strict_url: str, database: Database, settings: Settings
) -> None:
    mine = await key(database, "mine")
    async with serving(database, settings, rate_limit=3) as other_url:
        urls = (strict_url, other_url, strict_url, other_url)
        async with httpx.AsyncClient(headers=mine) as client:
            answers = [await client.get(f"{url}/v1/stock") for url in urls]
    assert sorted(a.status_code for a in answers) == [200, 200, 200, 429]


async def test_without_the_database_a_lease_serves_and_then_it_is_503(
    base_url: str, settings: Settings, database: Database
) -> None:
    mine = await key(database, "mine")
    async with httpx.AsyncClient(base_url=base_url, headers=mine) as client:
        # An unknown type is refused without a question, so only the key and the quota ask.
        ask = {"url": "/v1/events", "json": {"type": "none"}}
        assert (await client.post(**ask)).status_code == 422
        database.writer.terminate()
        answers = [await client.post(**ask) for _ in range(FIRST)]
    assert [a.status_code for a in answers] == [422] * (FIRST - 1) + [503]
    last = answers[-1]
    assert last.json()["type"] == "/problems/not-ready"
    assert last.headers["retry-after"] == "2"
    # It says nothing of what is left, since nobody knows.
    assert "ratelimit" not in last.headers


async def test_a_slow_body_is_given_up() -> None:
    async def never() -> object:
        await asyncio.Event().wait()
        return None

    receive = InTime(never, 0)  # type: ignore[arg-type]
    with pytest.raises(Problem) as caught:
        await receive()
    assert caught.value.status == 408


async def test_waiting_for_the_asker_to_leave_has_no_end() -> None:
    messages = iter([{"type": "http.request", "more_body": False}, {"type": "http.disconnect"}])

    async def came() -> object:
        return next(messages)

    receive = InTime(came, 0)  # type: ignore[arg-type]
    receive._end += 60
    await receive()
    receive._end = 0
    assert (await receive())["type"] == "http.disconnect"


async def test_more_at_once_than_allowed_is_503(database: Database, settings: Settings) -> None:
    app = http(msgspec.structs.replace(settings, request_limit=1))
    app.state.services = assemble(settings, database, NeverAsked(), system_clock)  # type: ignore[arg-type]
    entered, leave = asyncio.Event(), asyncio.Event()

    async def slow() -> str | None:
        entered.set()
        await leave.wait()
        return None

    app.state.services.ready_checks = {"slow": slow}
    async with listening(app) as url, httpx.AsyncClient(base_url=url) as client:
        held = asyncio.create_task(client.get("/readyz"))
        await entered.wait()
        answer = await client.get("/problems")
        assert (answer.status_code, answer.json()["type"]) == (503, "/problems/overloaded")
        assert answer.headers["retry-after"] == "1"
        assert (await client.get("/livez")).status_code == 200
        leave.set()
        assert (await held).status_code == 200
        assert (await client.get("/problems")).status_code == 200


# No request gets as far as a database.
PLAIN = Settings(data_dir=Path("/nonexistent"))


async def raw(url: str, *parts: bytes) -> bytes:
    """What comes back for bytes as they are, until the other side ends it."""
    host, port = url.removeprefix("http://").split(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    for part in parts:
        writer.write(part)
    await writer.drain()
    answer = await reader.read()
    writer.close()
    return answer


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET / HTTP/1.1\r\nX: " + b"y" * HEAD_BYTES + b"\r\n\r\n", 431),
        (b"GET /" + b"y" * (HEAD_BYTES + 1) + b" HTTP/1.1\r\n\r\n", 431),
        (b"no HTTP at all\r\n\r\n", 400),
    ],
)
async def test_what_is_no_request_is_a_problem_too(sent: bytes, status: int) -> None:
    async with listening(http(PLAIN)) as url:
        head, _, body = (await raw(url, sent)).partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 %d " % status)
    assert b"x-content-type-options: nosniff" in head
    assert b"content-type: application/problem+json" in head
    assert json.loads(body)["status"] == status


async def test_a_head_that_does_not_come_is_not_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("service.api.guarding.HEAD_SECONDS", 0.01)
    async with listening(http(PLAIN)) as url:
        assert await raw(url, b"GET / HTTP/1.1\r\nHost: x\r\n") == b""
        assert await raw(url) == b""

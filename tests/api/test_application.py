"""The whole process: what starts, what is answered about it, and that it ends cleanly."""

import asyncio
import json
import logging
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
import structlog

from service import application
from service.api import logs
from service.api.spec import text
from service.log import keys
from service.log.keys import KeyRing, create_key, list_keys, look_up, revoke_key
from service.settings import Settings
from service.storage.pool import Database, open_database
from tests.api.conftest import MakeClient, listening
from tests.api.nursery import fill


async def test_it_starts_records_follows_and_stops(empty_settings: Settings) -> None:
    async with listening(application.build(empty_settings)) as url:
        async with await open_database(empty_settings) as database:
            key = await create_key(
                await database.writer.acquire(), name="first", role="administrator"
            )
        headers = {"Authorization": f"Bearer {key.token}"}
        counted = 0

        async def count(answer: httpx.Response) -> None:
            nonlocal counted
            counted += "ratelimit" in answer.headers

        hooks = {"response": [count]}
        async with httpx.AsyncClient(base_url=url, headers=headers, event_hooks=hooks) as client:
            ready = await client.get("/readyz")
            assert (ready.status_code, ready.json()["status"]) == (200, "pass")
            assert ready.headers["content-type"] == "application/health+json"
            await fill(client)
            head = (await client.get("/v1/events?limit=1")).json()["position"]
            due = await client.get(
                "/v1/checks", params={"min_position": head}, headers={"Prefer": "wait=20"}
            )
            assert due.json()["position"] >= head
            assert due.json()["items"]
    async with await open_database(empty_settings) as database:
        assert await database.writer.fetchval("SELECT position FROM log_head") == head
        # What was leased of the quota and not spent was given back at the end.
        spent = await database.writer.fetchval("SELECT sum(tokens) FROM quota_leases")
        assert spent == counted > 0


async def test_it_says_when_the_database_is_gone(
    client_for: MakeClient, database: Database
) -> None:
    client = await client_for()
    assert (await client.get("/v1/events")).status_code == 200
    await database.close()
    for address in ("/v1/events", "/v1/checks", "/v1/stock", "/v1/sites/CORIN/temperatures"):
        response = await client.get(address)
        assert response.status_code == 503, (address, response.text)
        assert response.headers["content-type"] == "application/problem+json"
        assert response.headers["retry-after"]
    assert (await client.get("/livez")).status_code == 200
    ready = await client.get("/readyz")
    assert (ready.status_code, ready.json()["status"]) == (503, "fail")


async def test_what_is_public(client_for: MakeClient) -> None:
    nobody = await client_for(None)
    index = await nobody.get("/")
    assert '</openapi.json>; rel="service-desc"' in index.headers["link"]
    described = await nobody.get("/openapi.json")
    assert described.content == text()
    assert described.headers["x-content-type-options"] == "nosniff"
    assert (await nobody.get("/livez")).json() == {"status": "pass"}


async def test_many_requests_at_once_look_their_key_up_once(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    ring, asked = KeyRing(database.writer), 0
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="till", role="sales")

    async def counted(*given: Any) -> Any:
        nonlocal asked
        asked += 1
        return await look_up(*given)

    monkeypatch.setattr(keys, "look_up", counted)
    found = await asyncio.gather(*(ring.principal(key.token) for _ in range(50)))
    assert {one.name for one in found if one is not None} == {"till"}
    assert (len(found), asked) == (50, 1)
    ring.forget()
    assert await ring.principal(key.token) == found[0]
    assert asked == 2


async def test_keys(database: Database) -> None:
    ring = KeyRing(database.writer, remember=60)
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="bench-tablet", role="recorder")
        assert key.token.startswith(f"glk_{key.key_id}_")
        assert len(key.token.rpartition("_")[2]) >= 22 or "_" in key.token[17:]
        principal = await ring.principal(key.token)
        assert principal is not None
        assert principal.name == "bench-tablet"
        assert await ring.principal(key.token[:-1]) is None
        stored = bytes(await connection.fetchval("SELECT secret_sha256 FROM keys"))
        assert key.token.encode() not in stored
        assert [one.name for one in await list_keys(connection)] == ["bench-tablet"]
        assert await revoke_key(connection, key.key_id)
        assert not await revoke_key(connection, key.key_id)
        assert await look_up(connection, key.token) is None
        assert await ring.principal(key.token) is not None, "remembered for its seconds"
        ring.forget()
        assert await ring.principal(key.token) is None
        given = "a-key-set-from-outside-0123456789"
        await create_key(connection, name="demo", role="administrator", token=given)
        await create_key(connection, name="demo", role="auditor", token=given)
        found = await look_up(connection, given)
        assert found is not None
        assert "admin" not in found[0].scopes
        for wrong in (
            {"role": "king"},
            {"role": "auditor", "sites": frozenset({"no such"})},
            {"role": "auditor", "token": "short"},
            {"scopes": frozenset({"everything"})},
        ):
            with pytest.raises(ValueError, match=r"there|give|a key"):
                await create_key(connection, name="x", **wrong)  # type: ignore[arg-type]


async def test_an_expired_key_lets_nobody_in(database: Database) -> None:
    now = datetime(2026, 3, 1, tzinfo=UTC)
    ring = KeyRing(database.writer, clock=lambda: now)
    async with database.writer.acquire() as connection:
        until = now + timedelta(days=1)
        key = await create_key(connection, name="guest", role="auditor", expires_at=until)
    assert await ring.principal(key.token) is not None
    now = until
    ring.forget()
    assert await ring.principal(key.token) is None


@pytest.mark.parametrize("form", ["json", "text"])
def test_a_logged_failure_tells_no_secret(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    before = structlog.get_config()
    try:
        logs.configure("info", form)
        try:
            token = "".join(["glk_", "verysecret"])
            raise RuntimeError(len(token))
        except RuntimeError:
            structlog.get_logger("y").exception("unforeseen")
            logging.getLogger("library").exception("failed")
    finally:
        structlog.configure(**before)
        logging.getLogger().handlers.clear()
    told = capsys.readouterr().err
    assert "RuntimeError" in told
    assert "verysecret" not in told


def test_logs_are_json(capsys: pytest.CaptureFixture[str]) -> None:
    before = structlog.get_config()
    try:
        logs.configure("info", "json")
        structlog.get_logger("x").info("request", path="/v1/events", where=Path("/a"), status=200)
        structlog.get_logger("x").debug("not shown")
    finally:
        structlog.configure(**before)
        logging.getLogger().handlers.clear()
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1
    line = json.loads(lines[0])
    assert (line["event"], line["level"], line["status"]) == ("request", "info", 200)
    assert line["at"].endswith("Z")

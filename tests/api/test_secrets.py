"""Keys, passwords and people's details are in no log, whatever is sent and whatever fails."""

import asyncio
import base64
import signal
import sys
from typing import Any

import httpx
import pytest

from service.api.logs import shown_path
from service.log.keys import create_key
from service.storage.pool import open_database
from tests.support.commands import Running, environment
from tests.support.database import TestServer

PASSWORD = "open-sesame-4711"
PERSON = {"kind": "person", "name": "Ilse Quellhorst", "email": "ilse@quellhorst.example"}
WRONG = "glk_aaaaaaaaaaaa_" + "wrongsecret" * 4
BASIC = base64.b64encode(b"ilse:my-own-password").decode()


@pytest.mark.parametrize("form", ["json", "text"])
async def test_no_secret_is_logged(server: TestServer, form: str) -> None:
    name = await server.create()
    settings = server.settings_for(name)
    async with await open_database(settings) as database, database.writer.acquire() as connection:
        token = (await create_key(connection, name="mine", role="administrator")).token
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "tests.support.failing_service",
        env=environment(
            {
                "DATABASE_URL": server.dsn_of(name, f"postgres:{PASSWORD}"),
                "DEMO_KEY": "demo" * 10,
                "PORT": "0",
                "LOG_LEVEL": "debug",
                "LOG_FORMAT": form,
            }
        ),
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    service = Running(process)
    try:
        line = await service.line_with("http://127.0.0.1:")
        url = "http://127.0.0.1:" + line.partition("http://127.0.0.1:")[2].split()[0].strip('",.')
        async with httpx.AsyncClient(base_url=url) as client:
            statuses = [(await client.request(**one)).status_code for one in requests(token)]
    finally:
        await service.end(signal.SIGTERM)
    assert statuses == [500, 422, 404, 400, 422, 409, 401, 401, 401, 409, 500]
    said = "".join(service.out)
    # All of it was logged, the failures with their tracebacks …
    assert said.count("request_id") >= len(statuses)
    assert "the books are shut" in said
    assert "failing_service.py" in said
    # … and no secret with it.
    secrets = [token, token.split("_", 2)[2], WRONG, BASIC, "my-own-password", PASSWORD]
    assert [one for one in (*secrets, "demo" * 10, "Quellhorst", "quellhorst") if one in said] == []
    await server.drop(name)


def requests(token: str) -> list[dict[str, Any]]:
    """The key, and other secrets, wherever people put them; and questions that fail."""
    mine = {"Authorization": f"Bearer {token}"}
    as_json = {**mine, "Content-Type": "application/json"}
    event = {"type": "place.checked", "site": "X", "occurred": "2026-03-01", "data": {"place": "P"}}

    def ask(method: str, url: str, headers: dict[str, str], **rest: Any) -> dict[str, Any]:
        return {"method": method, "url": url, "headers": headers, **rest}

    return [
        ask("GET", "/v1/holds", {**mine, "X-Request-Id": token}),
        ask("GET", f"/v1/stock?key={token}", mine),
        ask("GET", f"/v1/tree-lots/{token}", mine),
        ask("POST", "/v1/events", as_json, content=f'{{"key": "{token}"'),
        ask("POST", "/v1/events", as_json, json={**event, "actor": token, "key": token}),
        ask("POST", "/v1/events", {**mine, "Idempotency-Key": token}, json=event),
        ask("GET", "/v1/stock", {"Authorization": f"Bearer {WRONG}"}),
        ask("GET", "/v1/stock", {"Authorization": f"Basic {BASIC}"}),
        ask("GET", "/v1/stock", {"Authorization": token}),
        ask("PUT", "/v1/contacts/p-1", mine, json={**PERSON, "sites": ["NOWHERE"]}),
        ask("GET", "/v1/contacts", mine),
    ]


@pytest.mark.parametrize(
    ("path", "shown"),
    [
        ("/v1/tree-lots/T-1", "/v1/tree-lots/T-1"),
        (f"/v1/tree-lots/{WRONG}", "/v1/tree-lots/(long)"),
        (f"/{WRONG}/x", "/(long)/x"),
        (
            "/v1/events/0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77",
            "/v1/events/0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77",
        ),
        ("/v1/contacts/" + "a" * 31, "/v1/contacts/" + "a" * 31),
    ],
)
def test_a_key_in_an_address_is_left_out(path: str, shown: str) -> None:
    assert shown_path(path) == shown

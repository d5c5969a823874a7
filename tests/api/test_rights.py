"""Scopes by operation, from the declarations themselves: exactly the scope asked for lets in."""

import httpx

from service.api.routes import operations
from service.log.keys import create_key
from service.log.rights import SCOPES, scope_for
from service.storage.pool import Database
from service.trade.events import EVENT_TYPES
from tests.api.test_recording import LOOK


async def client_with(database: Database, url: str, *scopes: str) -> httpx.AsyncClient:
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="x", scopes=frozenset(scopes))
    return httpx.AsyncClient(base_url=url, headers={"Authorization": f"Bearer {key.token}"})


async def test_each_operation_asks_for_its_scope(database: Database, base_url: str) -> None:
    everything_but = {
        scope: await client_with(database, base_url, *(set(SCOPES) - {scope})) for scope in SCOPES
    }
    alone = {scope: await client_with(database, base_url, scope) for scope in SCOPES}
    nobody = httpx.AsyncClient(base_url=base_url)
    seen = 0
    for one in operations():
        path = one.path.replace("{code:str}", "NONE").replace("{slug:str}", "busy")
        path = path.replace("{id:str}", "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77")
        stranger = await nobody.request(one.method, path)
        assert (stranger.status_code == 401) == (one.scope is not None), path
        if one.scope:
            seen += 1
            refused = await everything_but[one.scope].request(one.method, path)
            assert refused.status_code == 403, path
            assert refused.json()["scope"] == one.scope
            let_in = await alone[one.scope].request(one.method, path)
            assert let_in.status_code not in (401, 403), path
    assert seen > 40
    for client in [*everything_but.values(), *alone.values(), nobody]:
        await client.aclose()


async def test_each_event_type_asks_for_its_scope(database: Database, base_url: str) -> None:
    """A minimal event of each type that has one: the wrong scope is told before anything else."""
    void = {**LOOK, "type": "event.voided"}
    void["data"] = {"event": "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77", "reason": "x"}
    size = {"kind": "size", "code": "C2", "label": "2 litre"}
    bodies = [LOOK, void, {**LOOK, "type": "catalogue.changed", "data": {"entry": size}}]
    for body in bodies:
        scope = scope_for(body["type"])
        client = await client_with(database, base_url, *(set(SCOPES) - {scope}))
        refused = await client.post("/v1/events", json=body)
        assert (refused.status_code, refused.json()["scope"]) == (403, scope)
        await client.aclose()
    assert {scope_for(kind) for kind in EVENT_TYPES} <= set(SCOPES)

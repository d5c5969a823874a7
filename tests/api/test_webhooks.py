"""Setting webhooks: whole, under If-Match, for what the key sees, with a secret told once."""

import asyncio
from typing import Any

import httpx
import msgspec
import pytest

from service.api.conditional import etag
from service.application import assemble, http
from service.clock import system_clock
from service.log.rights import READ, WEBHOOKS
from service.settings import Settings
from service.storage.pool import Database
from service.webhooks import subscriptions
from tests.api.conftest import MakeClient, NeverAsked, listening
from tests.api.nursery import fill
from tests.support.two_nurseries import client_of

DETAILS = {"url": "https://shop.example/hook", "types": ["trees.sold", "alert.raised"]}
AT = "/v1/webhooks/SHOP"


async def kinds(answer: httpx.Response) -> list[tuple[str, str]]:
    return [(one["kind"], one["pointer"]) for one in answer.json()["errors"]]


async def test_set_read_changed_and_removed(client_for: MakeClient, database: Database) -> None:
    client = await client_for("administrator")
    await fill(client)
    made = await client.put(AT, json={**DETAILS, "cultivar": "NAV", "note": "The shop"})
    assert (made.status_code, made.headers["location"]) == (201, AT)
    assert made.headers["cache-control"] == "no-store"
    told: dict[str, Any] = made.json()
    assert told["secret"].startswith("whsec_")
    assert (told["sites"], told["owner"], told["state"]) == (["*"], "administrator-0", "active")
    # The secret is told once, and kept nowhere as it is.
    read = await client.get(AT)
    assert read.json() == {name: value for name, value in told.items() if name != "secret"}
    async with database.writer.acquire() as connection:
        (kept,) = [row[0] for row in await connection.fetch("SELECT sealed FROM webhook_secrets")]
    assert told["secret"][6:] not in kept
    # A new one begins where the log is.
    progress = (await client.get(f"{AT}/progress")).json()
    assert progress["position"] == progress["head"] > 0
    assert (await client.get(f"{AT}/deliveries")).json()["items"] == []
    # To change it, say which one was read.
    change = {**DETAILS, "types": None}
    assert (await client.put(AT, json=change)).status_code == 428
    wrong = await client.put(AT, json=change, headers={"If-Match": '"1000000"'})
    assert (wrong.status_code, wrong.headers["etag"]) == (412, etag(told["version"]))
    changed = await client.put(AT, json=change, headers={"If-Match": read.headers["etag"]})
    assert changed.status_code == 200
    assert (changed.json()["types"], changed.json()["cultivar"]) == (None, None)
    assert changed.json()["secret"] is None
    # Progress does not change it.
    assert (await client.get(AT)).headers["etag"] == changed.headers["etag"]
    # Ten secrets are signed with at most; one that others know can be put right all the same.
    given = [(await client.post(f"{AT}/secret", json={})).status_code for _ in range(10)]
    assert given == [200] * 9 + [409]
    put_right = await client.post(f"{AT}/secret", json={"overlap_hours": 0})
    assert put_right.status_code == 200
    old = {"If-Match": read.headers["etag"]}
    assert (await client.delete(AT, headers=old)).status_code == 412
    assert (await client.delete(AT)).status_code == 204
    assert (await client.get(AT)).status_code == 404
    async with database.writer.acquire() as connection:
        assert await connection.fetchval("SELECT count(*) FROM webhook_secrets") == 0


async def test_of_two_who_change_it_one_is_told(client_for: MakeClient) -> None:
    client = await client_for("administrator")
    made = await client.put(AT, json=DETAILS)
    match = {"If-Match": made.headers["etag"]}
    both = await asyncio.gather(
        *(client.put(AT, json={**DETAILS, "note": note}, headers=match) for note in "ab")
    )
    assert sorted(answer.status_code for answer in both) == [200, 412]


async def test_what_can_not_be_set(client_for: MakeClient, monkeypatch: pytest.MonkeyPatch) -> None:
    client = await client_for("administrator")
    await fill(client)
    inside = await client.put(AT, json={"url": "https://192.168.1.9/hook"})
    assert (inside.status_code, await kinds(inside)) == (409, [("no_target", "#/url")])
    nobody = {"cultivar": "NONE", "rootstock": "NO", "size": "NONE", "sites": ["CORIN", "NO"]}
    unknown = await client.put(AT, json={**DETAILS, **nobody})
    assert (unknown.status_code, await kinds(unknown)) == (
        409,
        [("unknown_code", f"#/{name}") for name in ("cultivar", "rootstock", "size", "sites/1")],
    )
    slip = await client.put(AT, json={**DETAILS, "types": ["trees.grafted", "tree.sold"]})
    assert (slip.status_code, await kinds(slip)) == (422, [("bad_value", "#/types/1")])
    assert "trees.sold" in slip.json()["errors"][0]["detail"]
    monkeypatch.setattr(subscriptions, "MOST_OF_ONE_NAME", 1)
    assert (await client.put(AT, json=DETAILS)).status_code == 201
    one_more = await client.put("/v1/webhooks/MORE", json=DETAILS)
    assert (one_more.status_code, await kinds(one_more)) == (409, [("too_many", "#")])
    listed = (await client.get("/v1/webhooks?limit=1")).json()
    assert ([one["code"] for one in listed["items"]], listed["next"]) == (["SHOP"], None)


async def test_whose_it_is(client_for: MakeClient, database: Database, base_url: str) -> None:
    whole, corin = await client_for("administrator"), await client_for("site-manager", "CORIN")
    await fill(whole)
    assert (await whole.put(AT, json=DETAILS)).status_code == 201
    # It is told of more than the key sees, so it is not there for it; nor is its code free.
    for method, path in (("GET", ""), ("PUT", ""), ("DELETE", ""), ("POST", "/resume")):
        answer = await corin.request(method, f"{AT}{path}", json=DETAILS)
        assert answer.status_code == 404, (method, path)
    theirs = await corin.put("/v1/webhooks/CORIN", json=DETAILS)
    assert theirs.json()["sites"] == ["CORIN"]
    # Whoever sees all of it may change it; it goes on being told of the same sites.
    match = {"If-Match": theirs.headers["etag"]}
    changed = await whole.put("/v1/webhooks/CORIN", json=DETAILS, headers=match)
    assert (changed.json()["sites"], changed.json()["owner"]) == (["CORIN"], "administrator-0")
    elsewhere = await corin.put("/v1/webhooks/X", json={**DETAILS, "sites": ["VALE"]})
    assert (elsewhere.status_code, await kinds(elsewhere)) == (
        409,
        [("unknown_code", "#/sites/0")],
    )
    # To be told is to read.
    blind = await client_of(database, base_url, "blind", frozenset({WEBHOOKS}))
    async with blind:
        refused = await blind.put("/v1/webhooks/BLIND", json=DETAILS)
        assert (refused.status_code, refused.json()["scope"]) == (403, READ)


async def test_without_a_key_for_secrets_there_are_none(
    database: Database, settings: Settings
) -> None:
    bare = msgspec.structs.replace(settings, secrets_key=None)
    app = http(bare)
    app.state.services = assemble(bare, database, NeverAsked(), system_clock)  # type: ignore[arg-type]
    async with (
        listening(app) as url,
        await client_of(database, url, "w", frozenset({WEBHOOKS, READ})) as client,
    ):
        answer = await client.put(AT, json=DETAILS)
        assert answer.status_code == 503
        assert "GRAFTLOG_SECRETS_KEY" in answer.json()["detail"]

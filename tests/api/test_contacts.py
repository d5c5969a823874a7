"""Names and addresses: for those who may know, changed with care, erased for good."""

import itertools
from pathlib import Path
from typing import Any

import asyncpg

from service.storage.pool import Database
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import fill
from tests.support.database import TestServer

GRAFTER = "/v1/contacts/p-07"
ILSE = {
    "kind": "person",
    "name": "Ilse Brandt-Quellhorst",
    "email": "ilse@quellhorst.example",
    "phone": "+34 600 000 111",
    "address": "Calle Quellhorst 7, Corin",
    "note": "Left-handed knife",
}


async def put(client: Client, body: dict[str, Any], path: str = GRAFTER, **headers: str) -> Any:
    return await client.put(
        path, json=body, headers={k.replace("_", "-"): v for k, v in headers.items()}
    )


async def test_a_contact_is_made_read_changed_and_listed(client_for: MakeClient) -> None:
    client = await client_for()
    made = await put(client, ILSE)
    assert made.status_code == 201
    assert made.headers["location"] == GRAFTER
    assert (made.json() | ILSE, made.json()["sites"]) == (made.json(), ["*"])
    read = await client.get(GRAFTER)
    assert read.json() == made.json()
    assert read.headers["etag"] == made.headers["etag"]
    assert read.headers["cache-control"] == "no-store"

    changed = await put(client, {**ILSE, "phone": None}, if_match=read.headers["etag"])
    assert (changed.status_code, changed.json()["phone"]) == (200, None)
    await put(client, {"kind": "customer", "name": "Huerta Alta"}, "/v1/contacts/cust-1")
    page = (await client.get("/v1/contacts?limit=1")).json()
    assert [one["reference"] for one in page["items"]] == ["cust-1"]
    rest = (await client.get(page["next"])).json()
    assert [one["reference"] for one in rest["items"]] == ["p-07"]
    people = (await client.get("/v1/contacts?kind=person")).json()["items"]
    assert [one["reference"] for one in people] == ["p-07"]


async def test_nobodys_change_is_lost(client_for: MakeClient) -> None:
    client = await client_for()
    first = (await put(client, ILSE)).headers["etag"]
    assert (await put(client, ILSE)).status_code == 428
    assert (await put(client, ILSE, if_none_match="*")).status_code == 412
    second = (await put(client, ILSE, if_match=first)).headers["etag"]
    assert (await put(client, ILSE, if_match=first)).status_code == 412
    assert (await client.delete(GRAFTER, headers={"If-Match": first})).status_code == 412
    assert (await client.delete(GRAFTER, headers={"If-Match": second})).status_code == 204
    # What is made anew under the same reference is another thing with another tag.
    third = (await put(client, ILSE)).headers["etag"]
    assert third not in (first, second)


MISTAKES: list[tuple[dict[str, Any], str]] = [
    ({"kind": "friend"}, "#/kind"),
    ({"name": ""}, "#/name"),
    ({"name": "x" * 501}, "#/name"),
    ({"name": "a\x00b"}, "#/name"),
    ({"email": "no address"}, "#/email"),
    ({"phone": "call me"}, "#/phone"),
    ({"sites": []}, "#/sites"),
    ({"colour": "green"}, "#/colour"),
    ({"version": 9}, "#/version"),
]


async def test_what_does_not_fit_is_named(client_for: MakeClient) -> None:
    client = await client_for()
    answers = [await put(client, ILSE | change) for change, _ in MISTAKES]
    assert {answer.status_code for answer in answers} == {422}
    found = [answer.json()["errors"][0]["pointer"] for answer in answers]
    assert found == [pointer for _, pointer in MISTAKES]
    assert (await client.get(GRAFTER)).status_code == 404


async def test_a_contact_is_its_sites_alone(client_for: MakeClient) -> None:
    everywhere = await client_for()
    await fill(everywhere)
    corin, vale = (
        await client_for("site-manager", "CORIN"),
        await client_for("site-manager", "VALE"),
    )
    assert (await put(corin, ILSE)).json()["sites"] == ["CORIN"]
    # given another's contact: not there, not listed, and not to be made anew
    assert (await vale.get(GRAFTER)).status_code == 404
    assert (await vale.get("/v1/contacts")).json()["items"] == []
    assert (await put(vale, ILSE)).status_code == 404
    assert (await vale.delete(GRAFTER)).status_code == 404
    # a site that is not seen is no site
    refused = await put(vale, ILSE | {"sites": ["CORIN"]}, "/v1/contacts/p-08")
    assert refused.status_code == 409
    assert refused.json()["errors"][0] | {"kind": "unknown_code"} == refused.json()["errors"][0]
    # of both sites: both read it, one that sees both changes and erases it
    tag = (await corin.get(GRAFTER)).headers["etag"]
    both = ILSE | {"sites": ["CORIN", "VALE"]}
    tag = (await put(everywhere, both, if_match=tag)).headers["etag"]
    assert (await vale.get(GRAFTER)).json()["sites"] == ["CORIN", "VALE"]
    assert (await put(vale, ILSE, if_match=tag)).json()["errors"][0]["kind"] == "other_sites"
    assert (await vale.delete(GRAFTER)).status_code == 409
    assert (await everywhere.delete(GRAFTER)).status_code == 204


async def test_what_is_erased_is_nowhere_and_the_log_reads_as_before(
    client_for: MakeClient, database: Database, server: TestServer
) -> None:
    client = await client_for()
    await fill(client)
    before = (await client.get("/v1/tree-lots/T-1")).json()
    await put(client, ILSE, if_none_match="*")
    assert "Quellhorst" in await everything(database, server)
    # when
    assert (await client.delete(GRAFTER)).status_code == 204
    # then
    assert (await client.get(GRAFTER)).status_code == 404
    assert (await client.delete(GRAFTER)).status_code == 404
    assert (await client.get("/v1/contacts")).json()["items"] == []
    left = await everything(database, server)
    assert [part for part in ILSE.values() if part != "person" and part in left] == []
    # The reference stays, and so does everything that was recorded of it.
    after = (await client.get("/v1/tree-lots/T-1")).json()
    assert after == before
    assert {event["actor"] for event in after["history"]} == {"p-07"}


async def everything(database: Database, server: TestServer) -> str:
    """Every row of every table, as text."""
    connection = await asyncpg.connect(server.dsn_of(_name(database)))
    try:
        tables = await connection.fetch(
            "SELECT c.oid::regclass::text AS name FROM pg_class c "
            "WHERE relkind IN ('r', 'p') AND relnamespace = 'public'::regnamespace"
        )
        rows = [
            await connection.fetch(f"SELECT t::text AS row FROM {table['name']} t")
            for table in tables
        ]
    finally:
        await connection.close()
    return "\n".join(row["row"] for row in itertools.chain(*rows))


def _name(database: Database) -> str:
    return Path(database.dsn.rpartition("?")[0] or database.dsn).name

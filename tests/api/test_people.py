"""People who sign in, through the interface: nobody gives more than they have."""

from datetime import UTC, datetime
from typing import Any

from service.log import sessions
from service.log.keys import create_key
from service.log.rights import ROLES
from service.reminders.calendar import addresses
from service.reminders.calendar.addresses import CalendarDetails
from service.storage.pool import Database
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import fill

ANA = "/v1/people/p-07"


async def put(client: Client, body: dict[str, Any], path: str = ANA, tag: str | None = None) -> Any:
    return await client.put(path, json=body, headers={"If-Match": tag} if tag else {})


def kinds(answer: Any) -> list[tuple[str, str]]:
    return [(one["kind"], one["pointer"]) for one in answer.json()["errors"]]


async def test_a_person_is_made_read_changed_listed_and_removed(client_for: MakeClient) -> None:
    client = await client_for()
    await fill(client)
    made = await put(client, {"sites": ["CORIN"], "language": "es", "home_site": "CORIN"})
    assert made.status_code == 201
    told = made.json()
    assert (told["role"], told["scopes"]) == ("recorder", sorted(ROLES["recorder"]))
    assert (told["language"], told["temperature"], told["length"]) == ("es", "c", "mm")
    read = await client.get(ANA)
    assert read.json() == told
    assert read.headers["cache-control"] == "no-store"
    tag = read.headers["etag"]
    assert (await put(client, {"role": "auditor"})).status_code == 428
    changed = await put(client, {"role": "auditor", "temperature": "f"}, tag=tag)
    assert changed.status_code == 200
    # what was left out is as it was
    assert changed.json() | {"role": "auditor", "language": "es", "temperature": "f"} == (
        changed.json()
    )
    assert (await put(client, {"role": "auditor"}, tag=tag)).status_code == 412
    # a first site that is taken away is none any more
    moved = await put(client, {"sites": ["VALE"]}, tag=changed.headers["etag"])
    assert (moved.json()["sites"], moved.json()["home_site"]) == (["VALE"], None)
    await put(client, {}, "/v1/people/p-08")
    page = (await client.get("/v1/people?limit=1")).json()
    assert [one["reference"] for one in page["items"]] == ["p-07"]
    rest = (await client.get(page["next"])).json()
    assert [(one["reference"], one["sites"]) for one in rest["items"]] == [("p-08", ["*"])]
    assert (await client.delete(ANA, headers={"If-Match": tag})).status_code == 412
    assert (await client.delete(ANA)).status_code == 204
    assert (await client.get(ANA)).status_code == 404


async def test_nobody_gives_more_than_they_have(client_for: MakeClient, database: Database) -> None:
    everywhere = await client_for()
    await fill(everywhere)
    corin = await client_for("site-manager", "CORIN")
    for body, refused in (
        ({"role": "administrator"}, [("more_rights", "#/scopes")]),
        ({"scopes": ["read", "admin"]}, [("more_rights", "#/scopes")]),
        ({"sites": ["*"]}, [("more_rights", "#/sites")]),
        ({"sites": ["VALE"]}, [("unknown_code", "#/sites")]),
        ({"sites": ["CORIN"], "home_site": "VALE"}, [("unknown_code", "#/home_site")]),
    ):
        answer = await put(corin, body)
        assert (answer.status_code, kinds(answer)) == (409, refused), body
    both = await put(corin, {"role": "sales", "scopes": ["read"]})
    assert (both.status_code, kinds(both)) == (422, [("not_together", "#/scopes")])
    # a manager like oneself is no more than oneself
    assert (await put(corin, {"role": "site-manager"})).json()["sites"] == ["CORIN"]
    # given one who may do more: neither changed, nor removed, nor signed in by a link
    boss = "/v1/people/boss"
    made = await put(everywhere, {"role": "administrator", "sites": ["CORIN", "VALE"]}, boss)
    tag = made.headers["etag"]
    for answer in (
        await put(corin, {"role": "recorder", "sites": ["CORIN"]}, boss, tag),
        await corin.delete(boss),
        await corin.post(f"{boss}/link"),
    ):
        assert (answer.status_code, kinds(answer)) == (409, [("more_rights", "#")])
    # but a telephone that was lost is signed out by whoever manages one of their sites
    assert (await corin.post(f"{boss}/sign-out")).json() == {"devices": 0}
    # and one of every site is nobody whom a manager of one site sees
    await put(everywhere, {"role": "administrator"}, "/v1/people/chief")
    assert (await corin.get("/v1/people/chief")).status_code == 404
    assert (await put(corin, {}, "/v1/people/chief")).status_code == 404


async def test_who_is_given_more_keeps_no_calendar_from_before(
    client_for: MakeClient, database: Database
) -> None:
    client = await client_for()
    await fill(client)
    tag = (await put(client, {"sites": ["CORIN"]})).headers["etag"]
    for body, left in (({"role": "auditor"}, ["MINE"]), ({"role": "recorder"}, [])):
        async with database.writer.acquire() as connection:
            at = datetime(2026, 5, 4, tzinfo=UTC)
            await addresses.make(connection, "p-07", "MINE", CalendarDetails(), at=at)
        tag = (await put(client, body, tag=tag)).headers["etag"]
        async with database.writer.acquire() as connection:
            found = await addresses.page(connection, "p-07", after="", limit=9)
        assert [one.code for one in found] == left


async def test_a_reference_that_is_somebody_elses_is_not_given(
    client_for: MakeClient, database: Database
) -> None:
    everywhere = await client_for()
    await fill(everywhere)
    corin = await client_for("site-manager", "CORIN")
    # given a key that may do more, a contact of another site, and a customer
    async with database.writer.acquire() as connection:
        await create_key(connection, name="erp", role="administrator")
    for reference, kind, site in (("vera", "person", "VALE"), ("cust-1", "customer", "CORIN")):
        contact = {"kind": kind, "name": "Somebody", "sites": [site]}
        await everywhere.put(f"/v1/contacts/{reference}", json=contact)
    # then none of their names is given: it would say who recorded, and see what was refused them
    for reference in ("erp", "vera", "cust-1"):
        answer = await put(corin, {}, f"/v1/people/{reference}")
        assert (answer.status_code, kinds(answer)) == (409, [("taken", "#")]), reference
    assert (await put(everywhere, {}, "/v1/people/vera")).status_code == 201


async def test_a_link_and_the_devices_it_signs_in(
    client_for: MakeClient, database: Database, base_url: str
) -> None:
    client = await client_for()
    await fill(client)
    await put(client, {"sites": ["CORIN"]})
    answer = await client.post(f"{ANA}/link", json={"hours": 1})
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    link = answer.json()
    token = link["url"].partition("/i/")[2]
    assert len(token) == 43
    lasts = datetime.fromisoformat(link["ends_at"]) - datetime.fromisoformat(link["code_ends_at"])
    assert lasts.total_seconds() == 50 * 60
    assert (await client.post(f"{ANA}/link", json={"hours": 0})).status_code == 422
    # when two devices sign in
    second = (await client.post(f"{ANA}/link")).json()
    cookies = []
    async with database.writer.acquire() as connection:
        at = datetime.fromisoformat(second["code_ends_at"]) - sessions.CODE_LASTS
        # The newer link is the one that counts.
        assert await sessions.invited(connection, token, at) is None
        for _ in range(2):
            made = (await client.post(f"{ANA}/link")).json()
            signed = await sessions.sign_in_by_code(connection, made["code"], label="Phone", at=at)
            assert signed is not None
            cookies.append(signed.cookie)
    devices = (await client.get(f"{ANA}/devices")).json()["items"]
    assert [one["label"] for one in devices] == ["Phone", "Phone"]
    assert not set(cookies) & {str(value) for one in devices for value in one.values()}
    one = {"device": devices[0]["id"]}
    assert (await client.post(f"{ANA}/sign-out", json=one)).json() == {"devices": 1}
    assert (await client.post(f"{ANA}/sign-out", json=one)).json() == {"devices": 0}
    async with database.writer.acquire() as connection:
        token = await addresses.make(connection, "p-07", "MINE", CalendarDetails(), at=at)
    calendar = f"{base_url}/calendar/{token}.ics"
    assert (await client.get(calendar)).status_code == 200
    # Everywhere: who holds a lost telephone holds the address of its calendar too.
    assert (await client.post(f"{ANA}/sign-out")).json() == {"devices": 1}
    assert (await client.get(calendar)).status_code == 404
    # A cookie is no key: nothing of the interface is opened by it.
    async with Client(base_url=base_url, cookies={"graftlog_seat": cookies[0]}) as browser:
        assert (await browser.get("/v1/people")).status_code == 401

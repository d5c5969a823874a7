"""Calendars: made, changed and taken back; read by whoever has the address, as their owner sees."""

from typing import Any

import httpx
import icalendar

from service.clock import system_clock
from service.log.keys import create_key, list_keys, revoke_key
from service.reminders.calendar.days import bring_up
from service.storage.pool import Database
from service.views.budwood import BudwoodOnHand
from service.views.runner import Runner
from tests.api.conftest import Client, MakeClient

ALL = "/v1/calendars/ALL"


async def put(client: Client, body: dict[str, Any], path: str = ALL, **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return await client.put(path, json=body, headers=named)


async def test_a_calendar_is_made_read_changed_and_taken_back(client_for: MakeClient) -> None:
    client, other = await client_for(), await client_for()
    made = await put(client, {"language": "es"})
    assert made.status_code == 201
    assert made.headers["cache-control"] == "no-store"
    told = made.json()
    assert (told["sites"], told["shows"]) == (["*"], ["checks", "orders", "bags"])
    address = httpx.URL(told["address"]).path
    # told once, and nobody else's to see
    assert "address" not in (await client.get(ALL)).json()
    assert address.removesuffix(".ics")[-43:] not in (await client.get("/v1/calendars")).text
    assert (await other.get(ALL)).status_code == 404
    assert (await other.get("/v1/calendars")).json()["items"] == []

    anybody = await client_for(None)
    read = await anybody.get(address)
    assert read.status_code == 200
    assert read.headers["content-type"] == "text/calendar; charset=utf-8"
    assert icalendar.Calendar.from_ical(read.content)["version"] == "2.0"
    same = await anybody.get(address, headers={"If-None-Match": read.headers["etag"]})
    assert (same.status_code, same.content) == (304, b"")
    assert same.headers["cache-control"] == "private, max-age=900"

    assert (await put(client, {})).status_code == 428
    changed = await put(client, {"shows": ["bags"]}, if_match=made.headers["etag"])
    assert (changed.status_code, changed.json()["address"]) == (200, None)
    assert (await put(client, {}, if_match=made.headers["etag"])).status_code == 412
    assert (await anybody.get(address)).status_code == 200
    assert (await client.delete(ALL)).status_code == 204
    assert (await anybody.get(address)).status_code == 404


async def test_it_shows_what_its_owner_sees_at_the_time(
    database: Database, client_for: MakeClient
) -> None:
    await _two_sites(await client_for())
    await Runner(database, [BudwoodOnHand()]).catch_up()
    await bring_up(database.writer, system_clock)
    everywhere, here = await client_for(), await client_for("recorder", "CORIN")
    anybody = await client_for(None)

    async def told(client: Client, body: dict[str, Any], path: str) -> str:
        made = await put(client, body, path)
        assert made.status_code == 201, made.text
        return httpx.URL(made.json()["address"]).path

    whole = await told(everywhere, {}, ALL)
    ours = await told(here, {}, ALL)
    one = await told(everywhere, {"sites": ["TARNA"]}, "/v1/calendars/ONE")
    texts = [(await anybody.get(address)).text for address in (whole, ours, one)]
    assert ["CORIN-BAG" in text for text in texts] == [True, True, False]
    assert ["TARNA-BAG" in text for text in texts] == [True, False, True]

    refused = await put(here, {"sites": ["CORIN", "TARNA"]}, "/v1/calendars/NO")
    nowhere = await put(here, {"sites": ["CORIN", "NO-SITE"]}, "/v1/calendars/NO")
    assert refused.status_code == nowhere.status_code == 409
    assert refused.json()["errors"][0]["pointer"] == "#/sites/1"
    assert refused.json()["errors"][0]["kind"] == nowhere.json()["errors"][0]["kind"]

    # the owner's key is gone: nothing is shown to who still has the address
    async with database.writer.acquire() as connection:
        for key in await list_keys(connection):
            if key.name.startswith("recorder"):
                await revoke_key(connection, key.key_id)
    assert (await anybody.get(ours)).status_code == 404
    # a new key of the name sees less than the calendar was made for
    async with database.writer.acquire() as connection:
        name = next(k.name for k in await list_keys(connection) if k.name.startswith("recorder"))
        sites = frozenset({"TARNA"})
        await create_key(connection, name=name, role="recorder", sites=sites)
    text = (await anybody.get(ours)).text
    assert ("CORIN-BAG" in text, "TARNA-BAG" in text) == (False, True)


async def test_no_more_than_twenty_of_one_name(client_for: MakeClient) -> None:
    client = await client_for()
    for number in range(20):
        assert (await put(client, {}, f"/v1/calendars/C{number}")).status_code == 201
    refused = await put(client, {}, "/v1/calendars/C20")
    assert (refused.status_code, refused.json()["errors"][0]["kind"]) == (409, "too_many")
    assert (await put(client, {}, "/v1/calendars/C3", if_none_match="*")).status_code == 412


async def test_an_address_that_nobody_has(client_for: MakeClient) -> None:
    anybody = await client_for(None)
    for token in ("x" * 43, "short", "x" * 43 + ".ics", "%00", "é" * 43):
        assert (await anybody.get(f"/calendar/{token}")).status_code == 404, token


async def _two_sites(client: Client) -> None:
    """Two sites with a bag each, to be used within some weeks of now."""
    today = system_clock().date().isoformat()
    where = {"time_zone": "Europe/Madrid", "latitude": 40, "longitude": 1}
    cultivar = {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Navelina"}
    for site in ("CORIN", "TARNA"):
        box = {"site": site, "structure": "House 1"}
        for path, body in (
            (f"sites/{site}", {"name": site.title(), **where}),
            (f"places/{site}-BOX", box),
            ("cultivars/NAVEL", cultivar),
        ):
            answer = await client.put(f"/v1/{path}", json=body)
            assert answer.status_code in (201, 428), answer.text
        bag = {"bag": f"{site}-BAG", "buds": 40, "place": f"{site}-BOX"}
        data = {"lot": f"{site}-BW", "cultivar": "NAVEL", "cut_on": today, "bags": [bag]}
        told = {"type": "budwood.received", "site": site, "occurred": today}
        answer = await client.post("/v1/events", json=told | {"data": data | {"supplier": "sup-1"}})
        assert answer.status_code == 201, answer.text

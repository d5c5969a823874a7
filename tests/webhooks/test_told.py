"""Who is told what: the sites of the key, the items asked for, alerts, what can be had."""

import asyncio
from typing import Any

import httpx

from service.clock import system_clock
from service.jobs.every_view import every_view
from service.log.keys import list_keys, revoke_key
from service.storage.pool import Database
from service.views.runner import Runner
from service.webhooks.topics import TOPICS, Alerts
from service.webhooks.wanted import Wanted
from tests.api.conftest import MakeClient
from tests.api.nursery import fill
from tests.webhooks.conftest import MakeDeliverer, caught_up, fine, hook, look, progress
from tests.webhooks.receiver import Got, receiving


def notes(got: list[Got]) -> list[str]:
    return [one.event["data"]["data"].get("note") for one in got]


async def revoke(database: Database, name: str) -> None:
    async with database.writer.acquire() as connection:
        for key in await list_keys(connection):
            if key.name == name:
                await revoke_key(connection, key.key_id)


async def test_only_what_its_keys_may_see(
    shop: httpx.AsyncClient,
    client_for: MakeClient,
    deliver: MakeDeliverer,
    database: Database,
) -> None:
    corin, vale = await client_for("sales", "CORIN"), await client_for("sales", "VALE")
    await deliver()
    async with receiving() as receiver, receiving() as narrow:
        made = await hook(corin, receiver.url)
        await hook(shop, narrow.url, "NARROW", sites=["VALE"])
        await look(shop, "theirs", site="VALE")
        await look(shop, "ours")
        await look(shop, "theirs too", site="VALE")
        assert notes(await receiver.count(1)) == ["ours"]
        assert notes(await narrow.count(2)) == ["theirs", "theirs too"]
        # Set for one site by a key of all, it is that site's people's to see; the other is not.
        listed = await fine(vale.get("/v1/webhooks"))
        assert [one["code"] for one in listed["items"]] == ["NARROW"]
        for method, path in (("GET", ""), ("GET", "/progress"), ("POST", "/stop"), ("DELETE", "")):
            answer = await vale.request(method, f"/v1/webhooks/SHOP{path}")
            assert answer.status_code == 404
        await caught_up(shop)
        # Without a live key it stops, and keeps its place …
        await revoke(database, made["owner"])
        async with asyncio.timeout(5):
            while (now := await progress(shop))["state"] != "stopped":
                await asyncio.sleep(0.02)
        assert now["stopped_because"] == "key_gone"
        await look(shop, "meanwhile", "meanwhile too")
        await look(shop, "theirs again", site="VALE")
        # … until somebody who sees all of it takes it on; it is told of the same sites still.
        await fine(shop.post("/v1/webhooks/SHOP/resume"))
        assert notes(await receiver.count(3)) == ["ours", "meanwhile", "meanwhile too"]
        await caught_up(shop)
        assert len(receiver.got) == 3


async def test_items_that_are_asked_for(client_for: MakeClient, deliver: MakeDeliverer) -> None:
    client = await client_for("administrator")
    await deliver()
    async with receiving() as budded, receiving() as big, receiving() as other:
        await fill(client)
        of_all = {"types": None}
        await hook(client, budded.url, "NAV", cultivar="NAV", rootstock="CARR", **of_all)
        await hook(client, big.url, "BIG", cultivar="NAV", size="C2", **of_all)
        await fine(client.put("/v1/sizes/C9", json={"label": "9 litre"}))
        await fine(
            client.put(
                "/v1/cultivars/VAL",
                json={"crop": "citrus", "species": "Citrus sinensis", "epithet": "Valencia"},
            )
        )
        await hook(client, other.url, "OTHER", cultivar="VAL", **of_all)
        for url in ("NAV", "BIG", "OTHER"):
            await fine(client.post(f"/v1/webhooks/{url}/replay", json={"position": 0}))
            await caught_up(client, url)
        kinds = {
            name: [one.event["type"] for one in found.got]
            for name, found in (("nav", budded), ("big", big), ("other", other))
        }
        # The bag's cutting names no rootstock; the cultivar's entry and trees of it are of it.
        assert kinds["nav"] == ["trees.grafted"]
        assert kinds["big"] == [
            "catalogue.changed",
            "catalogue.changed",
            "budwood.cut",
            "trees.grafted",
        ]
        entries = [one.event["subject"] for one in big.got[:2]]
        assert entries == ["cultivar/NAV", "source_tree/NAV-3"]
        assert kinds["other"] == ["catalogue.changed"]


async def test_alerts_and_what_can_be_had(
    client_for: MakeClient, deliver: MakeDeliverer, database: Database
) -> None:
    client = await client_for("administrator")
    await fill(client)
    runner = Runner(database, every_view())

    async def record(kind: str, **data: Any) -> Any:
        event = {"type": kind, "site": "CORIN", "occurred": "2026-03-12", "data": data}
        answer = await fine(client.post("/v1/events", json=event))
        await runner.catch_up()
        return answer["verdicts"][0]["id"]

    await deliver()
    async with receiving(500) as receiver, receiving() as items:
        topics = ["alert.raised", "alert.closed"]
        await hook(client, receiver.url, types=topics)
        await hook(client, items.url, "ITEMS", types=["availability.changed"], cultivar="NAV")
        # A count that differs raises an alert; voiding the count closes it.
        lines = [{"lot": "L-1", "place": "H2-T04", "size": "C2", "counted": 20}]
        counted = await record("stock.counted", reason="year end", lines=lines)
        raised = (await receiver.count(1))[0]
        # It failed: what is said again bears the same id, though nothing of it is in the log.
        await fine(client.post("/v1/webhooks/SHOP/resume"))
        again = (await receiver.count(2))[1]
        assert (raised.id, raised.body) == (again.id, again.body)
        event = raised.event
        assert (event["type"], event["data"]["kind"]) == ("alert.raised", "count_differs")
        assert event["data"]["id"] == event["subject"].removeprefix("alert/")
        # To who sees its site no more it is not told to be closed, for it is not.
        told = {event["data"]["id"]: "open"}
        elsewhere = Wanted(None, frozenset({"VALE"}))
        forgotten = await Alerts(database, system_clock).change(told, elsewhere)
        assert forgotten is not None
        assert (forgotten.type in TOPICS, forgotten.unsays) == (False, list(told))
        await record("event.voided", event=counted, reason="miscounted")
        closed = (await receiver.count(3))[2].event
        assert (closed["type"], closed["subject"]) == ("alert.closed", event["subject"])
        assert closed["data"]["closed_because"] == "voided"
        # What can be had was told at first, and is told when it is another.
        first = list(await items.until(lambda got: bool(got)))
        rows = {one["key"]: one["available"] for one in first[0].event["data"]["items"]}
        buds = next(key for key in rows if key.startswith("buds/NAV") and key.endswith("CORIN"))
        assert rows[buds] == 6
        await record("budwood.discarded", lines=[{"bag": "B-1", "buds": 2}], cause="dried")
        later = await items.until(lambda got: len(got) > len(first))
        changed = later[-1].event["data"]
        assert {one["key"]: one["available"] for one in changed["items"]}[buds] == 4
        assert changed["gone"] == []
        await asyncio.sleep(0.2)
        assert len(receiver.got) == 3


async def test_what_is_on_its_way_is_not_told_to_who_is_to_see_less(
    client_for: MakeClient, deliver: MakeDeliverer
) -> None:
    client = await client_for("administrator")
    await fill(client)
    await fine(client.put("/v1/places/VALE-T1", json={"site": "VALE", "structure": "House 1"}))
    await deliver()
    async with receiving(500) as receiver, receiving() as vales:
        types = ["availability.changed", "place.checked"]
        await hook(client, receiver.url, types=types)
        (failed,) = await receiver.count(1)
        assert "CORIN" in {one["site"] for one in failed.event["data"]["items"]}
        # It is to be tried again; but now the webhook is another's, who sees one site.
        async with asyncio.timeout(5):
            while (await progress(client))["attempts"] != 1:
                await asyncio.sleep(0.01)
        tag = (await client.get("/v1/webhooks/SHOP")).headers["ETag"]
        details = {"url": vales.url, "types": types, "sites": ["VALE"]}
        await fine(client.put("/v1/webhooks/SHOP", json=details, headers={"If-Match": tag}))
        await look(client, "theirs", site="VALE")
        got = await vales.until(lambda got: "place.checked" in [one.event["type"] for one in got])
        assert "CORIN" not in "".join(one.body.decode() for one in got)

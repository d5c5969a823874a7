"""Recording over HTTP and reading it back."""

import asyncio
import json
from typing import Any

import pytest

from service.clock import system_clock
from service.forecast.refresh import refresh
from service.jobs import every_view
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import event, fill
from tests.api.test_problems import checked
from tests.support.foretelling import stand_in

LOOK = event("place.checked", {"place": "H2-T04"})
ID = "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for("administrator")
    await fill(client)
    return client


async def test_one_event(admin: Client) -> None:
    response = await admin.post("/v1/events", json={**LOOK, "id": ID})
    assert response.status_code == 201
    body = response.json()
    assert body["verdicts"][0]["verdict"] == "accepted"
    position = body["verdicts"][0]["position"]
    assert response.headers["location"] == f"/v1/events/{ID}"
    assert response.headers["etag"] == f'"{position}"'
    assert response.headers["graftlog-position"] == str(body["position"])
    again = await admin.post("/v1/events", json={**LOOK, "id": ID})
    assert (again.status_code, again.json()["verdicts"][0]["verdict"]) == (200, "known")
    stored = (await admin.get(response.headers["location"])).json()
    assert stored["data"]["place"] == "H2-T04"
    assert stored["recorded_by"].startswith("administrator")
    other = await admin.post("/v1/events", json={**LOOK, "id": ID, "actor": "p-08"})
    assert checked(other, 409, "refused")["errors"][0]["kind"] == "id_reused"


async def test_a_refused_array_points_into_it(admin: Client) -> None:
    head = (await admin.get("/v1/events", params={"limit": 1})).json()["position"]
    lost = event("liners.discarded", {"lot": "L-1", "count": 500, "cause": "frost"})
    response = await admin.post("/v1/events", json=[LOOK, lost])
    document = checked(response, 409, "refused")
    assert document["errors"][0]["pointer"].startswith("#/1")
    assert document["errors"][0]["kind"] == "below_zero"
    assert (await admin.get("/v1/events", params={"limit": 1})).json()["position"] == head


async def test_each_gets_its_verdict_and_what_is_refused_is_kept(admin: Client) -> None:
    lost = event("liners.discarded", {"lot": "L-1", "count": 500, "cause": "frost"})
    body = [LOOK, lost, {"type": "nonsense"}]
    response = await admin.post("/v1/events", params={"mode": "each"}, json=body)
    assert response.status_code == 200
    verdicts = response.json()["verdicts"]
    assert [one["verdict"] for one in verdicts] == ["accepted", "refused", "malformed"]
    assert verdicts[2]["errors"][0]["pointer"] == "#/2/type"
    kept = (await admin.get("/v1/to-put-right")).json()["items"]
    assert len(kept) == 2
    assert "frost" in kept[0]["raw"]
    assert kept[0]["state"] == "open"


async def test_lines_of_ndjson(admin: Client) -> None:
    lines = "\n".join(json.dumps({**LOOK, "actor": f"p-{n}"}) for n in range(1500)) + "\n"
    headers = {"Content-Type": "application/x-ndjson"}
    response = await admin.post("/v1/events", content=lines, headers=headers, timeout=60)
    assert response.status_code == 201, response.text[:500]
    assert len(response.json()["verdicts"]) == 1500


async def test_a_check_stores_nothing(admin: Client) -> None:
    before = (await admin.get("/v1/events", params={"limit": 1})).json()["position"]
    response = await admin.post("/v1/events", params={"check": "true"}, json=LOOK)
    assert response.status_code == 200
    assert response.json()["verdicts"][0]["verdict"] == "accepted"
    after = (await admin.get("/v1/events", params={"limit": 1})).json()["position"]
    assert before == after


async def test_a_retry_with_its_key_gets_the_first_answer(admin: Client) -> None:
    quoted = {"Idempotency-Key": '"8e03978e-40d5-43e8-bc93-6894a57f9324"'}
    bare = {"Idempotency-Key": "8e03978e-40d5-43e8-bc93-6894a57f9324"}
    first = await admin.post("/v1/events", json=LOOK, headers=quoted)
    again = await admin.post("/v1/events", json=LOOK, headers=bare)
    assert again.status_code == 201
    assert again.content == first.content
    assert again.headers["idempotency-replayed"] == "true"
    for name in ("location", "etag"):
        assert again.headers[name] == first.headers[name]
    other = await admin.post("/v1/events", json={**LOOK, "actor": "p-99"}, headers=bare)
    checked(other, 422, "idempotency-key-reused")
    checked(
        await admin.post("/v1/events", json=LOOK, headers={"Idempotency-Key": '""'}),
        400,
        "malformed-request",
    )


async def test_a_list_goes_on_without_gaps(admin: Client) -> None:
    seen: list[int] = []
    address = "/v1/events?limit=5"
    while address:
        response = await admin.get(address)
        page = response.json()
        seen += [one["position"] for one in page["items"]]
        address = page["next"]
        if address:
            assert response.headers["link"] == f'<{address}>; rel="next"'
    assert seen == list(range(1, page["position"] + 1))


async def test_events_are_found_by_what_they_are_about(admin: Client) -> None:
    async def types(**params: str) -> list[str]:
        response = await admin.get("/v1/events", params=params)
        assert response.status_code == 200, response.text
        return [one["type"] for one in response.json()["items"]]

    assert await types(lot="T-1") == ["trees.grafted"]
    assert set(await types(lot="L-1")) == {"liners.received", "trees.grafted"}
    assert "budwood.cut" in await types(place="COOL-1")
    assert await types(type="budwood.cut") == ["budwood.cut"]
    days = {"from": "2026-03-02", "to": "2026-03-09"}
    assert await types(site="CORIN", **days) == ["budwood.cut"]
    assert await types(**{"from": "2026-03-10", "to": "2026-03-10"}) == ["trees.grafted"]
    times = {"from": "2026-03-10T00:00:00Z", "to": "2026-03-11T00:00:00Z"}
    assert await types(**times) == ["trees.grafted"]


async def test_an_event_is_not_sent_twice_and_final_ones_are_kept(admin: Client) -> None:
    made = await admin.post("/v1/events", json={**LOOK, "id": ID})
    response = await admin.get(f"/v1/events/{ID}")
    assert response.headers["cache-control"] == "private, no-cache"
    same = await admin.get(f"/v1/events/{ID}", headers={"If-None-Match": response.headers["etag"]})
    assert (same.status_code, same.content) == (304, b"")
    assert same.headers["etag"] == response.headers["etag"]
    void = event("event.voided", {"event": ID, "reason": "wrong table"})
    voided = await admin.post("/v1/events", json=void)
    assert voided.status_code == 201, voided.text
    response = await admin.get(f"/v1/events/{ID}", headers={"If-None-Match": made.headers["etag"]})
    assert response.status_code == 200
    assert response.json()["voided_by"] == voided.json()["verdicts"][0]["position"]
    assert "immutable" in response.headers["cache-control"]


async def test_head_is_get_without_its_body(admin: Client) -> None:
    for address in ("/v1/events", "/v1/sites/CORIN", "/v1/tree-lots/T-1", "/", "/livez"):
        get, head = await admin.get(address), await admin.head(address)
        assert head.status_code == 200
        assert head.content == b""
        assert head.headers["content-length"] == get.headers["content-length"]
        assert head.headers.get("etag") == get.headers.get("etag")


async def test_the_catalogue_is_changed_by_who_read_it(admin: Client) -> None:
    address = "/v1/sizes/C2"
    read = await admin.get(address)
    assert read.json()["entry"]["label"] == "2 litre"
    changed = {"label": "2 litre pot", "rank": 3}
    checked(await admin.put(address, json=changed), 428, "precondition-required")
    response = await admin.put(address, json=changed, headers={"If-Match": read.headers["etag"]})
    assert response.status_code == 200, response.text
    assert response.headers["etag"] != read.headers["etag"]
    assert (await admin.get(address)).json() == response.json()
    stale = await admin.put(address, json=changed, headers={"If-Match": read.headers["etag"]})
    checked(stale, 412, "precondition-failed")
    assert stale.headers["etag"] == response.headers["etag"]
    only_new = await admin.put(address, json=changed, headers={"If-None-Match": "*"})
    checked(only_new, 412, "precondition-failed")
    whole = (await admin.get(address)).json()["entry"]
    back = await admin.put(address, json=whole, headers={"If-Match": response.headers["etag"]})
    assert back.status_code == 200
    other = await admin.put(address, json={**whole, "code": "C3"}, headers={"If-Match": "*"})
    assert checked(other, 409, "refused")["errors"][0]["pointer"] == "#/code"
    wrong = await admin.put("/v1/sizes/C9", json={"label": "9 litre", "rank": -1})
    assert checked(wrong, 422, "validation-error")["errors"][0]["pointer"] == "#/rank"


async def test_two_who_change_one_entry_at_once(admin: Client) -> None:
    tag = (await admin.get("/v1/sizes/C2")).headers["etag"]
    answers = await asyncio.gather(
        *(
            admin.put("/v1/sizes/C2", json={"label": f"{n}"}, headers={"If-Match": tag})
            for n in range(4)
        )
    )
    assert sorted(one.status_code for one in answers) == [200, 412, 412, 412]


async def test_a_lot_with_its_places_and_history(admin: Client) -> None:
    response = await admin.get("/v1/tree-lots/T-1")
    lot = response.json()
    assert lot["lot"]["on_hand"] == 12
    assert [(one["place"], one["stage"], one["count"]) for one in lot["places"]] == [
        ("H2-T04", "grafted", 12)
    ]
    assert [one["type"] for one in lot["history"]] == ["trees.grafted"]
    same = await admin.get("/v1/tree-lots/T-1", headers={"If-None-Match": response.headers["etag"]})
    assert same.status_code == 304
    budwood = (await admin.get("/v1/budwood-lots/BW-1")).json()
    assert [(one["code"], one["buds"]) for one in budwood["bags"]] == [("B-1", 18)]
    assert (
        budwood["lot"]["on_hand"]
        + sum(one["count"] for one in budwood["gone"] if one["kind"] == "used")
        == 18
    )
    liners = (await admin.get("/v1/liner-lots", params={"on_hand": "true"})).json()["items"]
    assert [(one["code"], one["on_hand"]) for one in liners] == [("L-1", 28)]
    checked(await admin.get("/v1/liner-lots/T-1"), 404, "not-found")
    stock = (await admin.get("/v1/stock", params={"group_by": "site,stage"})).json()
    kinds = {(row["kind"], row["quantity"]) for row in stock["rows"]}
    assert {("trees", 12), ("liners", 28)} <= kinds


async def test_another_sites_things_do_not_exist(admin: Client, client_for: MakeClient) -> None:
    vale = await client_for("site-manager", "VALE")
    event_id = (await admin.get("/v1/events", params={"lot": "T-1"})).json()["items"][0]["id"]
    for address in (
        f"/v1/events/{event_id}",
        "/v1/sites/CORIN",
        "/v1/places/H2-T04",
        "/v1/tree-lots/T-1",
        "/v1/budwood-lots/BW-1",
        "/v1/liner-lots/L-1",
        "/v1/sites/CORIN/temperatures",
    ):
        checked(await vale.get(address), 404, "not-found")
    for address in ("tree-lots", "budwood-lots", "liner-lots", "checks", "ready-dates"):
        assert (await vale.get(f"/v1/{address}")).json()["items"] == []
    sites = (await vale.get("/v1/sites")).json()["items"]
    assert [one["entry"]["code"] for one in sites] == ["VALE"]
    events = (await vale.get("/v1/events")).json()["items"]
    assert {site for one in events for site in one["sites"]} <= {"VALE"}
    assert (await vale.get("/v1/stock")).json()["rows"] == []
    place = {"site": "CORIN", "structure": "House 9"}
    checked(await vale.put("/v1/places/H2-T04", json=place), 404, "not-found")
    checked(await vale.put("/v1/places/NEW-1", json=place), 409, "refused")
    assert (await vale.get("/v1/cultivars/NAV")).status_code == 200


async def test_views_over_http(admin: Client, database: Database) -> None:
    runner = Runner(database, every_view())
    await runner.start()
    try:
        position = (await admin.get("/v1/events", params={"limit": 1})).json()["position"]
        wait = {"Prefer": "wait=20"}
        since = {"min_position": str(position)}

        async def ask(address: str, **params: str) -> dict[str, Any]:
            response = await admin.get(f"/v1/{address}", params={**since, **params}, headers=wait)
            assert response.status_code == 200, response.text
            assert response.headers["preference-applied"] == "wait=20"
            assert response.json()["position"] >= position
            body: dict[str, Any] = response.json()
            return body

        bags = (await ask("budwood"))["items"]
        assert [(one["bag"], one["place"]) for one in bags] == [("B-1", "COOL-1")]
        assert bags[0]["buds"] == 18 - 12
        due = (await ask("checks", limit="1"))["items"]
        assert due[0]["site"] == "CORIN"
        days = {"first": "2026-03-01", "last": "2026-03-31", "kind": "trees"}
        rows = (await ask("stock/by-day", **days))["rows"]
        assert [(one["day"], one["quantity"]) for one in rows][-1] == ("2026-03-10", 12)
        back = (await ask("tree-lots/T-1/lineage"))["steps"]
        assert {one["code"] for one in back} == {"T-1", "B-1", "BW-1", "L-1", "NAV-3"}
        forward = (await ask("source-trees/NAV-3/lineage"))["steps"]
        assert "T-1" in {one["code"] for one in forward}
        await refresh(database, system_clock, forecast=stand_in)
        await ask("ready-dates")
        assert (await ask("alerts"))["items"] == []
        checked(await admin.get("/v1/liner-lots/T-1/lineage"), 404, "not-found")
    finally:
        await runner.stop()


async def test_a_page_of_checks_goes_on(admin: Client, database: Database) -> None:
    await Runner(database, every_view()).catch_up()
    whole = (await admin.get("/v1/checks")).json()["items"]
    assert len(whole) > 1
    seen: list[Any] = []
    address = "/v1/checks?limit=1"
    while address:
        page = (await admin.get(address)).json()
        seen += page["items"]
        address = page["next"]
    assert seen == whole


async def test_waiting_in_vain_says_the_older_position(admin: Client) -> None:
    response = await admin.get(
        "/v1/checks", params={"min_position": "1"}, headers={"Prefer": "wait=1"}
    )
    assert response.status_code == 200
    assert "preference-applied" not in response.headers
    assert response.json()["position"] == 0


async def test_somebody_sees_to_an_alert(admin: Client, database: Database) -> None:
    short = event(
        "budwood.cut",
        {
            "lot": "BW-2",
            "cultivar": "NAV",
            "source_tree": "NAV-3",
            "bags": [{"bag": "B-2", "sticks": 1, "buds": 4, "place": "COOL-1"}],
        },
    )
    assert (await admin.post("/v1/events", json=short)).status_code == 201
    runner = Runner(database, every_view())
    await runner.catch_up()
    alerts = (await admin.get("/v1/alerts")).json()["items"]
    assert [(one["kind"], one["state"]) for one in alerts] == [("short_bag", "open")]
    address = f"/v1/alerts/{alerts[0]['id']}"
    said = await admin.post(f"{address}/acknowledge", json={"actor": "p-07", "note": "Seen."})
    assert said.status_code == 201, said.text
    await runner.catch_up()
    assert (await admin.get(address)).json()["state"] == "acknowledged"
    later = await admin.post(f"{address}/remind-on", json={"on": "2100-01-01"})
    assert later.status_code == 201, later.text
    await runner.catch_up()
    assert (await admin.get(address)).json()["state"] == "remind_on"
    wrong = await admin.post(f"{address}/remind-on", json={"on": "soon"})
    assert checked(wrong, 422, "validation-error")["errors"][0]["pointer"] == "#/on"
    none = "/v1/alerts/0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77/acknowledge"
    checked(await admin.post(none, json={}), 404, "not-found")


async def test_temperatures_as_json_and_csv(admin: Client) -> None:
    address = "/v1/sites/CORIN/temperatures"
    body = {
        "source": "logger 3",
        "days": [
            {"day": "2026-01-01", "min_c": 4.5, "max_c": 15},
            {"day": "2026-01-04", "min_c": 5, "max_c": 16.25},
        ],
    }
    report = await admin.put(address, json=body)
    assert report.status_code == 200, report.text
    assert report.json()["gaps"] == [{"from": "2026-01-02", "to": "2026-01-03", "days": 2}]
    csv = "day,min_c,max_c\n2026-01-02,4,14\n"
    headers = {"Content-Type": "text/csv; charset=utf-8"}
    params = {"source": "logger 3"}
    report = await admin.put(address, content=csv, headers=headers, params=params)
    assert report.json()["version"] == 2
    record = (await admin.get(address)).json()
    assert [one["day"] for one in record["days"]] == ["2026-01-01", "2026-01-02", "2026-01-04"]
    assert (await admin.get(address, params={"version": "1"})).json()["version"] == 1
    swapped = {"source": "x", "days": [{"day": "2026-01-01", "min_c": 9, "max_c": 1}]}
    document = checked(await admin.put(address, json=swapped), 422, "validation-error")
    assert document["errors"][0]["pointer"] == "#/days/0"
    bad = await admin.put(
        address, content="day,min_c,max_c\n2026-01-02,x,14\n", headers=headers, params=params
    )
    assert checked(bad, 422, "validation-error")["errors"][0]["numbers"] == {"line": 2}

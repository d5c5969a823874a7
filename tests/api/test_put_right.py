"""To put right: seen, corrected or let go by who sent it and by who manages the site."""

import asyncio
from typing import Any

import pytest

from service.api.problems import SHAPE_KINDS
from service.clock import system_clock
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database
from service.trade.settling import SETTLED_BY, settled_by
from service.trade.verdicts import ARITHMETIC_AND_CODES, BREAKABLE_RULES
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import event, fill
from tests.api.test_problems import checked

ID = "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"


def lost(count: int, **envelope: Any) -> dict[str, Any]:
    return event("liners.discarded", {"lot": "L-1", "count": count, "cause": "frost"}, **envelope)


class Desk:
    """Three people: one who records at CORIN, its manager, and another who records there."""

    def __init__(self, recorder: Client, manager: Client, other: Client, away: Client) -> None:
        self.recorder, self.manager, self.other, self.away = recorder, manager, other, away

    async def refused(self, *events: Any, by: Client | None = None) -> list[dict[str, Any]]:
        """Send one by one as a device does after a day outside; what is open then."""
        client = by or self.recorder
        sent = await client.post("/v1/events", params={"mode": "each"}, json=list(events))
        assert sent.status_code == 200, sent.text
        items: list[dict[str, Any]] = (await client.get("/v1/to-put-right")).json()["items"]
        return items

    async def item(self, number: int) -> dict[str, Any]:
        found = await self.manager.get(f"/v1/to-put-right/{number}")
        assert found.status_code == 200, found.text
        body: dict[str, Any] = found.json()
        return body


@pytest.fixture
async def desk(client_for: MakeClient) -> Desk:
    await fill(await client_for("administrator"))
    return Desk(
        await client_for("recorder", "CORIN"),
        await client_for("site-manager", "CORIN"),
        await client_for("recorder", "CORIN"),
        await client_for("site-manager", "VALE"),
    )


async def test_an_item_says_why_and_what_would_settle_it(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    whole = await desk.item(item["id"])
    assert whole["event_id"] == ID
    assert '"count":500' in whole["raw"].replace(" ", "")
    assert whole["principal"] == whole["last_by"] == "recorder-1"
    assert (whole["attempts"], whole["state"], whole["earlier"]) == (1, "open", [])
    (reason,) = whole["reasons"]
    assert (reason["kind"], reason["pointer"]) == ("below_zero", "#/data")
    assert reason["numbers"]["lot"] == "L-1"
    assert "stock count" in reason["settled_by"]


async def test_who_sent_it_corrects_it(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    address = f"/v1/to-put-right/{item['id']}/correct"
    done = await desk.recorder.post(address, json=lost(5))
    assert done.status_code == 201, done.text
    assert done.headers["location"] == f"/v1/events/{ID}"
    stored = (await desk.recorder.get(f"/v1/events/{ID}")).json()
    assert stored["data"]["count"] == 5
    whole = await desk.item(item["id"])
    assert (whole["state"], whole["recorded_event"]) == ("recorded", ID)
    assert whole["resolved_position"] == stored["position"]
    assert (await desk.recorder.get("/v1/to-put-right")).json()["items"] == []


async def test_the_manager_corrects_what_others_sent(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    address = f"/v1/to-put-right/{item['id']}/correct"
    # refused again: it stays open, with both sendings
    again = checked(await desk.manager.post(address, json=lost(400, id=ID)), 409, "refused")
    assert again["errors"][0]["kind"] == "below_zero"
    whole = await desk.item(item["id"])
    assert (whole["attempts"], whole["state"]) == (2, "open")
    assert (whole["principal"], whole["last_by"]) == ("recorder-1", "site-manager-2")
    assert "500" in whole["earlier"][0]["raw"]
    assert whole["earlier"][0]["principal"] == "recorder-1"
    assert "400" in whole["raw"]
    # a look at it stores nothing
    look = await desk.manager.post(address, params={"check": "true"}, json=lost(4, id=ID))
    assert (look.status_code, look.json()["verdicts"][0]["verdict"]) == (200, "accepted")
    assert (await desk.item(item["id"]))["attempts"] == 2
    done = await desk.manager.post(address, json=lost(4, id=ID))
    assert done.status_code == 201, done.text
    stored = (await desk.manager.get(f"/v1/events/{ID}")).json()
    assert stored["recorded_by"] == "site-manager-2"
    assert (await desk.item(item["id"]))["principal"] == "recorder-1"


async def test_nobody_else_sees_it(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    address = f"/v1/to-put-right/{item['id']}"
    for client in (desk.other, desk.away):
        assert (await client.get("/v1/to-put-right")).json()["items"] == []
        checked(await client.get(address), 404, "not-found")
        checked(await client.post(f"{address}/correct", json=lost(5)), 404, "not-found")
        checked(await client.post(f"{address}/discard", json={"reason": "no"}), 404, "not-found")
    for odd in ("0", "x", "9" * 30, "-1"):
        checked(await desk.manager.get(f"/v1/to-put-right/{odd}"), 404, "not-found")
    # the same id from somebody else is an item of its own, and takes nothing away
    theirs = await desk.refused(lost(300, id=ID), by=desk.other)
    assert [one["event_id"] for one in theirs] == [None]
    assert "500" in (await desk.item(item["id"]))["raw"]
    assert len((await desk.manager.get("/v1/to-put-right")).json()["items"]) == 2


async def test_a_site_that_the_sender_does_not_see_gets_no_item(desk: Desk) -> None:
    (item,) = await desk.refused(lost(1, site="VALE"))
    assert item["site"] == "VALE"
    assert (await desk.away.get("/v1/to-put-right")).json()["items"] == []
    assert (await desk.item(item["id"]))["reasons"][0]["kind"] == "unknown_code"


async def test_what_can_not_be_read_is_corrected_or_let_go(desk: Desk) -> None:
    first, second = await desk.refused(
        {"type": "nonsense"}, {"type": "liners.lost", "site": "CORIN"}
    )
    assert first["event_id"] is None
    done = await desk.manager.post(f"/v1/to-put-right/{first['id']}/correct", json=lost(1))
    assert done.status_code == 201, done.text
    whole = await desk.item(first["id"])
    assert whole["state"] == "recorded"
    assert whole["recorded_event"] == done.json()["verdicts"][0]["id"]
    gone = await desk.recorder.post(
        f"/v1/to-put-right/{second['id']}/discard", json={"reason": "A slip of the pen."}
    )
    assert (gone.status_code, gone.json()["state"]) == (200, "discarded")


async def test_it_is_let_go_with_a_reason(desk: Desk, database: Database) -> None:
    one = lost(500, id=ID)
    (item,) = await desk.refused(one)
    await look_at_calendar(database.writer, system_clock)
    alerts = (await desk.manager.get("/v1/alerts", params={"state": "open"})).json()["items"]
    assert [alert["kind"] for alert in alerts if alert["kind"] == "to_put_right"]
    address = f"/v1/to-put-right/{item['id']}/discard"
    checked(await desk.manager.post(address, json={}), 422, "validation-error")
    said = {"reason": "Counted twice."}
    gone = (await desk.manager.post(address, json=said)).json()
    assert (gone["state"], gone["discard_reason"]) == ("discarded", "Counted twice.")
    assert gone["resolved_by"] == "site-manager-2"
    assert "500" in gone["raw"]
    # a retry changes nothing; anybody else comes too late
    again = await desk.manager.post(address, json=said)
    assert again.json() == gone
    late = checked(await desk.recorder.post(address, json=said), 409, "already-put-right")
    assert late["state"] == "discarded"
    corrected = await desk.recorder.post(f"/v1/to-put-right/{item['id']}/correct", json=lost(5))
    checked(corrected, 409, "already-put-right")
    # its alert ends, and the same sent again by a device does not bring it back
    await look_at_calendar(database.writer, system_clock)
    alerts = (await desk.manager.get("/v1/alerts", params={"state": "open"})).json()["items"]
    assert [alert for alert in alerts if alert["kind"] == "to_put_right"] == []
    assert await desk.refused(one) == []
    # other content of the same id does
    assert [one["attempts"] for one in await desk.refused(lost(450, id=ID))] == [3]


async def test_later_acceptance_of_the_same_id_closes_it(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    assert (await desk.recorder.post("/v1/events", json=lost(2, id=ID))).status_code == 201
    whole = await desk.item(item["id"])
    assert (whole["state"], whole["resolved_by"]) == ("recorded", "recorder-1")
    late = await desk.manager.post(f"/v1/to-put-right/{item['id']}/correct", json=lost(3))
    closed = checked(late, 409, "already-put-right")
    assert (closed["state"], closed["position"]) == ("recorded", whole["resolved_position"])


async def test_of_many_who_correct_at_once_one_does(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    address = f"/v1/to-put-right/{item['id']}"
    tried = [desk.manager.post(f"{address}/correct", json=lost(n)) for n in range(1, 6)]
    tried.append(desk.recorder.post(f"{address}/discard", json={"reason": "no"}))
    answers = await asyncio.gather(*tried)
    statuses = sorted(answer.status_code for answer in answers)
    assert statuses in ([201, 409, 409, 409, 409, 409], [200, 409, 409, 409, 409, 409])
    for answer in answers:
        if answer.status_code == 409:
            checked(answer, 409, "already-put-right")
    whole = await desk.item(item["id"])
    assert whole["state"] == ("recorded" if 201 in statuses else "discarded")
    assert whole["attempts"] == 1


async def test_a_correction_keeps_the_id_and_the_rights_of_its_sender(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    address = f"/v1/to-put-right/{item['id']}/correct"
    other = checked(
        await desk.recorder.post(address, json=lost(5, id=ID[:-1] + "8")), 422, "validation-error"
    )
    assert other["errors"][0]["pointer"] == "#/id"
    sold = event("trees.sold", {"customer": "c-1", "lines": [{"lot": "T-1", "count": 1}]})
    checked(await desk.recorder.post(address, json=sold), 403, "insufficient-scope")
    checked(await desk.recorder.post(address, json={"type": "x"}), 422, "validation-error")
    checked(await desk.recorder.post(address, content=b"{"), 415, "unsupported-media-type")
    assert (await desk.item(item["id"]))["attempts"] == 1


async def test_a_retry_with_its_key_gets_the_first_answer(desk: Desk) -> None:
    (item,) = await desk.refused(lost(500, id=ID))
    address, key = f"/v1/to-put-right/{item['id']}/correct", {"Idempotency-Key": "right-1"}
    first = await desk.recorder.post(address, json=lost(5), headers=key)
    again = await desk.recorder.post(address, json=lost(5), headers=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again.headers["idempotency-replayed"] == "true"
    other = await desk.recorder.post(address, json=lost(6), headers=key)
    checked(other, 422, "idempotency-key-reused")


@pytest.mark.parametrize("kind", [*ARITHMETIC_AND_CODES, *BREAKABLE_RULES, *SHAPE_KINDS])
def test_every_refusal_says_what_would_settle_it(kind: str) -> None:
    assert settled_by(kind) == SETTLED_BY[kind]
    if kind in BREAKABLE_RULES:
        assert "happened: true" in settled_by(kind)

"""What a key of one site can record about things of another: nothing, and it learns nothing."""

import json
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest

from service.jobs.every_view import every_view
from service.log.rights import SCOPES
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import MakeClient
from tests.support.two_nurseries import OURS, THEIRS, client_of, fill

Said = tuple[str, dict[str, Any]]
BUDS = {"from": [{"bag": "AA-B1"}], "method": "t_bud", "count": 1, "place": "AA-T1"}
BAG = {"buds": 20, "place": "AA-BOX"}
CUT = {"cultivar": "NAV", "source_tree": "TREE-AA"}
HOLD = {"kind": "quality", "reason": "to stop their sale"}
READY = {"lot": "AA-T", "stage": "ready", "grade": "first", "size": "P9", "place": "AA-T1"}
ORDER = {"cultivar": "NAV", "rootstock": "CARR", "count": 1, "needed_by": "2027-01-01"}
SAID = {"cultivar": "NAV", "rootstock": "CARR", "size": "P9", "quantity": 1, "reason": "bought in",
        "until": "2027-01-01"}  # fmt: skip
# Each names a thing of the other nursery as if it were there for this one: it is not.
AS_IF_NOWHERE: list[Said] = [
    ("hold.lifted", {"hold": "ZZ-H", "reason": "nothing is wrong with it"}),
    ("hold.placed", HOLD | {"target": "lot", "code": "ZZ-T"}),
    ("hold.placed", HOLD | {"target": "bag", "code": "ZZ-B1"}),
    ("hold.placed", HOLD | {"target": "site", "code": "ZZ-SITE"}),
    ("reservation.made", {"customer": "c", "lines": [{"lot": "ZZ-T", "count": 1}]}),
    ("reservation.changed", {"reservation": "ZZ-R", "needed_by": "2027-01-01"}),
    ("reservation.confirmed", {"reservation": "ZZ-R"}),
    ("reservation.expired", {"reservation": "ZZ-R"}),
    ("reservation.released", {"reservation": "ZZ-R", "reason": "no longer wanted"}),
    ("promise.override_ended", {"override": "ZZ-PO", "reason": "no longer wanted"}),
    ("trees.sold", {"customer": "c", "reservation": "ZZ-R", "lines": [READY | {"count": 1}]}),
    ("grafting.order_changed", {"work_order": "ZZ-W", "count": 3}),
    ("grafting.order_ended", {"work_order": "ZZ-W", "reason": "cancelled"}),
    ("grafting.ordered", ORDER | {"liner_lot": "ZZ-L"}),
    ("budwood.cut", {"cultivar": "NAV", "tree_lot": "ZZ-T", "bags": [BAG]}),
    ("tops.forced", {"lot": "ZZ-T", "technique": "bent"}),
    ("tops.removed", {"lot": "ZZ-T"}),
    ("work.done", {"work": "staked", "lot": "ZZ-T"}),
    ("papers.printed", {"paper": "sale_tag", "lot": "ZZ-T", "count": 1}),
    (
        "consignment.received",
        {"consignment": "ZZ-C", "lines": [{"lot": "ZZ-T", "place": "AA-T1", "count": 1}]},
    ),
]
# These are told apart, for codes are unique in the nursery and stand on labels; no more is told.
TAKEN_OR_NOT_HERE: list[Said] = [
    ("trees.moved", {"lot": "ZZ-T", "to": "AA-T2"}),
    ("trees.moved", {"lot": "AA-T", "stage": "pushed", "count": 1, "to": "ZZ-T1"}),
    ("trees.lost", {"lot": "ZZ-T", "count": 1, "cause": "frost"}),
    ("liners.moved", {"lot": "ZZ-L", "count": 1, "to": "AA-T2"}),
    ("budwood.discarded", {"lines": [{"bag": "ZZ-B1", "buds": 1}], "cause": "dried"}),
    ("trees.sold", {"customer": "c", "lines": [{"lot": "ZZ-T", "count": 1}]}),
    ("scions.prepared", {"bag": "ZZ-B1", "pieces": 1}),
    ("push.counted", {"lot": "ZZ-T", "pushed": 1}),
    ("place.checked", {"place": "ZZ-T1"}),
    ("treatment.applied", {"places": ["ZZ-T1"], "product": "oil"}),
    ("label.lost", {"lines": [{"lot": "ZZ-T", "count": 1}]}),
    ("trees.grafted", BUDS | {"from": [{"bag": "ZZ-B1"}], "onto": {"liner_lot": "AA-L"}}),
    ("trees.grafted", BUDS | {"onto": {"liner_lot": "ZZ-L"}}),
    ("trees.grafted", BUDS | {"onto": {"liner_lot": "AA-L"}, "lot": "ZZ-T"}),
    ("trees.regrafted", BUDS | {"of": "ZZ-T"}),
    ("budwood.cut", CUT | {"lot": "ZZ-BW", "bags": [BAG]}),
    ("budwood.cut", CUT | {"bags": [BAG | {"bag": "ZZ-B1"}]}),
    ("hold.placed", HOLD | {"hold": "ZZ-H", "target": "lot", "code": "AA-T"}),
    ("grafting.ordered", ORDER | {"work_order": "ZZ-W"}),
    ("promise.overridden", SAID | {"override": "ZZ-PO"}),
]


@pytest.fixture
async def ours(
    client_for: MakeClient, database: Database, base_url: str
) -> AsyncIterator[httpx.AsyncClient]:
    """Every scope at one of the two nurseries."""
    await fill(await client_for("administrator"), database)
    client = await client_of(database, base_url, "ours", frozenset(SCOPES), "AA-SITE")
    async with client:
        yield client


async def told(client: httpx.AsyncClient, kind: str, data: str) -> list[dict[str, Any]]:
    """The reasons for which an event is refused."""
    event = {"type": kind, "site": "AA-SITE", "occurred": "2026-08-20", "data": json.loads(data)}
    answer = await client.post("/v1/events", params={"check": True}, json=event)
    assert answer.status_code == 409, (kind, data, answer.text)
    reasons: list[dict[str, Any]] = answer.json()["errors"]
    return reasons


async def test_a_thing_of_another_site_is_as_a_thing_that_is_nowhere(
    ours: httpx.AsyncClient,
) -> None:
    different = []
    for kind, data in AS_IF_NOWHERE:
        text = json.dumps(data)
        there = await told(ours, kind, text)
        nowhere = await told(ours, kind, text.replace(THEIRS, "QQ"))
        if json.dumps(there) != json.dumps(nowhere).replace("QQ", THEIRS):
            different.append((kind, data, there, nowhere))
    assert different == []


async def test_a_refusal_tells_nothing_of_another_sites_things(ours: httpx.AsyncClient) -> None:
    leaking = []
    for kind, data in (*AS_IF_NOWHERE, *TAKEN_OR_NOT_HERE):
        asked = json.dumps(data)
        reasons = json.dumps(await told(ours, kind, asked))
        codes = [word for word in asked.replace('"', " ").split() if word.startswith(THEIRS)]
        for code in codes:
            reasons = reasons.replace(code, "")
        # A tree lot's kind, its day, its parents, whose it is, why it is held …
        if THEIRS in reasons or "tree lot" in reasons or "its_" in reasons:
            leaking.append((kind, asked, reasons))
    assert leaking == []


async def test_an_event_of_another_site_is_not_voided(
    ours: httpx.AsyncClient, client_for: MakeClient
) -> None:
    everywhere = await client_for()
    page = (await everywhere.get("/v1/events?site=ZZ-SITE&limit=1000")).json()
    assert len(page["items"]) > 10
    for event in page["items"]:
        if event["site"] != "ZZ-SITE":
            continue
        (reason,) = await told(
            ours, "event.voided", json.dumps({"event": event["id"], "reason": "x"})
        )
        assert reason["kind"] == "unknown_code"
        assert event["type"] not in json.dumps(reason)


async def test_an_alert_is_its_sites_to_acknowledge(
    ours: httpx.AsyncClient, client_for: MakeClient, database: Database
) -> None:
    everywhere = await client_for()
    alerts = (await everywhere.get("/v1/alerts?kind=overdue_check")).json()["items"]
    mine, theirs = (next(a for a in alerts if a["site"] == f"{s}-SITE") for s in (OURS, THEIRS))
    for alert in (mine, theirs):
        said = {
            "type": "alert.acknowledged",
            "site": "AA-SITE",
            "occurred": "2026-08-20",
            "data": {"alert": alert["id"]},
        }
        assert (await ours.post("/v1/events", json=said)).status_code == 201
    await Runner(database, every_view()).catch_up()
    assert (await everywhere.get(f"/v1/alerts/{mine['id']}")).json()["state"] == "acknowledged"
    assert (await everywhere.get(f"/v1/alerts/{theirs['id']}")).json()["state"] == "open"

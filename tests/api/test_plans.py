"""Plans over HTTP: ways to have so many trees by a day, and what a bag makes."""

from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from service.storage.pool import Database
from tests.api import nursery
from tests.api.conftest import MakeClient
from tests.support.foretold import tell_lead_times, tell_supplies

TODAY = datetime.now(UTC).date()
WANTED = {"plan": "trees", "cultivar": "NAV", "rootstock": "CARR", "quantity": 100}


def on(days: int) -> str:
    return str(TODAY + timedelta(days=days))


@pytest.fixture
async def client(client_for: MakeClient, database: Database) -> httpx.AsyncClient:
    client = await client_for()
    await nursery.fill(client)
    for site in ("CORIN", "VALE"):
        for method, mean in (("t_bud", 0.8), ("cleft", 0.7)):
            days = [300 if site == "CORIN" else 330] * 40
            first = TODAY - timedelta(days=2)
            await tell_lead_times(database.writer, site, "citrus", method, first, days, mean=mean)
    return client


async def plan(client: httpx.AsyncClient, **more: Any) -> dict[str, Any]:
    answer = await client.post("/v1/plans", json=WANTED | more)
    assert answer.status_code == 200, answer.text
    planned: dict[str, Any] = answer.json()
    return planned


async def test_ways_to_have_so_many_trees_by_a_day(client: httpx.AsyncClient) -> None:
    told = await plan(client, needed_by=on(400))
    ways = told["options"]
    assert [(one["site"], one["method"]) for one in ways] == [
        *(("CORIN", "t_bud"), ("VALE", "t_bud"), ("CORIN", "cleft"), ("VALE", "cleft"))
    ]
    first = ways[0]
    # 300 days and six more for 9 in 10, as the plan is 8 in 10 sure in time and number together
    assert first["graft_by"] == on(94)
    assert first["grafts"] > 100 / 0.8
    assert first["expected"] == round(first["grafts"] * 0.8)
    assert ways[2]["buds"] > 3 * ways[2]["grafts"]
    # of 18 buds 12 are used, of 40 liners too; the wood does not keep until then
    assert (first["buds_on_hand"], first["liners_on_hand"]) == (0, 28)
    assert first["liners_short"] == first["liners"] - 28
    assert first["words"].startswith("8 in 10 sure of 100 by ")
    assert any("estimate" in one for one in told["remarks"])
    assert any("15% of the buds" in one for one in told["remarks"])
    surer = await plan(client, needed_by=on(400), confidence=0.95)
    assert surer["options"][0]["grafts"] > first["grafts"]
    assert surer["options"][0]["graft_by"] < first["graft_by"]


async def test_what_is_too_late_says_so_and_when_it_would_be_ready(
    client: httpx.AsyncClient,
) -> None:
    told = await plan(client, needed_by=on(310), sites=["CORIN", "VALE"], methods=["t_bud"])
    corin, vale = told["options"]
    assert (corin["graft_by"], vale["graft_by"]) == (on(4), None)
    assert (vale["grafts"], vale["ready_if_grafted_now"]) == (None, on(334))
    assert "too late" in vale["words"]


async def test_open_work_orders_have_their_buds_and_liners_first(
    client: httpx.AsyncClient,
) -> None:
    order = {
        "work_order": "W-1",
        "cultivar": "NAV",
        "rootstock": "CARR",
        "count": 20,
        "needed_by": on(10),
    }
    event = nursery.event("grafting.ordered", order, occurred=str(TODAY))
    assert (await client.post("/v1/events", json=event)).status_code == 201
    told = await plan(client, needed_by=on(400), sites=["CORIN"], methods=["t_bud"])
    assert told["options"][0]["liners_on_hand"] == 8


async def test_what_grows_already_is_told_beside_it(
    client: httpx.AsyncClient, database: Database
) -> None:
    first = TODAY - timedelta(days=1)
    item = ("NAV", "CARR", "C2")
    await tell_supplies(database.writer, item, first, {"CORIN": [50], "VALE": [20]})
    assert (await plan(client, needed_by=on(400)))["can_be_promised"] is None
    assert (await plan(client, needed_by=on(400), size="C2"))["can_be_promised"] == 64
    at_one = await plan(client, needed_by=on(400), size="C2", sites=["VALE"])
    assert at_one["can_be_promised"] == 14


async def test_what_a_bag_makes_by_method(client: httpx.AsyncClient) -> None:
    cut = {
        "lot": "BW-9",
        "cultivar": "NAV",
        "source_tree": "NAV-3",
        "bags": [{"bag": "B-9", "sticks": 12, "buds": 125, "place": "COOL-1"}],
    }
    event = nursery.event("budwood.cut", cut, occurred=str(TODAY))
    assert (await client.post("/v1/events", json=event)).status_code == 201
    asked = {"plan": "bag", "bag": "B-9", "confidence": 0.9, "buds_wasted": 0.2}
    answer = await client.post("/v1/plans", json=asked)
    assert answer.status_code == 200, answer.text
    one_bud, three = answer.json()["makings"]
    assert (one_bud["method"], one_bud["grafts"], one_bud["expected"]) == ("t_bud", 100, 80)
    assert one_bud["trees"] < 80
    assert (three["method"], three["buds_per_tree"], three["grafts"]) == ("cleft", 3, 33)
    assert "9 in 10 sure of" in one_bud["words"]


async def test_a_crop_that_nothing_is_foretold_of(client: httpx.AsyncClient) -> None:
    body = {"crop": "quince", "species": "Cydonia oblonga", "epithet": "Vranja"}
    assert (await client.put("/v1/cultivars/QUI", json=body)).status_code == 201
    told = await plan(client, cultivar="QUI", needed_by=on(400))
    assert (told["options"], told["made_at"]) == ([], None)
    assert "Nothing is foretold" in told["remarks"][0]


async def test_a_key_of_one_site_plans_there_alone(
    client: httpx.AsyncClient, client_for: MakeClient
) -> None:
    vale = await client_for("auditor", "VALE")
    told = await plan(vale, needed_by=on(400))
    assert {one["site"] for one in told["options"]} == {"VALE"}
    hidden = await vale.post("/v1/plans", json=WANTED | {"needed_by": on(9), "sites": ["CORIN"]})
    (mistake,) = hidden.json()["errors"]
    assert (mistake["pointer"], mistake["kind"]) == ("#/sites/0", "unknown_code")
    bag = await vale.post("/v1/plans", json={"plan": "bag", "bag": "B-1"})
    assert bag.json()["errors"][0]["kind"] == "unknown_code"


BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"needed_by": on(-3)}, "#/needed_by", "in_the_past"),
    ({"confidence": 0.3}, "#/confidence", "bad_value"),
    ({"confidence": 1}, "#/confidence", "bad_value"),
    ({"quantity": 0}, "#/quantity", "bad_value"),
    ({"cultivar": "NOPE"}, "#/cultivar", "unknown_code"),
    ({"methods": ["glue"]}, "#/methods/0", "bad_value"),
    ({"buds_wasted": 1}, "#/buds_wasted", "bad_value"),
    ({"trees": 4}, "#/trees", "unknown_field"),
    ({"plan": "wish"}, "#/plan", "bad_value"),
]


async def test_bad_plans(client: httpx.AsyncClient) -> None:
    for more, pointer, kind in BAD:
        answer = await client.post("/v1/plans", json=WANTED | {"needed_by": on(400)} | more)
        assert answer.status_code == 422, answer.text
        (mistake,) = answer.json()["errors"]
        assert (mistake["pointer"], mistake["kind"]) == (pointer, kind), mistake


async def test_a_bag_that_is_empty(client: httpx.AsyncClient) -> None:
    gone = {"cause": "dried", "lines": [{"bag": "B-1"}]}
    event = nursery.event("budwood.discarded", gone, occurred=str(TODAY))
    assert (await client.post("/v1/events", json=event)).status_code == 201
    answer = await client.post("/v1/plans", json={"plan": "bag", "bag": "B-1"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["kind"] == "nothing_there"

"""Work orders over HTTP: the list, one order with what fits, the list for a day, and the walls."""

from collections.abc import AsyncIterator
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest

from service.application import assemble, http
from service.log.append import Appender
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import MakeClient, listening
from tests.support.bench_side import entry, event

# Noon in Madrid; at TARNA (Auckland) it is the next day already.
NOW = datetime(2026, 3, 20, 11, 30, tzinfo=UTC)


@pytest.fixture
async def appender(database: Database) -> AsyncIterator[Appender]:
    writer = Appender(database, clock=lambda: NOW)
    await writer.start()
    yield writer
    await writer.stop()


@pytest.fixture
async def base_url(
    database: Database, settings: Settings, appender: Appender
) -> AsyncIterator[str]:
    app = http(settings)
    app.state.services = assemble(settings, database, appender, lambda: NOW)
    async with listening(app) as url:
        yield url


def cut(lot: str, day: str, cultivar: str = "NAVEL", **bags: int) -> Any:
    tree = {"NAVEL": "ST-1", "LIMA": "ST-3"}[cultivar]
    filled = [{"bag": bag, "buds": buds, "place": "C-BOX"} for bag, buds in bags.items()]
    return event("budwood.cut", day, lot=lot, cultivar=cultivar, source_tree=tree, bags=filled)


def liners(lot: str, day: str, **places: int) -> Any:
    return event(
        "liners.received",
        day,
        lot=lot,
        rootstock="CARRIZO",
        size="P9",
        supplier="sup-1",
        lines=[{"place": place.replace("_", "-"), "count": n} for place, n in places.items()],
    )


def order(code: str, count: int, needed_by: str, **more: Any) -> Any:
    parts = {"cultivar": "NAVEL", "rootstock": "CARRIZO"}
    return event(
        "grafting.ordered",
        "2026-03-16",
        work_order=code,
        count=count,
        needed_by=needed_by,
        **(parts | more),
    )


def graft(lot: str, day: str, bag: str, count: int, **more: Any) -> Any:
    parts = {
        "from_": [{"bag": bag}],
        "onto": {"liner_lot": "L1", "place": "C-T1"},
        "method": "t_bud",
        "place": "C-T1",
        "grafters": [{"person": "p-03", "count": count}],
    }
    return event("trees.grafted", day, lot=lot, **(parts | more))


NURSERY = [
    *(
        entry("site", code, code, name=code.title(), time_zone=zone, latitude=40, longitude=1)
        for code, zone in {"CORIN": "Europe/Madrid", "TARNA": "Pacific/Auckland"}.items()
    ),
    *(
        entry("place", place, site, site=site, structure="House 1")
        for place, site in {
            "C-BOX": "CORIN",
            "C-T1": "CORIN",
            "C-T2": "CORIN",
            "T-T1": "TARNA",
        }.items()
    ),
    entry("cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navelina"),
    entry("cultivar", "LIMA", crop="citrus", species="Citrus limon", epithet="Eureka"),
    entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
    entry("size", "P9", label="9 cm pot"),
    entry("source_tree", "ST-1", cultivar="NAVEL"),
    entry("source_tree", "ST-3", cultivar="LIMA"),
]
# Wood of citrus keeps 90 days (service.trade.keeping): B0 was past its day on 2 March.
STOCK = [
    cut("BW0", "2025-12-01", B0=30),
    cut("BW1", "2026-02-10", B1=12),
    cut("BW2", "2026-03-01", B2=40, B3=40),
    cut("BW9", "2026-03-01", "LIMA", B9=20),
    liners("L1", "2026-02-01", C_T1=15, C_T2=50),
    liners("L2", "2026-02-15", C_T2=100),
]


async def recorded(client: httpx.AsyncClient, *events: Any) -> list[Any]:
    response = await client.post("/v1/events", json=list(events))
    assert response.status_code in (200, 201), response.text
    verdicts: list[Any] = response.json()["verdicts"]
    return verdicts


@pytest.fixture
async def client(client_for: MakeClient) -> httpx.AsyncClient:
    client = await client_for("administrator")
    await recorded(client, *NURSERY)
    await recorded(client, *STOCK)
    return client


async def answered(client: httpx.AsyncClient, path: str) -> Any:
    response = await client.get(path)
    assert response.status_code == 200, response.text
    return response.json()


async def codes(client: httpx.AsyncClient, query: str = "") -> list[str]:
    return [one["code"] for one in (await answered(client, f"/v1/work-orders{query}"))["items"]]


async def test_orders_are_listed_by_day_and_state(client: httpx.AsyncClient) -> None:
    await recorded(
        client,
        order("W-LATE", 20, "2026-03-19"),
        order("W-TODAY", 20, "2026-03-20", grafters=["p-03"]),
        order("W-FULL", 3, "2026-03-25"),
        order("W-OVER", 5, "2026-03-18"),
        order("W-LIMA", 5, "2026-04-01", cultivar="LIMA", grafters=["p-05"]),
        graft("T1", "2026-03-17", "B1", 3, work_order="W-FULL"),
        event("grafting.order_ended", "2026-03-18", work_order="W-OVER", reason="cancelled"),
    )
    page = await answered(client, "/v1/work-orders?limit=1000")
    states = {one["code"]: one["state"] for one in page["items"]}
    assert list(states.items()) == [
        ("W-OVER", "ended"),
        ("W-LATE", "late"),
        ("W-TODAY", "open"),
        ("W-FULL", "filled"),
        ("W-LIMA", "open"),
    ]
    assert await codes(client, "?state=to_do") == ["W-LATE", "W-TODAY", "W-LIMA"]
    assert await codes(client, "?state=late") == ["W-LATE"]
    assert await codes(client, "?grafter=p-05&state=to_do") == ["W-LATE", "W-LIMA"]
    assert await codes(client, "?cultivar=LIMA") == ["W-LIMA"]
    assert await codes(client, "?needed_by=2026-03-20") == ["W-OVER", "W-LATE", "W-TODAY"]
    # page by page it is the same list
    walked, path = [], "/v1/work-orders?limit=2"
    while path:
        page = await answered(client, path)
        walked += [one["code"] for one in page["items"]]
        path = page["next"]
    assert walked == list(states)


async def test_late_goes_by_the_sites_own_day(client: httpx.AsyncClient) -> None:
    """At 11:30 UTC on 20 March it is 21 March, half past midnight, in Auckland (UTC+13)."""
    there = order("W-THERE", 5, "2026-03-20")
    await recorded(client, order("W-HERE", 5, "2026-03-20"), there | {"site": "TARNA"})
    items = (await answered(client, "/v1/work-orders"))["items"]
    assert {one["code"]: one["state"] for one in items} == {"W-HERE": "open", "W-THERE": "late"}


async def test_one_order_tells_its_progress_and_what_fits(client: httpx.AsyncClient) -> None:
    await recorded(client, order("W1", 40, "2026-03-25", method="t_bud", place="C-T2"))
    slip, _ = await recorded(
        client,
        graft("T1", "2026-03-17", "B1", 9),
        graft(
            "T2",
            "2026-03-18",
            "B2",
            6,
            grafters=[{"person": "p-03", "count": 2}, {"person": "p-05", "count": 4}],
        ),
    )
    void = event("event.voided", "2026-03-19", event=slip["id"], reason="7 it was")
    await recorded(client, void, graft("T1", "2026-03-17", "B1", 7, replaces=slip["id"]))
    found = await answered(client, "/v1/work-orders/W1")
    assert (found["order"]["done"], found["order"]["left"]) == (13, 27)
    assert found["by_lot"] == [{"name": "T1", "count": 7}, {"name": "T2", "count": 6}]
    assert found["by_grafter"] == [{"name": "p-03", "count": 9}, {"name": "p-05", "count": 4}]
    assert [(one["count"], one["voided"]) for one in found["graftings"]] == [
        (9, True),
        (7, False),
        (6, False),
    ]
    assert found["buds_needed"] == 27
    # the oldest that keeps first; what is past its day last, and not given out
    assert [
        (bag["bag"], bag["buds"], bag["take_for"], bag["past_use_by"]) for bag in found["bags"]
    ] == [("B1", 5, 5, False), ("B2", 34, 22, False), ("B3", 40, 0, False), ("B0", 30, 0, True)]
    assert found["bags"][0]["use_by"] == "2026-05-11"
    assert [(one["lot"], one["place"], one["take"]) for one in found["liners"]] == [
        ("L1", "C-T1", 2),
        ("L1", "C-T2", 25),
        ("L2", "C-T2", 0),
    ]
    assert (found["without_bag"], found["without_liners"]) == (0, 0)


async def test_what_a_grafting_by_the_piece_needs(client: httpx.AsyncClient) -> None:
    """A whip takes three buds a tree (service.trade.methods); a piece cut to two takes two."""
    pieces = event(
        "scions.prepared", "2026-03-15", bag="B3", into="B3P", pieces=10, buds_per_piece=2
    )
    await recorded(client, pieces, order("W1", 30, "2026-03-25", method="whip_and_tongue"))
    found = await answered(client, "/v1/work-orders/W1")
    trees = {bag["bag"]: (bag["buds_per_tree"], bag["trees"]) for bag in found["bags"]}
    assert trees == {"B1": (3, 4), "B2": (3, 13), "B3": (3, 6), "B3P": (2, 10), "B0": (3, 10)}
    assert (found["buds_per_tree"], found["buds_needed"]) == (3, 90)


async def test_what_is_held_never_fits(client: httpx.AsyncClient, client_for: MakeClient) -> None:
    def hold(code: str, target: str, held: str, **more: Any) -> Any:
        return event(
            "hold.placed",
            "2026-03-18",
            hold=code,
            kind="plant_health",
            target=target,
            code=held,
            reason="suspect leaves",
            **more,
        )

    pieces = event(
        "scions.prepared", "2026-03-15", bag="B3", into="B3P", pieces=10, buds_per_piece=2
    )
    await recorded(
        client,
        pieces,
        order("W1", 30, "2026-03-25"),
        hold("H1", "bag", "B3"),
        hold("H2", "lot", "L1"),
    )
    found = await answered(client, "/v1/work-orders/W1")
    # pieces cut from a held bag are held too
    assert [bag["bag"] for bag in found["bags"]] == ["B1", "B2", "B0"]
    assert {one["lot"] for one in found["liners"]} == {"L2"}
    # a hold on the source tree, placed at another site, blocks its wood here
    await recorded(client, hold("H3", "source_tree", "ST-1") | {"site": "TARNA"})
    of_corin = await client_for("auditor", "CORIN")
    for asker in (client, of_corin):
        found = await answered(asker, "/v1/work-orders/W1")
        assert (found["bags"], found["without_bag"]) == ([], 30)


async def test_a_list_for_the_day_gives_every_bud_out_once(client: httpx.AsyncClient) -> None:
    await recorded(
        client,
        order("W-A", 20, "2026-03-19", grafters=["p-03"], method="t_bud", customer="cust-1"),
        order("W-B", 70, "2026-03-22", grafters=["p-05"]),
        order("W-C", 10, "2026-03-23"),
        graft("T1", "2026-03-20", "B1", 4, work_order="W-A"),
    )
    listed = await answered(client, "/v1/grafting-list?site=CORIN")
    assert (listed["day"], listed["site_name"]) == ("2026-03-20", "Corin")
    first, second, third = listed["orders"]
    assert (first["order"]["state"], first["done_that_day"]) == ("late", 4)
    rows = [(r["bag"], r["liner_lot"], r["liner_place"], r["count"]) for r in first["rows"]]
    assert rows == [("B1", "L1", "C-T1", 8), ("B2", "L1", "C-T1", 3), ("B2", "L1", "C-T2", 5)]
    assert (first["rows"][0]["bag_place"], first["rows"][0]["place"]) == ("C-BOX", "C-T1")
    taken: dict[str, int] = {}
    for one in listed["orders"]:
        for row in one["rows"]:
            taken[row["bag"]] = taken.get(row["bag"], 0) + row["count"]
    # 86 + 10 are wanted and 88 buds are left that keep
    assert taken == {"B1": 8, "B2": 40, "B3": 40, None: 8}
    assert (second["without_bag"], third["without_bag"]) == (0, 8)
    mine = await answered(client, "/v1/grafting-list?site=CORIN&grafter=p-05")
    assert [one["order"]["code"] for one in mine["orders"]] == ["W-B", "W-C"]
    # the other grafter's bags stay theirs
    assert mine["orders"][0]["rows"] == second["rows"]
    assert mine["orders"][0]["done_that_day"] == 0
    later = await answered(client, "/v1/grafting-list?site=CORIN&day=2026-06-15")
    # by then all of the wood is past its day
    assert {row["bag"] for one in later["orders"] for row in one["rows"]} == {None}


async def test_an_answer_is_fresh_until_something_is_recorded(client: httpx.AsyncClient) -> None:
    await recorded(client, order("W1", 5, "2026-03-25"))
    first = await client.get("/v1/work-orders/W1")
    known = {"If-None-Match": first.headers["etag"]}
    assert (await client.get("/v1/work-orders/W1", headers=known)).status_code == 304
    gone = event("budwood.discarded", "2026-03-20", lines=[{"bag": "B1"}], cause="dried")
    await recorded(client, gone)
    again = await client.get("/v1/work-orders/W1", headers=known)
    assert again.status_code == 200
    assert "B1" not in [bag["bag"] for bag in again.json()["bags"]]


async def test_another_sites_key_sees_nothing_of_it(
    client: httpx.AsyncClient, client_for: MakeClient
) -> None:
    await recorded(client, order("W1", 5, "2026-03-25"))
    other = await client_for("site-manager", "TARNA")
    assert (await other.get("/v1/work-orders/W1")).status_code == 404
    assert (await answered(other, "/v1/work-orders"))["items"] == []
    for path in (
        "/v1/work-orders?site=CORIN",
        "/v1/grafting-list?site=CORIN",
        "/v1/day-sheet?site=CORIN",
        "/v1/day-sheet.csv?site=CORIN",
        "/v1/count-sheet?place=C-T1",
        "/v1/count-sheet.csv?place=C-T1",
    ):
        refused = await other.get(path)
        assert refused.status_code == 422, path
        assert refused.json()["errors"][0]["kind"] == "unknown_code"


async def test_ordering_needs_its_scope(client: httpx.AsyncClient, client_for: MakeClient) -> None:
    grafter = await client_for("recorder", "CORIN")
    refused = await grafter.post("/v1/events", json=order("W1", 5, "2026-03-25"))
    assert refused.status_code == 403
    manager = await client_for("site-manager", "CORIN")
    response = await manager.post("/v1/events", json=order("W1", 5, "2026-03-25"))
    assert response.status_code == 201
    # what is grafted for it may be told by whoever grafts
    told = await grafter.post("/v1/events", json=graft("T1", "2026-03-18", "B1", 2))
    assert told.status_code == 201
    found = await answered(grafter, "/v1/work-orders/W1")
    assert found["order"]["done"] == 2

"""Filters that can match nothing are refused; a lot's figures add up; a trace is of one moment."""

from typing import Any

import pytest

from service.api.problems import MEANING_KINDS
from service.storage.pool import Database
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import event, fill
from tests.api.test_problems import checked


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for()
    await fill(client)
    return client


MATCH_NOTHING = [
    ("events?type=trees.grafed", "type", "bad_value"),
    ("events?lot=NOSUCH", "lot", "unknown_code"),
    ("alerts?kind=overdue_chek", "kind", "bad_value"),
    ("alerts?place=NOSUCH", "place", "unknown_code"),
    ("holds?kind=plant-health", "kind", "bad_value"),
    ("checks?check=loook", "check", "unknown_code"),
    ("checks?site=NOSUCH", "site", "unknown_code"),
    ("stock?cultivar=NOSUCH", "cultivar", "unknown_code"),
    ("stock/by-day?first=2026-03-01&last=2026-03-02&size=NOSUCH", "size", "unknown_code"),
    ("budwood?bag=NOSUCH", "bag", "unknown_code"),
    ("ready-dates?rootstock=NOSUCH", "rootstock", "unknown_code"),
    ("ready-counts?site=NOSUCH", "site", "unknown_code"),
    ("learned?crop=citris", "crop", "unknown_code"),
    ("push-curves?crop=citris", "crop", "unknown_code"),
    ("take-rates?crop=citris", "crop", "unknown_code"),
    ("take-rates?site=NOSUCH", "site", "unknown_code"),
    ("tree-lots?site=NOSUCH", "site", "unknown_code"),
    ("stock?grade=nosuch", "grade", "unknown_code"),
    ("stock/by-day?first=2026-03-01&last=2026-03-02&grade=nosuch", "grade", "unknown_code"),
    ("growth?outcome=ready&grade=nosuch", "grade", "unknown_code"),
    ("ready-counts?grade=nosuch", "grade", "unknown_code"),
]


async def test_a_filter_that_can_match_nothing_is_refused(admin: Client) -> None:
    for address, parameter, kind in MATCH_NOTHING:
        response = await admin.get(f"/v1/{address}")
        (mistake,) = checked(response, 422, "validation-error")["errors"]
        assert (mistake["parameter"], mistake["kind"]) == (parameter, kind), address
        named = "nosuch" in address.lower()
        assert ("nosuch" if named else "did you mean") in mistake["detail"].lower(), address


MEANS_NOTHING = [
    ("stock/by-day?first=2026-03-02&last=2026-03-01", "last", "not_together"),
    ("take-rates?by=grafter&crop=citrus", "crop", "not_together"),
    ("take-rates?by=site&site=CORIN", "site", "not_together"),
    ("tree-lots?as_of=2190-01-01", "as_of", "in_the_future"),
    ("stock?as_of=2190-01-01T00:00:00Z", "as_of", "in_the_future"),
    ("checks?as_of=2026-02-30", "as_of", "not_a_day"),
    ("tree-lots/T-1?known_at=2026-02-30T00:00:00Z", "known_at", "not_a_day"),
    ("ready-counts?by=2020-01-01", "by", "in_the_past"),
    ("ready-counts?by=2190-01-01", "by", "in_the_future"),
    ("budwood?cursor=zzz", "cursor", "no_cursor"),
    ("contacts?cursor=zzz", "cursor", "no_cursor"),
    ("take?cursor=zzz", "cursor", "no_cursor"),
]


async def test_what_is_well_formed_and_means_nothing_says_so_by_its_kind(admin: Client) -> None:
    for address, parameter, kind in MEANS_NOTHING:
        (mistake,) = checked(await admin.get(f"/v1/{address}"), 422, "validation-error")["errors"]
        assert (mistake["parameter"], mistake["kind"]) == (parameter, kind), address
        assert kind in MEANING_KINDS


async def test_temperatures_that_cannot_be_say_why_by_their_kind(admin: Client) -> None:
    day = {"day": "2026-03-06", "min_c": 8.0, "max_c": 21.0}
    days = [day, day, {**day, "day": "2190-01-01"}, {**day, "day": "2026-03-07", "min_c": 30.0}]
    days.append({**day, "day": "1800-01-01"})
    body = {"source": "logger 3", "days": days}
    answer = await admin.put("/v1/sites/CORIN/temperatures", json=body)
    mistakes = checked(answer, 422, "validation-error")["errors"]
    assert [(one["pointer"], one["kind"]) for one in mistakes] == [
        ("#/days/1/day", "not_together"),
        ("#/days/2/day", "in_the_future"),
        ("#/days/3", "not_together"),
        ("#/days/4/day", "not_a_day"),
    ]


async def test_a_filter_that_matches_nothing_today_is_an_empty_list(admin: Client) -> None:
    for address in (
        "alerts?site=VALE&kind=breach",
        "checks?check=look&place=V1",
        "checks?check=push_walk&lot=T-1",
        "events?type=trees.sold&lot=T-1",
        "budwood?bag=B-1&site=VALE",
        "to-put-right?site=NEVER-WAS",
    ):
        response = await admin.get(f"/v1/{address}")
        assert (response.status_code, response.json()["items"]) == (200, []), address


async def test_what_is_to_be_asked_for_again_can_be_spared(admin: Client) -> None:
    for address in (
        "tree-lots/T-1/lineage",
        "sheets/grafting",
        "stock",
        "checks",
        "places",
        "take",
    ):
        first = await admin.get(f"/v1/{address}")
        assert first.headers["cache-control"] == "private, no-cache", address
        tag = {"If-None-Match": first.headers["etag"]}
        again = await admin.get(f"/v1/{address}", headers=tag)
        assert (again.status_code, again.content) == (304, b""), address
        assert again.headers["etag"] == first.headers["etag"]


async def test_another_sites_codes_are_as_unknown_as_any(
    admin: Client, client_for: MakeClient
) -> None:
    vale = await client_for("auditor", "VALE")
    for filters in ("site=CORIN", "place=H2-T04", "lot=T-1"):
        checked(await vale.get(f"/v1/stock?{filters}"), 422, "validation-error")
    assert (await vale.get("/v1/stock?site=VALE&cultivar=NAV")).status_code == 200


async def test_a_catalogues_own_check_is_known(admin: Client) -> None:
    checked(await admin.get("/v1/checks?check=pinch"), 422, "validation-error")
    plan = {
        "check": "pinch",
        "after": "grafted",
        "due_days": 10,
        "overdue_days": 15,
        "done_by": ["tops.removed"],
        "source": "our own",
    }
    made = await admin.put("/v1/check-plans/PINCH", json=plan)
    assert made.status_code == 201, made.text
    assert (await admin.get("/v1/checks?check=pinch")).status_code == 200


@pytest.mark.parametrize(("counted", "variance"), [(10, 2), (15, -3)])
async def test_a_lot_adds_up(admin: Client, counted: int, variance: int) -> None:
    """12 were grafted: fewer or more are found, some are lost."""
    line = {"lot": "T-1", "place": "H2-T04", "counted": counted}
    lost = {"lot": "T-1", "place": "H2-T04", "count": 3, "cause": "frost"}
    for one in (
        event("stock.counted", {"lines": [line], "reason": "stocktaking"}, occurred="2026-03-12"),
        event("trees.lost", lost, occurred="2026-03-14"),
    ):
        sent = await admin.post("/v1/events", json=one)
        assert sent.status_code == 201, sent.text
    lot: dict[str, Any] = (await admin.get("/v1/tree-lots/T-1")).json()
    gone = {one["kind"]: one["count"] for one in lot["gone"]}
    assert gone == {"lost": 3, "variance": variance}
    standing = sum(one["count"] for one in lot["places"])
    assert standing + sum(one["count"] for one in lot["travelling"]) + sum(gone.values()) == 12


async def test_a_trace_is_whole_before_its_view_has_begun(
    admin: Client, database: Database
) -> None:
    """Nothing keeps the views here: the books alone tell the steps, up to the newest event."""
    assert await database.writer.fetchval("SELECT count(*) FROM lineage") == 0
    back = (await admin.get("/v1/tree-lots/T-1/lineage")).json()
    assert back["position"] == await database.writer.fetchval("SELECT position FROM log_head")
    assert {one["code"] for one in back["steps"]} == {"T-1", "B-1", "BW-1", "L-1", "NAV-3"}
    assert [one["quantity"] for one in back["steps"][0]["whereabouts"]] == [12]
    forward = (await admin.get("/v1/source-trees/NAV-3/lineage")).json()
    assert {one["code"] for one in forward["steps"]} == {"NAV-3", "BW-1", "B-1", "T-1"}
    for other in ("liner-lots/T-1", "tree-lots/B-1", "budwood-lots/B-1"):
        checked(await admin.get(f"/v1/{other}/lineage"), 404, "not-found")

"""A sheet is printed, filled in, typed back, and what it says is in the books."""

import csv
import io
from collections.abc import Callable
from typing import Any

import httpx

from tests.api.conftest import MakeClient
from tests.api.test_work_orders import (
    answered,
    appender,
    base_url,
    client,
    graft,
    order,
    recorded,
)
from tests.support.bench_side import event

__all__ = ["appender", "base_url", "client"]


async def filled(
    client: httpx.AsyncClient, path: str, fill: Callable[[dict[str, str]], dict[str, str]]
) -> str:
    """A sheet's CSV with what `fill` says written into its rows."""
    response = await client.get(path)
    assert response.status_code == 200, response.text
    assert response.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(response.text, newline="")))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(row | fill(row) for row in rows)
    return out.getvalue()


async def typed_back(client: httpx.AsyncClient, sheet: str, text: str) -> Any:
    headers = {"Content-Type": "text/csv"}
    response = await client.post(f"/v1/sheets/{sheet}", content=text, headers=headers)
    assert response.status_code in (200, 201), response.text
    return response.json()


async def test_a_day_sheet_comes_back_as_graftings_of_its_orders(
    client: httpx.AsyncClient,
) -> None:
    await recorded(
        client,
        order("W-A", 20, "2026-03-19", grafters=["p-03"], method="t_bud", customer="cust-1"),
        order("W-B", 40, "2026-03-22", method="chip_bud", place="C-T2"),
    )
    listed = await answered(client, "/v1/grafting-list?site=CORIN")
    planned = [row for one in listed["orders"] for row in one["rows"]]
    hands = iter(["p-05", "p-07"] * 10)

    def fill(row: dict[str, str]) -> dict[str, str]:
        if row["work_order"] == "W-A":
            plan = next(
                r
                for r in planned
                if r["bag"] == row["bag"] and r["liner_place"] == row["liner_place"]
            )
            return {"grafter": "p-03", "count": str(plan["count"])}
        # of W-B only one row was worked on, by two
        first = row["bag"] == "B2" and row["liner_lot"] == "L1"
        return {"grafter": next(hands), "count": "4"} if first else {}

    text = await filled(client, "/v1/day-sheet.csv?site=CORIN&sheet=17", fill)
    report = await typed_back(client, "grafting", text)
    became = {line["became"] for line in report["lines"]}
    assert became == {"recorded", "skipped"}
    first = await answered(client, "/v1/work-orders/W-A")
    assert (first["order"]["done"], first["order"]["state"]) == (20, "filled")
    assert first["by_grafter"] == [{"name": "p-03", "count": 20}]
    second = await answered(client, "/v1/work-orders/W-B")
    assert second["by_grafter"] == [{"name": "p-05", "count": 4}, {"name": "p-07", "count": 4}]
    assert second["order"]["left"] == 32
    lots = [one["name"] for one in first["by_lot"]]
    lot = await answered(client, f"/v1/tree-lots/{lots[0]}")
    assert lot["lot"]["grown_for"] == "cust-1"
    # typed in twice it is known, and nothing counts double
    again = await typed_back(client, "grafting", text)
    assert {line["became"] for line in again["lines"]} == {"known", "skipped"}
    assert (await answered(client, "/v1/work-orders/W-A"))["order"]["done"] == 20


async def test_an_empty_day_sheet_records_nothing(client: httpx.AsyncClient) -> None:
    await recorded(client, order("W-A", 20, "2026-03-22"))
    text = await filled(client, "/v1/day-sheet.csv?site=CORIN", lambda row: {})
    report = await typed_back(client, "grafting", text)
    assert {line["became"] for line in report["lines"]} == {"skipped"}


async def test_count_sheets_come_back_as_counts(client: httpx.AsyncClient) -> None:
    await recorded(
        client,
        graft("T1", "2026-03-01", "B2", 10),
        event("push.counted", "2026-03-18", lot="T1", pushed=2, waiting=8),
    )
    push = await filled(
        client,
        "/v1/count-sheet.csv?place=C-T1&count=push",
        lambda row: {"pushed": "5", "waiting": "3", "failed": "1", "removed": "1",
                     "cause": "dead_stock"},
    )  # fmt: skip
    assert {line["became"] for line in (await typed_back(client, "counts", push))["lines"]} == {
        "recorded"
    }
    found = await answered(client, "/v1/tree-lots/T1")
    stages = {place["stage"]: place["count"] for place in found["places"]}
    assert stages == {"pushed": 5, "grafted": 3, "failed": 1}
    # then all that stands there, stage by stage: one fewer of each, and the liners as they are
    book = {("T1", "pushed"): 4, ("T1", "grafted"): 2, ("T1", "failed"): 0, ("L1", ""): 5}
    stock = await filled(
        client,
        "/v1/count-sheet.csv?place=C-T1",
        lambda row: {"counted": str(book[row["lot"], row["stage"]]), "reason": "month's end"},
    )
    await typed_back(client, "counts", stock)
    found = await answered(client, "/v1/tree-lots/T1")
    stages = {place["stage"]: place["count"] for place in found["places"]}
    assert stages == {"pushed": 4, "grafted": 2}
    box = await filled(
        client,
        "/v1/count-sheet.csv?place=C-BOX",
        lambda row: {"counted": "7", "reason": "look"} if row["bag"] == "B1" else {},
    )
    report = await typed_back(client, "counts", box)
    assert [line["became"] for line in report["lines"]].count("recorded") == 1
    lot = await answered(client, "/v1/budwood-lots/BW1")
    assert [bag["left"] for bag in lot["bags"]] == [7]


async def test_pages_need_nothing_but_themselves(client: httpx.AsyncClient) -> None:
    await recorded(client, order("W-A", 20, "2026-03-22", note="<script>alert(1)</script>"))
    for path in (
        "/v1/day-sheet?site=CORIN",
        "/v1/day-sheet?site=CORIN&grafter=p-03&paper=letter",
        "/v1/count-sheet?place=C-T1&count=push&book=true",
        "/v1/count-sheet?place=C-BOX",
    ):
        response = await client.get(path)
        assert response.status_code == 200
        assert response.headers["content-type"] == "text/html; charset=utf-8"
        policy = response.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; style-src 'sha256-")
        assert "<script" not in response.text


async def test_what_can_not_be_printed_is_told(
    client: httpx.AsyncClient, client_for: MakeClient
) -> None:
    for path in (
        "/v1/count-sheet?place=NOPE",
        "/v1/day-sheet?site=NOPE",
        "/v1/day-sheet",
        "/v1/day-sheet?site=CORIN&paper=a3",
        "/v1/day-sheet?site=CORIN&sheet=%3Cb%3E",
        "/v1/day-sheet?site=CORIN&day=2026-02-30",
        "/v1/count-sheet.csv?place=C-T1&book=true",
    ):
        assert (await client.get(path)).status_code == 422, path
    nobody = await client_for(None)
    assert (await nobody.get("/v1/day-sheet?site=CORIN")).status_code == 401

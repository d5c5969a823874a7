"""Take compared and curves of the push over HTTP: words, ranks, walls, pages and bad questions."""

from typing import Any

import httpx
import msgspec
import pytest

from service.clock import system_clock
from service.forecast.refresh import refresh
from service.forecast.shapes import Curve, Foretold, Known, Rate
from service.jobs.every_view import every_view
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api import nursery
from tests.api.conftest import MakeClient
from tests.api.test_problems import checked
from tests.support import foretelling


def rate(level: str, hits: int, n: int, rank: int, *, site: str = "", **more: Any) -> Rate:
    """A row of a comparison; adjusted as it is plainly."""
    share = hits / n
    return Rate(
        **{
            "measure": "take",
            "site": site,
            "factor": "method",
            "level": level,
            "crop": "citrus",
            "hits": hits,
            "n": n,
            "lots": 4,
            "low": share - 0.05,
            "high": share + 0.05,
            "adjusted": share,
            "adjusted_low": share - 0.02,
            "adjusted_high": share + 0.02,
            "rank": rank,
            **more,
        }
    )


RATES = [
    rate("t_bud", 1080, 1200, 1),
    rate("chip_bud", 160, 200, 2),
    rate("splice", 9, 10, 0, lots=1),
    rate("t_bud", 540, 600, 0, site="CORIN"),
    rate("t_bud", 570, 600, 0, site="CORIN", measure="survival"),
    rate("t_bud", 540, 600, 0, site="VALE"),
    rate("p-07", 360, 400, 0, factor="grafter", crop="", site="CORIN"),
]


def curve(method: str, since: str, **more: Any) -> Curve:
    """Half have pushed by 300 Cd, nine in ten in the end."""
    told = {
        "crop": "citrus",
        "counting": "single_sine",
        "degree_days": [200.0, 300.0, 500.0],
        "share": [0.25, 0.5, 0.9],
        "fitted": [0.2, 0.53, 0.91],
        "trees": 1240,
        "lots": 52,
        "pushed": 1100,
        "failed": 30,
        "lost": 10,
    }
    return Curve(method=method, since=since, **{**told, **more})


CURVES = [
    curve("t_bud", "forcing", fitted=[]),
    curve("chip_bud", "grafting", share=[0.1, 0.2, 0.4], failed=0, lost=0),
    curve("t_bud", "grafting", counting="hourly_sum", lots=1),
    curve("t_bud", "grafting"),
]


async def foretold(known: Known) -> Foretold:
    """In no order, as the numerics may tell them."""
    return msgspec.structs.replace(foretelling.forecast(known), rates=RATES, curves=CURVES)


@pytest.fixture
async def admin(client_for: MakeClient, database: Database) -> httpx.AsyncClient:
    client = await client_for()
    await nursery.fill(client)
    await Runner(database, every_view()).catch_up()
    await refresh(database, system_clock, forecast=foretold)
    return client


async def items(client: httpx.AsyncClient, path: str) -> list[dict[str, Any]]:
    """All pages of a list, two to a page."""
    found: list[dict[str, Any]] = []
    following: str | None = f"/v1/{path}{'&' if '?' in path else '?'}limit=2"
    while following:
        answer = await client.get(following)
        assert answer.status_code == 200, answer.text
        page = answer.json()
        assert page["position"] > 0
        found += page["items"]
        following = page.get("next")
    return found


async def test_methods_are_compared_in_words_with_their_width(admin: httpx.AsyncClient) -> None:
    by = {row["level"]: row for row in await items(admin, "take-rates?crop=citrus&measure=take")
          if row["site"] is None}  # fmt: skip
    assert list(by) == ["chip_bud", "splice", "t_bud"]
    assert by["t_bud"]["words"] == (
        "1,080 of 1,200 grafts took, in 4 lots. With all else equal 90 in 100: an estimate, "
        "8 in 10 sure 88 to 92."
    )
    assert "9 of 10 grafts took, in 1 lot." in by["splice"]["words"]
    assert [row["rank"] for row in by.values()] == [2, None, 1]
    assert (by["t_bud"]["by"], by["t_bud"]["share"]) == ("method", 0.9)
    assert {row["caution"] for row in by.values()} == {None}


async def test_rates_come_by_measure_then_site_then_level(admin: httpx.AsyncClient) -> None:
    rows = await items(admin, "take-rates")
    assert [(row["measure"], row["site"], row["level"]) for row in rows] == [
        ("survival", "CORIN", "t_bud"),
        ("take", None, "chip_bud"),
        ("take", None, "splice"),
        ("take", None, "t_bud"),
        ("take", "CORIN", "t_bud"),
        ("take", "VALE", "t_bud"),
    ]
    assert "570 of 600 pushed trees became ready" in rows[0]["words"]
    assert [row["site"] for row in await items(admin, "take-rates?site=VALE")] == ["VALE"]
    assert await items(admin, "take-rates?by=month") == []


async def test_what_took_of_a_persons_grafts_is_not_everybodys(
    admin: httpx.AsyncClient, client_for: MakeClient
) -> None:
    (row,) = await items(admin, "take-rates?by=grafter")
    assert (row["level"], row["crop"], row["rank"]) == ("p-07", None, None)
    assert "different wood, rootstocks and days" in row["caution"]
    bench = await client_for("recorder")
    assert len(await items(bench, "take-rates")) == 6
    refused = checked(await bench.get("/v1/take-rates?by=grafter"), 403, "insufficient-scope")
    assert refused["scope"] == "grafters:read"


async def test_a_key_of_one_site_sees_its_rates_and_all_curves(
    admin: httpx.AsyncClient, client_for: MakeClient
) -> None:
    vale = await client_for("administrator", "VALE")
    assert [row["site"] for row in await items(vale, "take-rates")] == ["VALE"]
    assert await items(vale, "take-rates?by=grafter") == []
    assert await items(vale, "push-curves") == await items(admin, "push-curves")
    nowhere = await vale.get("/v1/take-rates?site=CORIN")
    assert checked(nowhere, 422, "validation-error")["errors"][0]["kind"] == "unknown_code"


async def test_curves_as_counted_beside_the_fit(admin: httpx.AsyncClient) -> None:
    rows = await items(admin, "push-curves")
    assert [(row["method"], row["since"], row["counting"]) for row in rows] == [
        ("chip_bud", "grafting", "single_sine"),
        ("t_bud", "forcing", "single_sine"),
        ("t_bud", "grafting", "hourly_sum"),
        ("t_bud", "grafting", "single_sine"),
    ]
    chip, forced, _, usual = rows
    assert usual["words"] == (
        "An estimate: half of the grafts had pushed by 300 Cd, 90 in 100 by 500 Cd after grafting. "
        "The fit is off by 5 in 100 at most. Counted on 1,240 trees in 52 lots; 1,100 of them had "
        "pushed when last seen. Others, 40 in all, failed or were lost first."
    )
    assert usual["points"][1] == {"degree_days": 300.0, "share": 0.5, "fitted": 0.53}
    assert chip["words"].startswith(
        "An estimate: not half of the grafts had pushed, 40 in 100 by 500 Cd after grafting."
    )
    assert chip["words"].endswith("52 lots; 1,100 of them had pushed when last seen.")
    assert [point["fitted"] for point in forced["points"]] == [None, None, None]
    assert "after forcing. Counted on" in forced["words"]


async def test_curves_by_filter(admin: httpx.AsyncClient) -> None:
    for query, count in (
        ("crop=citrus", 4),
        ("method=t_bud", 3),
        ("since=forcing", 1),
        ("since=grafting&method=chip_bud", 1),
        ("method=cleft", 0),
    ):
        assert len(await items(admin, f"push-curves?{query}")) == count, query


async def test_bad_questions_are_told_what_is_wrong(client_for: MakeClient) -> None:
    client = await client_for()
    for address, parameter in (
        ("take-rates?by=person", "by"),
        ("take-rates?measure=push", "measure"),
        ("take-rates?site=", "site"),
        ("take-rates?limit=0", "limit"),
        ("push-curves?since=unwrapping", "since"),
        ("push-curves?method=glue", "method"),
        ("push-curves?crop=%00", "crop"),
        ("push-curves?cursor=zzz", "cursor"),
        # a cursor of another list
        ("push-curves?cursor=WyIyMDI2LTEwLTE3IiwiQy1HMDY2IiwiQ09SSU4iXQ", "cursor"),
        ("push-curves?site=CORIN", "site"),
    ):
        answer = await client.get(f"/v1/{address}")
        assert answer.status_code in (400, 422), address
        problem = checked(answer, answer.status_code, "validation-error")
        assert problem["errors"][0]["parameter"] == parameter, address

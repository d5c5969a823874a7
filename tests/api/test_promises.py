"""What can be promised, over HTTP: figures, words, walls and bad questions."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import httpx
import pytest

from service.storage.pool import Database
from tests.api import nursery
from tests.api.conftest import MakeClient
from tests.support.foretold import tell_supplies, tell_supply

ITEM = ("NAV", "CARR", "C2")
ASKED = {"cultivar": "NAV", "rootstock": "CARR", "size": "C2"}
TODAY = datetime.now(UTC).date()
FIRST = TODAY - timedelta(days=1)


def on(days: int) -> str:
    return str(TODAY + timedelta(days=days))


@pytest.fixture
async def client(client_for: MakeClient, database: Database) -> httpx.AsyncClient:
    client = await client_for()
    await nursery.fill(client)
    return client


async def ask(client: httpx.AsyncClient, **more: Any) -> list[dict[str, Any]]:
    answer = await client.get("/v1/promises", params=ASKED | more)
    assert answer.status_code == 200, answer.text
    items: list[dict[str, Any]] = answer.json()["items"]
    return items


async def reserve(client: httpx.AsyncClient, code: str, count: int, **more: Any) -> None:
    data = {"reservation": code, "customer": "c-1", "lines": [ASKED | {"count": count}]}
    event = nursery.event("reservation.made", data | more, occurred=str(TODAY))
    answer = await client.post("/v1/events", json=event)
    assert answer.status_code == 201, answer.text


async def test_what_is_there_less_what_is_promised(
    client: httpx.AsyncClient, database: Database
) -> None:
    # given 50 as likely as not from tomorrow's week on, 90 four weeks later
    middles = [50, 50, 50, 50, 90]
    await tell_supplies(database.writer, ITEM, FIRST, {"CORIN": middles, "VALE": [20] * 5})
    await reserve(client, "R-1", 10, needed_by=on(3))
    await reserve(client, "R-2", 30, needed_by=on(40))
    # when somebody asks for a day before and one after more is ready
    (soon,) = await ask(client, site="CORIN", date=on(7))
    (later,) = await ask(client, site="CORIN", date=on(30), quantity=50)
    # then 8 in 10 sure is six fewer, and what is due by the worst later day is off
    assert (soon["can_be_promised"], soon["promised_by"], soon["promised"]) == (34, 10, 40)
    assert (later["can_be_promised"], later["earliest"], later["enough"]) == (44, None, False)
    assert [one["can_be_promised"] for one in later["others"]] == [50, 42, 40]
    assert soon["words"].startswith(
        "8 in 10 sure: 34 of NAV on CARR, C2 at CORIN can be promised for "
    )
    assert "estimate" in soon["words"]
    assert any("12 of the cultivar on the rootstock still grow" in one for one in soon["reasons"])
    (sure,) = await ask(client, site="CORIN", date=on(30), confidence=0.9, quantity=42)
    assert (sure["sure"], sure["can_be_promised"], sure["enough"]) == ("9 in 10 sure", 42, True)
    assert sure["earliest"] == on(27)


async def test_a_promise_at_a_site_must_be_there_among_all_sites_too(
    client: httpx.AsyncClient, database: Database
) -> None:
    await tell_supplies(database.writer, ITEM, FIRST, {"CORIN": [50], "VALE": [20]})
    await reserve(client, "R-1", 40, needed_by=on(3), any_site=True)
    together, corin, vale = await ask(client, date=on(7))
    assert [one["site"] for one in (together, corin, vale)] == [None, "CORIN", "VALE"]
    assert [one["can_be_promised"] for one in (together, corin, vale)] == [24, 24, 14]


async def test_the_writer_refuses_one_more_than_was_told(
    client: httpx.AsyncClient, database: Database
) -> None:
    await tell_supplies(database.writer, ITEM, FIRST, {"CORIN": [50, 80], "VALE": [20, 20]})
    await reserve(client, "R-1", 11, needed_by=on(9))
    (told,) = await ask(client, site="CORIN", date=on(2))
    most = told["can_be_promised"]
    event = nursery.event(
        "reservation.made",
        {
            "customer": "c-1",
            "lines": [ASKED | {"count": most + 1}],
            "needed_by": on(2),
        },
        occurred=str(TODAY),
    )
    assert (await client.post("/v1/events", json=event)).status_code == 409
    await reserve(client, "R-2", most, needed_by=on(2))
    (left,) = await ask(client, site="CORIN", date=on(2))
    assert left["can_be_promised"] == 0


async def test_without_a_forecast_only_what_is_ready_counts_and_that_is_said(
    client: httpx.AsyncClient,
) -> None:
    (told,) = await ask(client, site="CORIN", date=on(100))
    assert (told["can_be_promised"], told["basis"]["foretold_at"]) == (0, None)
    assert any("Nothing is foretold" in one for one in told["reasons"])
    for outcomes in ({"count": 8, "stage": "ready"},):
        pushed = {"lot": "T-1", "place": "H2-T04", "pushed": 12}
        graded = {"lot": "T-1", "place": "H2-T04", "stage": "pushed", "outcomes": [outcomes]}
        sent = [
            nursery.event("push.counted", pushed, occurred="2026-04-20"),
            nursery.event("trees.graded", graded, occurred="2026-05-20"),
        ]
        assert (await client.post("/v1/events", json=sent)).status_code == 201
    (told,) = await ask(client, site="CORIN")
    assert (told["can_be_promised"], told["ready_now"], told["growing"]) == (8, 8, 4)
    held = {"kind": "quality", "target": "lot", "code": "T-1", "reason": "scale on leaves"}
    event = nursery.event("hold.placed", held, occurred="2026-05-21")
    assert (await client.post("/v1/events", json=event)).status_code == 201
    (told,) = await ask(client, site="CORIN")
    assert (told["can_be_promised"], told["ready_now"], told["held_now"]) == (0, 0, 8)


async def test_a_risk_that_what_is_promised_falls_short(
    client: httpx.AsyncClient, database: Database
) -> None:
    await tell_supply(database.writer, ITEM, "CORIN", FIRST, [50])
    await tell_supply(database.writer, ITEM, "", FIRST, [500])
    await reserve(client, "R-1", 44, needed_by=on(5))
    (told,) = await ask(client, site="CORIN")
    # 44 are there 8 in 10 sure.
    assert told["risk"] == {"probability": 0.2, "day": on(5), "promised": 44, "short_by": 0}
    assert any(one.startswith("About 20 in 100 that the 44 promised") for one in told["reasons"])
    (surer,) = await ask(client, site="CORIN", confidence=0.95)
    assert surer["risk"]["short_by"] == 4


async def test_somebodys_word_stands_in_place_of_the_forecast_and_is_shown_as_such(
    client: httpx.AsyncClient, database: Database
) -> None:
    await tell_supplies(database.writer, ITEM, FIRST, {"CORIN": [50], "VALE": [20]})
    said = ASKED | {
        "override": "O-1",
        "quantity": 200,
        "from": str(TODAY),
        "until": on(20),
        "reason": "a neighbour sells us theirs",
    }
    event = nursery.event("promise.overridden", said, occurred=str(TODAY))
    answer = await client.post("/v1/events", json=event)
    assert answer.status_code == 201, answer.text
    (told,) = await ask(client, site="CORIN", date=on(7))
    assert (told["can_be_promised"], told["override"]["override"]) == (200, "O-1")
    assert "somebody's word" in told["words"]
    assert "a neighbour sells us theirs" in told["words"]
    (after,) = await ask(client, site="CORIN", date=on(21))
    assert (after["can_be_promised"], after["override"]) == (44, None)


async def test_a_key_of_one_site_is_told_of_that_site_alone(
    client: httpx.AsyncClient, client_for: MakeClient, database: Database
) -> None:
    await tell_supplies(database.writer, ITEM, FIRST, {"CORIN": [50], "VALE": [20]})
    await reserve(client, "R-1", 40, needed_by=on(3), any_site=True)
    vale = await client_for("sales", "VALE")
    (told,) = await ask(vale, date=on(7))
    assert (told["site"], told["can_be_promised"]) == ("VALE", 14)
    assert any("other sites" in one for one in told["reasons"])
    hidden = await vale.get("/v1/promises", params=ASKED | {"site": "CORIN"})
    assert hidden.json()["errors"][0]["kind"] == "unknown_code"


BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"date": str(TODAY - timedelta(days=3))}, "date", "in_the_past"),
    ({"date": "2026-02-30"}, "date", "bad_value"),
    ({"confidence": "0.3"}, "confidence", "bad_value"),
    ({"confidence": "0.995"}, "confidence", "bad_value"),
    ({"confidence": "nan"}, "confidence", "bad_value"),
    ({"quantity": "0"}, "quantity", "bad_value"),
    ({"cultivar": "NOPE"}, "cultivar", "unknown_code"),
    ({"site": "NOPE"}, "site", "unknown_code"),
    ({"size": "NOPE"}, "size", "unknown_code"),
]


async def test_bad_questions(client: httpx.AsyncClient) -> None:
    for more, parameter, kind in BAD:
        answer = await client.get("/v1/promises", params=ASKED | more)
        assert answer.status_code == 422, answer.text
        (mistake,) = answer.json()["errors"]
        assert (mistake["parameter"], mistake["kind"]) == (parameter, kind), mistake


async def test_a_day_far_ahead_counts_as_the_last_one_told(
    client: httpx.AsyncClient, database: Database
) -> None:
    await tell_supply(database.writer, ITEM, "CORIN", FIRST, [50])
    (told,) = await ask(client, site="CORIN", date=str(date(9999, 12, 31)))
    assert told["basis"]["looks_to"] == str(FIRST + timedelta(days=7 * 78))
    assert any("later counts as that" in one for one in told["reasons"])

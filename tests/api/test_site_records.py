"""Records of a site's weather over HTTP: who may say since when, and what is wrong by its place."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.clock import system_clock
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import fill
from tests.api.test_problems import checked

READINGS = "/v1/sites/CORIN/readings"
AHEAD = "/v1/sites/CORIN/temperatures/ahead"
TEMPERATURES = "/v1/sites/CORIN/temperatures"
CSV = {"Content-Type": "text/csv"}
DAY = {"source": "logger", "days": [{"day": "2026-03-06", "min_c": 8, "max_c": 21}]}
READING = {"sensor": "bench 3", "time": "2026-03-06T12:00:00+01:00", "celsius": 19.5}
ONE = {"readings": [READING]}


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for("administrator")
    await fill(client)
    return client


@pytest.fixture
async def importer(admin: Client, client_for: MakeClient) -> Client:
    return await client_for("history")


def given(days: int = 1) -> dict[str, Any]:
    """A forecast for a day so many days ahead."""
    day = system_clock().date() + timedelta(days=days)
    return {"source": "local forecast", "days": [{"day": str(day), "min_c": 9, "max_c": 20}]}


async def sent(client: Client, path: str, what: dict[str, Any], **query: str) -> Any:
    method = "POST" if path is READINGS else "PUT"
    return await client.request(method, path, json=what, params=query)


@pytest.mark.parametrize(
    ("path", "what"), [(READINGS, ONE), (TEMPERATURES, DAY), (AHEAD, given())],
    ids=["readings", "temperatures", "ahead"],
)  # fmt: skip
async def test_an_import_says_since_when_it_is_known(
    admin: Client, importer: Client, path: str, what: dict[str, Any]
) -> None:
    at = "2026-03-07T09:00:00Z" if path is not AHEAD else str(system_clock())
    refused = await sent(admin, path, what, recorded_at=at)
    assert checked(refused, 403, "insufficient-scope")["scope"] == "history"
    assert (await sent(importer, path, what, recorded_at=at)).json()["version"] == 1
    # the same again is known, whenever; something new cannot have been known before it
    early = "2026-03-06T20:00:00Z" if path is not AHEAD else _before(at)
    assert (await sent(importer, path, what, recorded_at=early)).json()["version"] == 1
    other = {**what}
    for name in ("readings", "days"):
        if name in what:
            other[name] = [{**what[name][0], "celsius": 20}] if name == "readings" else [
                {**what[name][0], "max_c": 23}
            ]  # fmt: skip
    again = checked(await sent(importer, path, other, recorded_at=early), 422, "validation-error")
    assert [(one["kind"], one["parameter"]) for one in again["errors"]] == [
        ("not_together", "recorded_at")
    ]
    later = (system_clock() + timedelta(days=1)).isoformat()
    to_come = checked(await sent(importer, path, other, recorded_at=later), 422, "validation-error")
    assert to_come["errors"][0]["kind"] == "in_the_future"
    for never in ("2026-02-30T09:00:00Z", "0001-01-01T00:00:00+02:00"):
        no_day = checked(
            await sent(importer, path, other, recorded_at=never), 422, "validation-error"
        )
        assert no_day["errors"][0]["kind"] == "not_a_day"
    assert (await sent(admin, path, other)).json()["version"] == 2


def _before(moment: str) -> str:
    return (datetime.fromisoformat(moment) - timedelta(minutes=1)).astimezone(UTC).isoformat()


async def test_an_import_cannot_tell_of_days_after_it(importer: Client) -> None:
    told = {"recorded_at": "2026-03-05T09:00:00Z"}
    for path, what, pointer in (
        (TEMPERATURES, {**DAY, "days": [{"day": "2026-03-08", "min_c": 8, "max_c": 21}]}, "day"),
        (READINGS, ONE, "time"),
    ):
        refused = checked(await sent(importer, path, what, **told), 422, "validation-error")
        (mistake,) = refused["errors"]
        assert mistake["kind"] == "in_the_future"
        assert mistake["pointer"].endswith(f"/0/{pointer}")


async def test_a_sheet_s_mistakes_are_named_by_line(admin: Client) -> None:
    """What is wrong with a cell, and what is wrong with what it means."""
    sheet = "sensor,time,celsius\n\nP,2026-03-06T12:00:00+01:00,18\nP,noon,18\n"
    refused = checked(await admin.post(READINGS, content=sheet, headers=CSV), 422,
                      "validation-error")  # fmt: skip
    assert [one["numbers"] for one in refused["errors"]] == [{"line": 4}]
    sheet = "sensor,time,celsius\n\nP,2026-03-06T12:00:00+01:00,18\nP,2026-03-06T12:00:00Z,18\n"
    refused = checked(await admin.post(READINGS, content=sheet, headers=CSV), 422,
                      "validation-error")  # fmt: skip
    (mistake,) = refused["errors"]
    assert (mistake["kind"], mistake["numbers"]) == ("other_zone", {"line": 4})
    assert "pointer" not in mistake
    sheet = "day,min_c,max_c\n2026-03-06,8,21\n2999-01-01,8,21\n"
    refused = checked(
        await admin.put(TEMPERATURES, content=sheet, headers=CSV, params={"source": "logger"}),
        422, "validation-error",
    )  # fmt: skip
    assert refused["errors"][0]["numbers"] == {"line": 3}
    bad = await admin.post(READINGS, content=b"sensor,time,celsius\n\xff", headers=CSV)
    checked(bad, 400, "malformed-request")


async def test_readings_are_told_back_by_day(admin: Client) -> None:
    told = [{**READING, "time": f"2026-03-06T{hour:02}:00:00+01:00", "celsius": 15 + hour / 4}
            for hour in range(20)]  # fmt: skip
    told[3]["celsius"] = -127
    report = (await admin.post(READINGS, json={"readings": told})).json()
    assert (report["readings_written"], report["more"]) == (20, 0)
    assert report["doubts"] == [
        {"sensor": "bench 3", "time": "2026-03-06T03:00:00+01:00", "celsius": -127.0,
         "doubt": "impossible"}
    ]  # fmt: skip
    month = {"first": "2026-03-01", "last": "2026-03-31"}
    answer = (await admin.get(READINGS, params=month)).json()
    assert answer["doubts"] == report["doubts"]
    (day,) = answer["days"]
    assert (day["day"], day["hours"], day["hours_of_day"]) == ("2026-03-06", 19, 24)
    assert day["counted_by"] == "range_of_readings"
    await admin.put(TEMPERATURES, json=DAY)
    (day,) = (await admin.get(READINGS, params=month)).json()["days"]
    assert day["counted_by"] == "daily_record"
    before = (await admin.get(READINGS, params={**month, "version": "0"})).json()
    assert (before["version"], before["days"]) == (0, [])


@pytest.mark.parametrize(
    ("query", "kind", "parameter"),
    [
        ({"first": "2026-03-31", "last": "2026-03-01"}, "not_together", "first"),
        ({"first": "2025-01-01", "last": "2026-03-01"}, "not_together", "first"),
        ({"last": "0001-01-01"}, "not_a_day", "first"),
        ({"last": "9999-12-31"}, "not_a_day", "first"),
    ],
)
async def test_days_that_cannot_be_asked_for(
    admin: Client, query: dict[str, str], kind: str, parameter: str
) -> None:
    refused = checked(await admin.get(READINGS, params=query), 422, "validation-error")
    assert (refused["errors"][0]["kind"], refused["errors"][0]["parameter"]) == (kind, parameter)


async def test_a_given_forecast_is_told_back(admin: Client) -> None:
    nothing = (await admin.get(AHEAD)).json()
    assert (nothing["version"], nothing["source"], nothing["days"]) == (0, None, [])
    assert (await admin.put(AHEAD, json=given())).json()["version"] == 1
    answer = await admin.get(AHEAD)
    assert answer.json()["days"] == [{**given()["days"][0], "min_c": 9.0, "max_c": 20.0}]
    unchanged = await admin.get(AHEAD, headers={"If-None-Match": answer.headers["etag"]})
    assert unchanged.status_code == 304
    old = {**given(), "issued_at": "0001-01-01T00:00:00+02:00"}
    ancient = checked(await admin.put(AHEAD, json=old), 422, "validation-error")
    assert [one["kind"] for one in ancient["errors"]] == ["not_a_day"]
    late = checked(await admin.put(AHEAD, json=given(40)), 422, "validation-error")
    (mistake,) = late["errors"]
    assert (mistake["kind"], mistake["pointer"]) == ("in_the_future", "#/days/0/day")


async def test_another_site_s_weather_is_not_found(client_for: MakeClient, admin: Client) -> None:
    other = await client_for("recorder", "VALE")
    for path, what in ((READINGS, ONE), (TEMPERATURES, DAY), (AHEAD, given())):
        checked(await sent(other, path, what), 404, "not-found")
        checked(await other.get(path), 404, "not-found")
    assert (await admin.get(READINGS)).json()["version"] == 0


async def test_crops_are_listed_page_by_page(admin: Client) -> None:
    first = (await admin.get("/v1/crops", params={"limit": 2})).json()
    rest = (await admin.get(first["next"])).json()
    crops = [row["crop"] for row in (*first["items"], *rest["items"])]
    assert crops == ["apple", "avocado", "citrus", "mango"]
    assert rest["next"] is None
    for cursor in ("QQ", "!!"):
        refused = await admin.get("/v1/crops", params={"cursor": cursor})
        checked(refused, 422, "validation-error")

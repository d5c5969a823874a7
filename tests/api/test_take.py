"""Take, losses, pushes and growth over HTTP: who may see grafters, waiting, pages, tags."""

import pytest

from service.jobs.every_view import every_view
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import event, fill
from tests.api.test_problems import checked

HERE = {"lot": "T-1", "place": "H2-T04"}
READ = event("grafts.unwrapped", HERE | {"alive": 10, "failed": 1}, occurred="2026-03-24")
LOST = event("trees.lost", HERE | {"count": 1, "cause": "breakage"}, occurred="2026-03-12")
WALKED = event(
    "push.counted", HERE | {"pushed": 4, "waiting": 6, "failed": 1}, occurred="2026-04-01"
)
PATHS = ("/v1/take", "/v1/losses", "/v1/push-observations", "/v1/growth")


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for("administrator")
    await fill(client)
    answer = await client.post("/v1/events", json=[LOST, READ, WALKED])
    assert answer.status_code == 201, answer.text
    return client


@pytest.fixture
async def caught_up(admin: Client, database: Database) -> None:
    await Runner(database, every_view()).catch_up()


async def test_an_answer_waits_for_the_position_asked_for(
    admin: Client, database: Database
) -> None:
    position = (await admin.get("/v1/events", params={"limit": 1})).json()["position"]
    runner = Runner(database, every_view())
    await runner.start()
    try:
        for path in PATHS:
            answer = await admin.get(
                path, params={"min_position": position}, headers={"Prefer": "wait=20"}
            )
            assert answer.headers["Preference-Applied"] == "wait=20"
            assert answer.json()["position"] >= position
    finally:
        await runner.stop()


async def test_take_losses_and_pushes(admin: Client, caught_up: None) -> None:
    (row,) = (await admin.get("/v1/take?group_by=season,method")).json()["items"]
    # 10 of 11: Wilson's 95 % interval by hand, middle (10 + z*z/2) / (11 + z*z)
    assert row == {
        "season": "2026-spring",
        "method": "t_bud",
        "lots": 1,
        "grafted": 12,
        "opened": 0,
        "take": {
            "hits": 10,
            "n": 11,
            "share": pytest.approx(10 / 11),
            "low": pytest.approx(0.6226, abs=0.0001),
            "high": pytest.approx(0.9838, abs=0.0001),
        },
        "not_read": 0,
        "not_read_pushed": 0,
        "not_read_failed": 0,
        "gone_before_reading": {"breakage": 1},
        "saleable": {
            "hits": 0,
            "n": 12,
            "share": 0.0,
            "low": 0.0,
            "high": pytest.approx(0.2425, abs=0.0001),
        },
        "growing": 10,
    }
    assert (await admin.get("/v1/losses?group_by=cause,stage")).json()["items"] == [
        {
            "commodity": "plants",
            "dead": 1,
            "culled": 0,
            "discarded": 0,
            "stage": "grafted",
            "cause": "breakage",
        }
    ]
    rows = (await admin.get("/v1/push-observations?outcome=pushed")).json()["items"]
    assert [(r["lot"], r["after_days"], r["by_days"], r["trees"]) for r in rows] == [
        ("T-1", 0, 22, 4)
    ]


async def test_growth_from_grading_to_grading(admin: Client, database: Database) -> None:
    ready = {"count": 1, "stage": "ready", "grade": "first"}
    for day, *outcomes in (
        ("2026-08-01", {"count": 4, "stage": "pushed"}),
        ("2026-09-01", ready, {"count": 3, "stage": "pushed"}),
    ):
        data = HERE | {"stage": "pushed", "outcomes": outcomes}
        answer = await admin.post("/v1/events", json=event("trees.graded", data, occurred=day))
        assert answer.status_code == 201, answer.text
    await Runner(database, every_view()).catch_up()
    rows = (await admin.get("/v1/growth?lot=T-1")).json()["items"]
    told = [(r["outcome"], r["after_day"], r["by_day"], r["grade"], r["trees"]) for r in rows]
    assert told == [
        ("ready", "2026-08-01", "2026-09-01", "first", 1),
        ("growing", "2026-09-01", None, None, 3),
    ]
    (grown,) = (
        await admin.get("/v1/growth?outcome=ready&grade=first&grafted_to=2026-03-31")
    ).json()["items"]
    assert grown | {"crop": "citrus", "cause": None, "started": grown["size"]} == grown
    assert (await admin.get("/v1/growth?outcome=dead")).json()["items"] == []


async def test_grafters_are_not_for_everybody(
    admin: Client, caught_up: None, client_for: MakeClient
) -> None:
    (row,) = (await admin.get("/v1/take?group_by=grafter")).json()["items"]
    assert (row["grafter"], row["take"]["hits"], row["shared_grafted"]) == ("p-07", 10, 0)
    auditor = await client_for("auditor")
    for query in ("group_by=grafter", "group_by=site,grafter", "grafter=p-07"):
        problem = checked(await auditor.get(f"/v1/take?{query}"), 403, "insufficient-scope")
        assert problem["scope"] == "grafters:read"
    assert (await auditor.get("/v1/take?group_by=lot")).status_code == 200
    manager = await client_for("site-manager", "CORIN")
    assert (await manager.get("/v1/take?grafter=p-07")).status_code == 200


async def test_another_sites_key_sees_nothing_of_it(
    admin: Client, caught_up: None, client_for: MakeClient
) -> None:
    other = await client_for("site-manager", "VALE")
    for path in PATHS:
        assert (await other.get(path)).json()["items"] == []
    assert (await other.get("/v1/take?group_by=grafter,lot")).json()["items"] == []


async def test_an_answer_has_the_tag_of_what_it_says(admin: Client, caught_up: None) -> None:
    for path in PATHS:
        answer = await admin.get(path)
        again = await admin.get(path, headers={"If-None-Match": answer.headers["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
        other = await admin.get(f"{path}?limit=1&first=2030-01-01") if "loss" in path else None
        assert other is None or other.headers["ETag"] != answer.headers["ETag"]


async def test_pages_go_on_from_group_to_group(
    admin: Client, database: Database, caught_up: None
) -> None:
    for path, groups in (
        ("/v1/losses", "group_by=cause,day"),
        ("/v1/take", "group_by=lot,grafter"),
        ("/v1/push-observations", ""),
        ("/v1/growth", ""),
    ):
        whole = (await admin.get(f"{path}?{groups}")).json()["items"]
        seen = []
        address = f"{path}?limit=1&{groups}"
        while address:
            page = (await admin.get(address)).json()
            seen += page["items"]
            address = page["next"]
        assert seen == whole


async def test_mistakes_in_what_is_asked_are_named(admin: Client) -> None:
    for query, name in (
        ("take?group_by=colour", "group_by"),
        ("take?attempt=0", "attempt"),
        ("take?method=glue", "method"),
        ("take?cursor=WyJhIl0", "cursor"),
        ("take?lot=NONE", "lot"),
        ("losses?cause=sorrow", "cause"),
        ("losses?stage=gone", "stage"),
        ("losses?first=tomorrow", "first"),
        ("push-observations?outcome=maybe", "outcome"),
        ("push-observations?cursor=WzEsMl0", "cursor"),
        ("growth?outcome=waiting", "outcome"),
        ("growth?grade=A%20B", "grade"),
        ("growth?cursor=WzEsMl0", "cursor"),
        ("growth?size=NONE", "size"),
    ):
        problem = checked(await admin.get(f"/v1/{query}"), 422, "validation-error")
        assert problem["errors"][0]["parameter"] == name, problem

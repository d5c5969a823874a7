"""Reservations over HTTP, as a sales system's developer meets them."""

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from service.application import assemble, http
from service.log.append import Appender
from service.log.reservations import Unconfirmed
from service.log.rights import ROLES
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import listening
from tests.support.bench_side import BenchSide, event
from tests.support.two_nurseries import client_of

TREES = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}
PATCH = {"Content-Type": "application/merge-patch+json"}


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = datetime(2026, 6, 30, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


class Shop:
    """A shop's program with a key for CORIN alone, and one for every site."""

    def __init__(self, own: httpx.AsyncClient, everywhere: httpx.AsyncClient, clock: Clock) -> None:
        self.own, self.everywhere, self.clock = own, everywhere, clock

    async def reserve(
        self, count: int, *, status: int = 201, key: str | None = None, **more: Any
    ) -> httpx.Response:
        said: dict[str, Any] = {"customer": "cust-1", "site": "CORIN"}
        said["lines"] = [TREES | more.pop("line", {}) | {"count": count}]
        headers = {"Idempotency-Key": key} if key else {}
        answer = await self.own.post("/v1/reservations", json=said | more, headers=headers)
        assert answer.status_code == status, answer.text
        return answer

    async def change(self, code: str, tag: str | None, said: Any, **headers: str) -> httpx.Response:
        sent = PATCH | ({"If-Match": tag} if tag else {}) | headers
        return await self.own.patch(f"/v1/reservations/{code}", json=said, headers=sent)


@pytest.fixture
async def shop(database: Database, settings: Settings) -> AsyncIterator[Shop]:
    """50 trees at CORIN (L2), 20 more in P9, 300 at TARNA."""
    clock = Clock()
    appender = Appender(database, clock=clock)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.nursery()
    bought = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "supplier": "s", "document": "PP-1"}
    day = "2026-03-01"
    await bench.given(
        event("trees.received", day, lot="R1", size="L2", place="C-T1", count=50, **bought),
        event("trees.received", day, lot="R2", size="P9", place="C-T1", count=20, **bought),
        event("trees.received", day, "TARNA", lot="R3", size="L2", place="T-T1", count=300,
              **bought),
    )  # fmt: skip
    app = http(settings)
    app.state.services = assemble(settings, database, appender, clock)
    app.state.services.unconfirmed = Unconfirmed(5)
    scopes = frozenset(ROLES["sales"])
    async with (
        listening(app) as url,
        await client_of(database, url, "shop", scopes, "CORIN") as own,
        await client_of(database, url, "owner", scopes) as everywhere,
    ):
        yield Shop(own, everywhere, clock)
    await appender.stop()


def only_error(answer: httpx.Response) -> dict[str, Any]:
    (error,) = answer.json()["errors"]
    return dict(error)


async def test_it_is_made_changed_confirmed_and_released(shop: Shop) -> None:
    made = await shop.reserve(40, order="O-1", expires_at="2026-07-03")
    said = made.json()
    assert made.headers["location"] == f"/v1/reservations/{said['code']}"
    assert (said["state"], said["order"], said["confirmed_on"]) == ("open", "O-1", None)
    # The end of 3 July in Madrid.
    assert said["expires_at"] == "2026-07-03T22:00:00Z"
    tag = made.headers["etag"]
    read = await shop.own.get(made.headers["location"])
    assert read.headers["etag"] == tag
    assert said == read.json() | {"remarks": []}

    changed = await shop.change(said["code"], tag, {"order": None, "needed_by": "2026-08-01"})
    assert (changed.status_code, changed.json()["order"]) == (200, None)
    assert changed.json()["expires_at"] == said["expires_at"]
    assert changed.json()["lines"] == said["lines"]

    place = f"/v1/reservations/{said['code']}"
    confirmed = await shop.own.post(f"{place}/confirm", json={"order": "O-2"})
    assert (confirmed.json()["confirmed_on"], confirmed.json()["order"]) == ("2026-06-30", "O-2")
    assert confirmed.json()["expires_at"] is None
    again = await shop.own.post(f"{place}/confirm", json={})
    assert (again.status_code, only_error(again)["pointer"]) == (409, "#")

    stale = {"If-Match": tag}
    refused = await shop.own.post(f"{place}/release", json={"reason": "no"}, headers=stale)
    assert refused.status_code == 412
    assert refused.headers["etag"] == confirmed.headers["etag"]
    freed = await shop.own.post(f"{place}/release", json={"reason": "changed his mind"})
    (line,) = freed.json()["lines"]
    assert (freed.json()["state"], line["open"], line["fulfilled"]) == ("released", 0, 0)
    assert (await shop.reserve(50)).status_code == 201


async def test_a_patch_says_which_version_it_is_of(shop: Shop) -> None:
    made = await shop.reserve(10)
    code, tag = made.json()["code"], made.headers["etag"]
    unsaid = await shop.change(code, None, {"order": "O-1"})
    assert (unsaid.status_code, unsaid.headers["etag"]) == (428, tag)
    # Strong comparison (RFC 9110 section 8.8.3.2): a weak tag is no version to change.
    for wrong in ('"1"', f"W/{tag}", '"abc"'):
        assert (await shop.change(code, wrong, {"order": "O-1"})).status_code == 412
    assert (await shop.change(code, "nonsense", {"order": "O-1"})).status_code == 400
    assert (await shop.change(code, wrong, {})).status_code == 412
    same = await shop.change(code, tag, {})
    assert (same.status_code, same.headers["etag"]) == (200, tag)
    assert (await shop.change(code, f'"7", {tag}', {"order": "O-1"})).status_code == 200
    assert (await shop.change(code, "*", {"lines": [TREES | {"count": 11}]})).status_code == 200
    for bad in ({"lines": None}, {"lines": []}, {"customer": "cust-2"}, [1]):
        assert (await shop.change(code, "*", bad)).status_code == 422
    text = await shop.own.patch(f"/v1/reservations/{code}", content="x")
    assert (text.status_code, "merge-patch" in text.headers["accept-patch"]) == (415, True)


async def test_where_it_goes_is_changed_and_judged_anew(shop: Shop, database: Database) -> None:
    rule = {"title": "No citrus", "value": "no", "source": "invented order 1",
            "as_of": "2026-01-01",
            "destination": {"region": "US-CA", "answer": "not_allowed"}}  # fmt: skip
    url, every = str(shop.own.base_url), frozenset(ROLES["administrator"])
    async with await client_of(database, url, "keeper", every) as keeper:
        assert (await keeper.put("/v1/rules/NO-CA", json=rule)).status_code == 201
    made = await shop.reserve(10)
    code, tag = made.json()["code"], made.headers["etag"]
    refused = only_error(await shop.change(code, tag, {"destination": ["US-CA"]}))
    assert (refused["kind"], refused["pointer"]) == ("may_not_be_sent", "#/destination")
    assert refused["numbers"]["source"] == "invented order 1"
    told = await shop.change(code, tag, {"destination": ["ES"], "order": "ord-1"})
    assert (told.status_code, told.json()["destination"]) == (200, ["ES"])
    assert [one["kind"] for one in told.json()["remarks"]] == ["ask_authority"]
    # what it leaves out stays; null: where it goes is not known any more, and nothing is asked
    later = await shop.change(code, told.headers["etag"], {"needed_by": "2026-08-01"})
    assert (later.json()["destination"], later.json()["remarks"]) == (["ES"], [])
    open_ = await shop.change(code, later.headers["etag"], {"destination": None})
    assert (open_.json()["destination"], open_.json()["remarks"]) == ([], [])
    found = await shop.own.get(f"/v1/reservations/{code}")
    assert (found.json()["destination"], found.json()["order"]) == ([], "ord-1")


async def test_a_retry_answers_with_the_reservation_as_it_stands(shop: Shop) -> None:
    made = await shop.reserve(40, key="k-1")
    again = await shop.reserve(40, key="k-1")
    assert again.headers["idempotency-replayed"] == "true"
    assert again.json() == made.json()
    code, tag = made.json()["code"], made.headers["etag"]
    more = [code, tag, {"lines": [TREES | {"count": 30}]}]
    first = await shop.change(*more, **{"Idempotency-Key": "k-2"})
    retried = await shop.change(*more, **{"Idempotency-Key": "k-2"})
    assert (first.status_code, retried.status_code) == (200, 200)
    assert retried.headers["idempotency-replayed"] == "true"
    assert retried.headers["etag"] == first.headers["etag"]
    late = await shop.reserve(40, key="k-1")
    assert late.json()["lines"][0]["open"] == 30
    other = await shop.reserve(41, key="k-1", status=422)
    assert other.json()["type"] == "/problems/idempotency-key-reused"


async def test_a_refusal_says_what_else_there_is_of_what_the_key_may_see(shop: Shop) -> None:
    await shop.reserve(45)
    error = only_error(await shop.reserve(30, status=409))
    assert (error["kind"], error["pointer"]) == ("not_enough_to_promise", "#/lines/0/count")
    assert "30 of NAVEL on CARRIZO in L2 asked" in error["detail"]
    numbers = error["numbers"]
    assert (numbers["available"], numbers["needed_by"], numbers["earliest"]) == (
        5,
        "2026-06-30",
        None,
    )
    others = [one for one in numbers["alternatives"] if one["grade"] is None]
    assert others == [{"site": "CORIN", "size": "P9", "grade": None, "available": 20}]
    said = {"customer": "c", "site": "CORIN", "lines": [TREES | {"count": 30}]}
    answer = await shop.everywhere.post("/v1/reservations", json=said)
    first, *_ = only_error(answer)["numbers"]["alternatives"]
    assert (first["site"], first["size"]) in ((None, "L2"), ("TARNA", "L2"))
    taken = await shop.reserve(30, partial=True)
    (line,) = taken.json()["lines"]
    assert (line["asked"], line["promised"], line["open"]) == (30, 5, 5)
    assert taken.json()["remarks"][0]["kind"] == "less_promised"


async def test_who_has_nothing_to_say_needs_no_body(shop: Shop) -> None:
    place = (await shop.reserve(1)).headers["location"]
    # where something must be said a body is wanted, and one that is sent says what it is
    assert (await shop.own.post(f"{place}/release")).status_code == 415
    plain = {"content": b"{}", "headers": {"Content-Type": "text/plain"}}
    assert (await shop.own.post(f"{place}/confirm", **plain)).status_code == 415
    key = {"Idempotency-Key": "confirm-1"}
    done = await shop.own.post(f"{place}/confirm", headers=key)
    assert (done.status_code, done.json()["confirmed_on"]) == (200, "2026-06-30")
    again = await shop.own.post(f"{place}/confirm", headers=key)
    assert again.headers["idempotency-replayed"] == "true"


async def test_what_there_is_less_of_is_told_by_both_lists_of_lines(shop: Shop) -> None:
    lines = [
        TREES | {"grade": "second", "count": 1},
        TREES | {"count": 5},
        TREES | {"size": "P9", "count": 30},
    ]
    made = await shop.reserve(0, partial=True, lines=lines, key="few")
    kept = {line["line"]: (line["size"], line["promised"]) for line in made.json()["lines"]}
    assert kept == {0: ("L2", 5), 1: ("P9", 20)}
    told = [one["numbers"] for one in made.json()["remarks"] if one["kind"] == "less_promised"]
    assert [(one["asked_line"], one["line"], one["promised"]) for one in told] == [
        (0, None, 0), (2, 1, 20)
    ]  # fmt: skip
    again = await shop.reserve(0, partial=True, lines=lines, key="few")
    assert again.json()["remarks"] == made.json()["remarks"]


async def test_what_has_expired_says_so_and_can_be_taken_up_again(shop: Shop) -> None:
    soon = (shop.clock.now + timedelta(hours=1)).isoformat()
    made = await shop.reserve(40, expires_at=soon)
    place, tag = made.headers["location"], made.headers["etag"]
    shop.clock.now += timedelta(hours=1)
    # Nothing was recorded, and yet it is another answer.
    gone = await shop.own.get(place, headers={"If-None-Match": tag})
    assert (gone.status_code, gone.json()["state"]) == (200, "expired")
    kept = await shop.own.get(place, headers={"If-None-Match": gone.headers["etag"]})
    assert kept.status_code == 304
    expired = (await shop.own.get("/v1/reservations?state=expired")).json()["items"]
    assert [one["code"] for one in expired] == [made.json()["code"]]
    assert (await shop.own.get("/v1/reservations?state=open")).json()["items"] == []
    other = await shop.reserve(20)
    confirm = {"json": {}, "headers": {"If-Match": gone.headers["etag"]}}
    refused = await shop.own.post(f"{place}/confirm", **confirm)
    assert only_error(refused)["numbers"]["available"] == 30
    code = other.json()["code"]
    await shop.own.post(f"/v1/reservations/{code}/release", json={"reason": "no"})
    again = await shop.own.post(f"{place}/confirm", **confirm)
    assert (again.status_code, again.json()["state"]) == (200, "open")
    assert [one["kind"] for one in again.json()["remarks"]] == ["had_expired"]


async def test_another_sites_reservation_is_as_unknown_as_none(shop: Shop) -> None:
    said = {"customer": "c", "site": "TARNA", "lines": [TREES | {"count": 3}]}
    made = await shop.everywhere.post("/v1/reservations", json=said)
    code = made.json()["code"]
    for answer in (
        await shop.own.get(f"/v1/reservations/{code}"),
        await shop.change(code, "*", {"order": "O-1"}),
        await shop.own.post(f"/v1/reservations/{code}/confirm", json={}),
        await shop.own.post(f"/v1/reservations/{code}/release", json={"reason": "x"}),
    ):
        assert answer.status_code == 404
    refused = await shop.own.post("/v1/reservations", json=said)
    assert (refused.status_code, only_error(refused)["pointer"]) == (409, "#/site")


async def test_a_key_has_so_many_waiting_to_be_confirmed_and_no_more(shop: Shop) -> None:
    made = [await shop.reserve(1) for _ in range(5)]
    error = only_error(await shop.reserve(1, status=409))
    assert (error["kind"], error["numbers"]["most"]) == ("too_many_unconfirmed", 5)
    await shop.own.post(f"{made[0].headers['location']}/confirm", json={})
    assert (await shop.reserve(1)).status_code == 201
    await shop.reserve(1, status=409)

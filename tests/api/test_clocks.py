"""Both clocks over HTTP: what they say of themselves, pages, entity tags, days of two sites."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.forecast.refresh import refresh
from service.jobs.every_view import every_view
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import event, fill
from tests.api.test_problems import checked
from tests.support.foretelling import stand_in

LISTS = ("budwood", "checks", "budwood-lots", "liner-lots", "tree-lots")
TOLD = ("ready-dates", "ready-counts")


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for()
    await fill(client)
    return client


async def _record(client: Client, *events: Any) -> int:
    response = await client.post("/v1/events", json=list(events))
    assert response.status_code == 201, response.text
    return int(response.headers["Graftlog-Position"])


async def _asked(client: Client, address: str) -> Any:
    response = await client.get(f"/v1/{address}")
    assert response.status_code == 200, response.text
    return response.json()


def _lost(count: int, day: str, **more: Any) -> Any:
    where = {"lot": "T-1", "place": "H2-T04", "stage": "grafted", "size": "C2"}
    return event("trees.lost", where | {"count": count, "cause": "frost"}, occurred=day, **more)


async def test_every_answer_says_its_clocks(admin: Client) -> None:
    head = (await _asked(admin, "stock"))["position"]
    for address in (*LISTS, *TOLD, "stock"):
        old = await _asked(admin, f"{address}?as_of=2026-03-12&known_at={head - 1}")
        clocks = (old["position"], old["as_of"], old["known_at"])
        assert clocks == (head, "2026-03-12", head - 1), address
        now = await _asked(admin, address)
        assert (now["as_of"], now["known_at"]) == (None, now["position"]), address
        # 23:30 UTC on the 11th is the 12th in Madrid and in Sydney; 22:30 still the 11th in Madrid
        for time, corin in (("23:30:00Z", "2026-03-12"), ("22:30:00Z", "2026-03-11")):
            moment = await _asked(admin, f"{address}?as_of=2026-03-11T{time}")
            assert moment["days"] == {"CORIN": corin, "VALE": "2026-03-12"}, address
        # before anything was known, and before anything had happened
        for before in ("known_at=0", "known_at=2020-01-01T00:00:00Z", "as_of=2020-01-01"):
            nothing = await _asked(admin, f"{address}?{before}")
            assert nothing.get("items", nothing.get("rows")) == [], address


async def test_clocks_that_cannot_be(admin: Client) -> None:
    ahead = (datetime.now(UTC) + timedelta(days=3)).strftime("%Y-%m-%d")
    for address in (*LISTS, *TOLD, "stock", "tree-lots/T-1"):
        for asked, name in (
            (f"as_of={ahead}", "as_of"),
            (f"as_of={ahead}T00:00:00Z", "as_of"),
            ("as_of=yesterday", "as_of"),
            ("as_of=2026-02-30", "as_of"),
            ("as_of=0001-01-01T00:00:00%2B14:00", "as_of"),
            ("known_at=lately", "known_at"),
            ("known_at=2026-02-30T00:00:00Z", "known_at"),
            ("known_at=0001-01-01T00:00:00%2B14:00", "known_at"),
        ):
            answer = await admin.get(f"/v1/{address}?{asked}")
            (mistake,) = checked(answer, 422, "validation-error")["errors"]
            assert mistake["parameter"] == name, address
        # what is known at a position or a time to come is all that is known
        for later in ("999999999", f"{ahead}T00:00:00Z"):
            answer = await admin.get(f"/v1/{address}?known_at={later}")
            assert answer.status_code == 200, address


async def test_a_lot_as_it_was_and_as_it_was_known(admin: Client) -> None:
    before = (await _asked(admin, "stock"))["position"]
    told = await _record(admin, _lost(4, "2026-03-12"))
    lot = await _asked(admin, "tree-lots/T-1?as_of=2026-03-11")
    assert (lot["lot"]["on_hand"], lot["as_of"], lot["known_at"]) == (12, "2026-03-11", None)
    assert [one["type"] for one in lot["history"]] == ["trees.grafted"]
    assert (await _asked(admin, f"tree-lots/T-1?known_at={before}"))["lot"]["on_hand"] == 12
    late = await _asked(admin, f"tree-lots/T-1?as_of=2026-03-12&known_at={told}")
    assert (late["lot"]["on_hand"], late["lot"]["changed_position"]) == (8, told)
    checked(await admin.get("/v1/tree-lots/T-1?as_of=2026-03-09"), 404, "not-found")
    checked(await admin.get("/v1/tree-lots/T-1?known_at=1"), 404, "not-found")
    # the wood that was used is back in its bag
    (bag,) = (await _asked(admin, "budwood-lots/BW-1?as_of=2026-03-09"))["bags"]
    assert (bag["code"], bag["left"]) == ("B-1", 18)


async def test_a_voided_lot_is_there_for_who_asks_what_was_known(admin: Client) -> None:
    (grafted,) = (await _asked(admin, "tree-lots/T-1"))["history"]
    void = {"event": grafted["id"], "reason": "another lot"}
    voided = await _record(admin, event("event.voided", void, occurred="2026-03-20"))
    checked(await admin.get("/v1/tree-lots/T-1"), 404, "not-found")
    assert (await _asked(admin, "tree-lots?as_of=2026-03-15"))["items"] == []
    known = f"known_at={voided - 1}"
    for as_of in ("", "&as_of=2026-03-10", "&as_of=2026-03-25"):
        lot = await _asked(admin, f"tree-lots/T-1?{known}{as_of}")
        assert lot["lot"]["on_hand"] == 12
        assert lot["lot"]["parents"] == ["bag:B-1", "lot:BW-1", "lot:L-1"]
        assert [(e["type"], e["voided_by"]) for e in lot["history"]] == [("trees.grafted", None)]
        (row,) = (await _asked(admin, f"tree-lots?{known}{as_of}"))["items"]
        assert row == lot["lot"]
    stock = await _asked(admin, f"stock?{known}&group_by=cultivar&kind=trees")
    assert stock["rows"] == [
        {"kind": "trees", "commodity": "plants", "quantity": 12, "cultivar": "NAV"}
    ]


async def test_the_tag_of_an_old_lot_stays_while_the_lot_does(admin: Client) -> None:
    address = "/v1/tree-lots/T-1?as_of=2026-03-12"
    first = await admin.get(address)
    held = {"If-None-Match": first.headers["ETag"]}
    await _record(admin, event("place.checked", {"place": "H2-T04"}, occurred="2026-03-30"))
    again = await admin.get(address, headers=held)
    assert (again.status_code, again.headers["ETag"]) == (304, first.headers["ETag"])
    assert int(again.headers["Graftlog-Position"]) > int(first.headers["Graftlog-Position"])
    await _record(admin, _lost(1, "2026-03-11"))
    assert (await admin.get(address, headers=held)).status_code == 200


async def test_pages_of_an_old_question_are_of_one_question(admin: Client) -> None:
    liners = {"rootstock": "CARR", "size": "C2", "supplier": "sup-1"}
    line = {"lines": [{"place": "H2-T04", "count": 5}]}
    named = [{"lot": f"L-{n}"} | liners | line for n in range(2, 6)]
    await _record(admin, *(event("liners.received", one, occurred="2026-03-01") for one in named))
    first = await _asked(admin, "liner-lots?as_of=2026-03-05&limit=2")
    assert [lot["code"] for lot in first["items"]] == ["L-1", "L-2"]
    # what is told late between two pages belongs to the next question
    late = {"lot": "L-2A"} | liners | line
    await _record(admin, event("liners.received", late, occurred="2026-03-01"))
    more = event("liners.discarded", {"lot": "L-3", "count": 5, "cause": "drought"})
    await _record(admin, {**more, "occurred": "2026-03-02"})
    second = (await admin.get(first["next"])).json()
    assert [(lot["code"], lot["on_hand"]) for lot in second["items"]] == [("L-3", 5), ("L-4", 5)]
    assert (second["as_of"], second["known_at"]) == ("2026-03-05", first["known_at"])
    cursor = first["next"].rpartition("cursor=")[2]
    for other in ("as_of=2026-03-06", "as_of=2026-03-05&known_at=3", "limit=2"):
        response = await admin.get(f"/v1/liner-lots?{other}&cursor={cursor}")
        (mistake,) = checked(response, 422, "validation-error")["errors"]
        assert mistake["parameter"] == "cursor"


async def test_another_sites_key_sees_of_the_past_what_is_its_own(
    admin: Client, client_for: MakeClient
) -> None:
    line = {"lot": "T-1", "place": "H2-T04", "stage": "grafted", "size": "C2", "count": 3}
    sent = {"consignment": "CON-1", "to_site": "VALE", "lines": [line]}
    put = {"lot": "T-1", "place": "V1", "stage": "grafted", "size": "C2", "count": 3}
    come = {"consignment": "CON-1", "lines": [put]}
    await _record(admin, event("consignment.sent", sent, occurred="2026-03-12"))
    await _record(admin, event("consignment.received", come, occurred="2026-03-14", site="VALE"))
    vale = await client_for("auditor", "VALE")
    there = await _asked(vale, "tree-lots/T-1?as_of=2026-03-14")
    assert [(p["place"], p["count"]) for p in there["places"]] == [("V1", 3)]
    (due,) = (await _asked(vale, "checks?as_of=2026-03-23&check=read_take"))["items"]
    # grafted on 10 March at the other site: due twelve days later
    assert (due["place"], due["due_on"], due["state"], due["today"]) == (
        "V1",
        "2026-03-22",
        "due",
        "2026-03-23",
    )
    checked(await vale.get("/v1/tree-lots/T-1?as_of=2026-03-11"), 404, "not-found")
    for address in ("tree-lots", "checks", "ready-dates"):
        assert (await _asked(vale, f"{address}?as_of=2026-03-11"))["items"] == []
    assert (await _asked(vale, "stock?as_of=2026-03-11"))["rows"] == []


async def test_a_day_has_its_site_when_the_clocks_change(admin: Client) -> None:
    """Madrid goes to summer time on 29 March 2026 at 01:00 UTC, Sydney off it on 5 April."""
    late = [
        # half past midnight on the 29th and on the 30th in Madrid: an hour more before the second
        _lost(1, "2026-03-28T23:30:00Z"),
        _lost(1, "2026-03-29T22:30:00Z"),
    ]
    await _record(admin, *late)

    async def left(as_of: str) -> int:
        (row,) = (await _asked(admin, f"stock?kind=trees&as_of={as_of}"))["rows"]
        return int(row["quantity"])

    assert [await left(f"2026-03-{day}") for day in (28, 29, 30)] == [12, 11, 10]
    # moments: before and after each midnight at Corin
    for moment, count in (
        ("2026-03-28T22:59:59Z", 12),
        ("2026-03-28T23:00:00Z", 11),
        ("2026-03-29T21:59:59Z", 11),
        ("2026-03-29T22:00:00Z", 10),
    ):
        assert await left(moment) == count
    both = await _asked(admin, "checks?as_of=2026-04-04T13:30:00Z")
    # 13:30 UTC is half past midnight in Sydney before its clocks go back, half past eleven after
    assert both["days"] == {"CORIN": "2026-04-04", "VALE": "2026-04-05"}
    after = await _asked(admin, "checks?as_of=2026-04-05T13:30:00Z")
    assert after["days"] == {"CORIN": "2026-04-05", "VALE": "2026-04-05"}


async def test_plans_and_crops_are_those_known_then(admin: Client) -> None:
    known = (await _asked(admin, "stock"))["position"]
    plan = {
        "check": "read_take",
        "crop": "citrus",
        "after": "grafted",
        "due_days": 5,
        "overdue_days": 6,
        "done_by": ["grafts.unwrapped"],
        "source": "ours",
    }
    assert (await admin.put("/v1/check-plans/OWN", json=plan)).status_code == 201
    asked = "checks?check=read_take&as_of=2026-03-16"
    assert [(c["plan"], c["due_on"]) for c in (await _asked(admin, asked))["items"]] == [
        ("OWN", "2026-03-15")
    ]
    then = (await _asked(admin, f"{asked}&known_at={known}"))["items"]
    assert [(c["plan"], c["due_on"]) for c in then] == [("TAKE-CITRUS", "2026-03-22")]


async def test_ready_dates_of_a_past_moment_are_those_told_then(
    admin: Client, database: Database
) -> None:
    """A forecast of the 14th, one of the 16th when three trees had died, and none on the 15th."""
    known = 0
    for day, died in ((14, 0), (16, 3)):
        if died:
            known = await _record(admin, _lost(died, "2026-03-15"))
        await Runner(database, every_view()).catch_up()
        at = datetime(2026, 3, day, 9, tzinfo=UTC)
        await refresh(database, lambda at=at: at, forecast=stand_in)

    async def told(clocks: str) -> list[tuple[int, str]]:
        rows = (await _asked(admin, f"ready-dates{clocks}"))["items"]
        return [(row["trees"], row["as_of"]) for row in rows]

    assert await told("") == [(9, "2026-03-16")]
    for clocks in ("as_of=2026-03-14", "as_of=2026-03-15", f"known_at={known - 1}"):
        assert await told(f"?{clocks}") == [(12, "2026-03-14")]
    assert await told("?as_of=2026-03-15&known_at=2026-03-14T08:59:59Z") == []
    assert await told("?as_of=2026-03-13") == []
    counts = (await _asked(admin, "ready-counts?as_of=2026-03-15&by=2026-03-20"))["items"]
    assert [(row["site"], row["trees"]) for row in counts] == [(None, 12), ("CORIN", 12)]
    assert [row["counts"][0]["day"] for row in counts] == ["2026-03-14"] * 2
    # at a moment it is the 16th at Corin from 23:00 UTC on the 15th
    assert await told("?as_of=2026-03-15T22:59:59Z") == [(12, "2026-03-14")]
    assert await told("?as_of=2026-03-15T23:00:00Z") == [(9, "2026-03-16")]

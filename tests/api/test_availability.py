"""What a shop asks for, over HTTP: numbers, words, conditional answers, walls, destinations."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import pytest

from service.api.limits import Limits
from service.application import assemble, http
from service.clock import system_clock
from service.feed.following import Follower
from service.forecast.answers.telling import day_in_words
from service.log.append import Appender
from service.settings import Settings
from service.storage.pool import Database
from service.views import availability_now
from service.views.availability_now import AvailabilityNow
from tests.api import nursery
from tests.api.conftest import MakeClient, listening
from tests.api.test_promises import ASKED, ITEM, reserve
from tests.support.foretold import tell_supplies

SHOP = "/v1/availability"
TODAY = datetime.now(ZoneInfo("Europe/Madrid")).date()
FIRST = TODAY - timedelta(days=1)


def on(days: int) -> str:
    return str(TODAY + timedelta(days=days))


@pytest.fixture
async def client(client_for: MakeClient, database: Database) -> httpx.AsyncClient:
    client = await client_for()
    await nursery.fill(client)
    middles = [50, 50, 50, 50, 90]
    await tell_supplies(database.writer, ITEM, FIRST, {"CORIN": middles, "VALE": [20] * 5})
    return client


async def ask(client: httpx.AsyncClient, path: str = SHOP, **more: Any) -> list[dict[str, Any]]:
    answer = await client.get(path, params=more)
    assert answer.status_code == 200, answer.text
    items: list[dict[str, Any]] = answer.json()["items"]
    return items


async def test_a_row_for_each_item_with_todays_number_and_the_days_on_which_it_changes(
    client: httpx.AsyncClient,
) -> None:
    await reserve(client, "R-1", 10, needed_by=on(3))
    (row,) = await ask(client, site="CORIN", goods="trees", size="C2")
    # 8 in 10 sure are six fewer than as likely as not: 44, of which 10 are promised
    assert (row["date"], row["available"], row["sure"]) == (on(0), 34, "8 in 10 sure")
    assert row["changes"] == [{"date": str(FIRST + timedelta(days=28)), "available": 74}]
    assert row["key"] == "trees/NAV/CARR/C2//CORIN"
    assert row["words"].startswith(f"8 in 10 sure: 34 of {row['name']}, at CORIN, can be reserved")
    # foreseen, and nobody has graded one yet: none can go today
    assert row["ready"] == 0
    assert " None is ready yet. " in row["words"]
    assert (row["quantity"], row["enough"], row["earliest"], row["sending"]) == (None,) * 4
    # when it is asked for a later day, and how soon so many
    (later,) = await ask(client, site="CORIN", size="C2", date=on(40), quantity=60)
    assert (later["available"], later["changes"], later["enough"]) == (74, [], True)
    assert later["earliest"] == str(FIRST + timedelta(days=28))
    (soon,) = await ask(client, site="CORIN", size="C2", until=on(20), quantity=60)
    assert (soon["changes"], soon["enough"]) == ([], False)
    assert soon["words"].endswith(" can be had for " + _in_words(soon["earliest"]) + ".")


async def test_a_row_says_how_many_could_go_today(client: httpx.AsyncClient) -> None:
    """Graded ready and not held: what a sale by item may take then."""
    trees = ASKED | {"supplier": "sup-1", "place": "H2-T04"}
    held = {"hold": "H-1", "kind": "other", "target": "lot", "code": "R-2", "reason": "looked at"}
    told = [
        nursery.event("trees.received", trees | {"lot": "R-1", "count": 20}, occurred=str(TODAY)),
        nursery.event("trees.received", trees | {"lot": "R-2", "count": 7}, occurred=str(TODAY)),
        nursery.event("hold.placed", held, occurred=str(TODAY)),
    ]
    done = await client.post("/v1/events", json=told)
    assert done.status_code == 201, done.text
    await reserve(client, "R-9", 3)
    (row,) = await ask(client, site="CORIN", goods="trees", size="C2")
    assert (row["available"], row["ready"]) == (41, 20)
    assert "41 of Navelina on" in row["words"]
    assert " 20 of them stand ready." in row["words"]
    # for a later day it says nothing of today in words
    (later,) = await ask(client, site="CORIN", goods="trees", size="C2", date=on(2))
    assert (later["ready"], "stand ready" in later["words"]) == (20, False)
    for count, status in ((20, 200), (21, 409)):
        sale = {"site": "CORIN", "customer": "c-1", "lines": [ASKED | {"count": count}]}
        sold = await client.post("/v1/sales?check=true", json=sale)
        assert sold.status_code == status, sold.text


async def test_it_stays_the_same_until_one_of_its_own_numbers_changes(
    client: httpx.AsyncClient,
) -> None:
    first = await client.get(SHOP, params={"site": "CORIN"})
    tag = {"If-None-Match": first.headers["ETag"]}
    # given that something is recorded that has nothing to do with it
    checked = nursery.event("place.checked", {"place": "H2-T04"}, occurred=str(TODAY))
    assert (await client.post("/v1/events", json=checked)).status_code == 201
    await reserve(client, "R-V", 1, needed_by=on(50), any_site=True)
    same = await client.get(SHOP, params={"site": "CORIN"}, headers=tag)
    assert (same.status_code, same.content) == (304, b"")
    assert same.headers["ETag"] == tag["If-None-Match"]
    # when one is reserved here: it is told at once, in the very next answer
    await reserve(client, "R-1", 10)
    other = await client.get(SHOP, params={"site": "CORIN"}, headers=tag)
    assert other.status_code == 200
    assert other.headers["ETag"] != tag["If-None-Match"]
    assert "private" in other.headers["Cache-Control"]
    head = await client.head(SHOP, params={"site": "CORIN"})
    assert head.headers["ETag"] == other.headers["ETag"]
    # What is no entity tag is told so, also where the answer is kept.
    broken = await client.get(SHOP, params={"site": "CORIN"}, headers={"If-None-Match": "12"})
    assert (broken.status_code, broken.json()["type"]) == (400, "/problems/malformed-request")


async def test_another_process_hears_of_it(
    client: httpx.AsyncClient, database: Database, settings: Settings
) -> None:
    """By the log's notice, and where that is lost by looking each second; never after five."""
    follower = Follower(database, poll_seconds=60)
    await follower.start()
    writer = Appender(database)
    app = http(settings)
    services = assemble(settings, database, writer, system_clock, follower)
    app.state.services = services
    async with listening(app) as url, httpx.AsyncClient(base_url=url) as other:
        other.headers = client.headers
        (before,) = await ask(other, site="CORIN", size="C2")
        assert before["available"] == 44
        # A reservation of the first process.
        position = services.availability.position
        await reserve(client, "R-1", 10)
        assert await follower.beyond(position, 10) > position
        (after,) = await ask(other, site="CORIN", size="C2")
        assert after["available"] == 34
    await follower.stop()


async def test_a_lost_notice_costs_a_second_and_a_lost_database_five(
    client: httpx.AsyncClient, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = [0.0]
    monkeypatch.setattr(availability_now, "monotonic", lambda: clock[0])
    now = AvailabilityNow(database, system_clock, 0.8, lambda: 0)
    key = "trees/NAV/CARR/C2//CORIN"

    async def available() -> int:
        return (await now.get()).rows[key].quantities[0]

    assert await available() == 44
    await reserve(client, "R-1", 10)
    assert await available() == 44
    clock[0] = 1.0
    assert await available() == 34

    async def lost(*_: object) -> None:
        raise OSError("gone")

    await reserve(client, "R-2", 10)
    with monkeypatch.context() as patch:
        patch.setattr(now.list, "_read", lost)
        clock[0] = 5.9
        assert await available() == 34
        clock[0] = 6.1
        with pytest.raises(OSError, match="gone"):
            await now.get()
    assert await available() == 24


async def _unforeseen(*_: object) -> None:
    raise RuntimeError("unforeseen")


async def test_a_key_is_never_shown_what_was_answered_to_another(
    client: httpx.AsyncClient, client_for: MakeClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    corin = await client_for("sales", "CORIN")
    vale = await client_for("sales", "VALE")
    answers = {
        name: await who.get(SHOP)
        for name, who in (("all", client), ("corin", corin), ("vale", vale), ("again", corin))
    }
    sites = {name: {row["site"] for row in one.json()["items"]} for name, one in answers.items()}
    assert sites == {"all": {"CORIN", "VALE"}, "corin": {"CORIN"}, "vale": {"VALE"},
                     "again": {"CORIN"}}  # fmt: skip
    assert "CORIN" not in answers["vale"].text
    # The same question again is answered from what is kept, to each its own; the key is asked all
    # the same, and so is what it may do.
    again = await vale.get(SHOP)
    assert (again.content, again.headers["ETag"]) == (
        answers["vale"].content,
        answers["vale"].headers["ETag"],
    )
    assert (await (await client_for(None)).get(SHOP)).status_code == 401
    assert (await (await client_for("monitor")).get(SHOP)).status_code == 403
    # A tag of another's answer is not mine.
    tag = {"If-None-Match": answers["corin"].headers["ETag"]}
    assert (await vale.get(SHOP, headers=tag)).status_code == 200
    # All together are for who sees all; another site is not known.
    assert [row["site"] for row in await ask(client, any_site=True, size="C2")] == [None]
    assert (await corin.get(SHOP, params={"any_site": True})).status_code == 422
    assert (await corin.get(SHOP, params={"site": "VALE"})).status_code == 422
    # Whatever goes wrong on the short way is said on the long one.
    with monkeypatch.context() as patch:
        patch.setattr(Limits, "count", _unforeseen)
        wrong = await vale.get(SHOP)
    assert (wrong.status_code, wrong.json()["type"]) == (500, "/problems/internal-error")
    # A tag that is none is said to be, and no error of the service's.
    none = await vale.get(SHOP, headers={"If-None-Match": "nonsense"})
    assert (none.status_code, none.json()["type"]) == (400, "/problems/malformed-request")
    # What may be reserved at a site is the same number whoever asks.
    assert await ask(corin, size="C2") == await ask(client, site="CORIN", size="C2")


async def test_grades_and_buds_are_rows_of_their_own(client: httpx.AsyncClient) -> None:
    every = await ask(client, site="CORIN")
    assert {row["goods"] for row in every} == {"trees", "buds"}
    assert {row["grade"] for row in every} == {None}
    (buds,) = [row for row in every if row["goods"] == "buds"]
    assert (buds["rootstock"], buds["size"], buds["sure"]) == (None, None, "counted")
    graded = await ask(client, site="CORIN", by_grade=True, goods="trees")
    assert all(row["grade"] for row in graded)


async def test_rows_of_which_none_can_be_had_may_be_left_out(client: httpx.AsyncClient) -> None:
    wanted = {"site": "CORIN", "goods": "trees", "available": True}
    # given that all are spoken for until more are ready
    await reserve(client, "R-1", 44, needed_by=on(0))
    (later,) = await ask(client, **wanted)
    assert (later["available"], bool(later["changes"])) == (0, True)
    # when those too are spoken for there is nothing to show, then nor later
    await reserve(client, "R-2", 40, needed_by=on(40))
    assert await ask(client, **wanted) == []
    assert await ask(client, **wanted, date=on(50)) == []
    (row,) = await ask(client, site="CORIN", goods="trees")
    assert row["words"].startswith("8 in 10 sure: None of ")


async def test_pages_hold_each_row_once(client: httpx.AsyncClient) -> None:
    whole = await ask(client)
    found, address = [], f"{SHOP}?limit=1"
    while address:
        page = (await client.get(address)).json()
        found += page["items"]
        address = page["next"]
    assert found == whole
    assert len(whole) >= 3


MISTAKES: list[tuple[dict[str, str], str]] = [
    ({"cultivar": "NOPE"}, "cultivar"),
    ({"grade": "nope"}, "grade"),
    ({"any_site": "true", "site": "CORIN"}, "any_site"),
    ({"date": "2020-01-01"}, "date"),
    ({"date": on(9), "until": on(8)}, "until"),
    ({"cursor": "QUJD"}, "cursor"),
    ({"destination": "us"}, "destination"),
    ({"destination": ""}, "destination"),
    ({"quantity": "0"}, "quantity"),
]


async def test_what_can_mean_nothing_is_a_mistake(client: httpx.AsyncClient) -> None:
    for asked, parameter in MISTAKES:
        answer = await client.get(SHOP, params=asked)
        assert answer.status_code == 422, asked
        assert {error["parameter"] for error in answer.json()["errors"]} == {parameter}
    # The last day of all is a day.
    far = await client.get(SHOP, params={"date": "9999-12-31"})
    assert far.status_code == 200, far.text


async def test_whether_it_may_be_sent_is_another_question(client: httpx.AsyncClient) -> None:
    rule = {"title": "Citrus into Hill County", "value": "no entry", "source": "invented gazette 7",
            "as_of": "2026-01-01",
            "destination": {"region": "US-CA", "crop": "citrus", "answer": "not_allowed",
                            "sites": ["CORIN"]}}  # fmt: skip
    before = await client.get(SHOP, params={"size": "C2", "destination": "US-CA"})
    assert {row["sending"]["answer"] for row in before.json()["items"]} == {"ask_authority"}
    made = await client.put("/v1/rules/CA-1", json=rule)
    assert made.status_code == 201, made.text
    rows = await ask(client, size="C2", destination="US-CA")
    assert {row["site"]: row["sending"]["answer"] for row in rows} == {
        "CORIN": "not_allowed",
        "VALE": "ask_authority",
    }
    (corin,) = [row["sending"] for row in rows if row["site"] == "CORIN"]
    assert (corin["rule"], corin["source"], corin["as_of"]) == (
        "CA-1", "invented gazette 7", "2026-01-01",
    )  # fmt: skip
    told = await ask(client, "/v1/destinations", destination="US-CA,HOT-AREA")
    assert {(row["site"], row["goods"]) for row in told} >= {("CORIN", "trees"), ("CORIN", "buds")}
    assert next(row["sending"] for row in told if row["site"] == "CORIN") == corin
    assert (await client.get("/v1/destinations")).status_code == 422


def _in_words(day: str) -> str:
    return day_in_words(date.fromisoformat(day))

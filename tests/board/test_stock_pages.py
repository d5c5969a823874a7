"""Stock, ready, sold, take, push, bags, histories: what pages show is what the log answers."""

import csv
import io
import re
from collections.abc import AsyncIterator
from datetime import date
from html import unescape
from itertools import product
from typing import Any
from xml.etree import ElementTree

import httpx
import pytest
import pytest_asyncio

from service.log.keys import create_key
from service.storage.pool import open_database
from service.storage.walls import seeing
from service.views.stock_by_day import SQL, SUMMED
from tests.board.conftest import Visitor
from tests.board.looking import check_page
from tests.board.served import NOW, Served

ITEM = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "P4"}
WHOLE = "&".join(f"{name}={code}" for name, code in ITEM.items())


def visit(demo: Served, who: str, path: str, **query: str) -> httpx.Response:
    """A page as a browser without script asks for it."""
    return httpx.get(
        demo.url + path,
        params=query or None,
        cookies={"graftlog_seat": demo.cookies[who]},
        headers={"Accept": "text/html"},
    )


def rows_of(answer: httpx.Response) -> list[dict[str, str]]:
    """A CSV file's rows."""
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("text/csv")
    assert "attachment" in answer.headers["content-disposition"]
    return list(csv.DictReader(io.StringIO(answer.text)))


@pytest_asyncio.fixture(loop_scope="session", scope="module")
async def api(demo: Served) -> AsyncIterator[httpx.AsyncClient]:
    """The same service asked as a program does: the other way to the same answers."""
    async with (
        await open_database(demo.settings) as database,
        database.writer.acquire() as connection,
    ):
        key = await create_key(connection, name="pages-checked", role="administrator")
    headers = {"Authorization": f"Bearer {key.token}"}
    async with httpx.AsyncClient(base_url=demo.url, headers=headers, trust_env=False) as client:
        yield client


async def asked(api: httpx.AsyncClient, path: str, **query: Any) -> dict[str, Any]:
    answer = await api.get(path, params=query)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


@pytest.mark.asyncio(loop_scope="session")
async def test_stock_is_what_the_log_answers_on_both_clocks(
    demo: Served, api: httpx.AsyncClient
) -> None:
    """The file of the page against /v1/stock; a day of knowing is known by its end at the site."""
    for page, clocks in (
        ({}, {}),
        ({"day": "2026-06-01"}, {"as_of": "2026-06-01"}),
        (
            {"day": "2026-06-01", "known": "2026-06-02"},
            {"as_of": "2026-06-01", "known_at": "2026-06-02T23:59:59.999999+02:00"},
        ),
    ):
        answer = visit(demo, "manager", "/stock.csv", site="CORIN", **page)
        shown = {
            (row["Cultivar"], row["Rootstock"], row["Size"], row["Stage"]): int(row["Quantity"])
            for row in rows_of(answer)
            if row["Kind"] == "trees"
        }
        said = await asked(
            api,
            "/v1/stock",
            site="CORIN",
            kind="trees",
            group_by="cultivar,rootstock,size,stage",
            **clocks,
        )
        assert said["rows"], clocks
        assert shown == {
            (
                row.get("cultivar", ""),
                row.get("rootstock", ""),
                row.get("size", ""),
                row.get("stage", ""),
            ): row["quantity"]
            for row in said["rows"]
        }


def test_a_number_leads_to_its_lots_and_a_lot_to_its_events(demo: Served) -> None:
    page = visit(demo, "manager", "/stock", site="CORIN")
    found = re.search(r'<a href="(/stock/lots\?[^"]*stage=ready[^"]*)">([0-9,]+)</a>', page.text)
    assert found is not None
    lots = visit(demo, "manager", found[1].replace("&amp;", "&"))
    assert lots.status_code == 200
    assert f"{found[2]} in the lots below" in lots.text
    counts = re.findall(r'data-name="Quantity">([0-9,]+)<', lots.text)
    assert sum(int(n.replace(",", "")) for n in counts) == int(found[2].replace(",", ""))
    story = re.search(r"/lot/[A-Z0-9.-]+/history", lots.text)
    assert story is not None
    told = visit(demo, "manager", story[0])
    assert told.status_code == 200
    assert '<ol class="story">' in told.text


@pytest.mark.asyncio(loop_scope="session")
async def test_the_fan_and_what_can_be_sold_are_what_is_promised(
    demo: Served, api: httpx.AsyncClient
) -> None:
    """Each drawn number against the API's promise: there is what can be promised or is already."""
    sold = rows_of(visit(demo, "boss", "/can-be-sold/fan.csv", site="CORIN", **ITEM))
    fan = rows_of(visit(demo, "boss", "/ready/fan.csv", site="CORIN", **ITEM))
    assert len(sold) >= 53
    assert len(fan) >= 53
    for row in (sold[0], sold[10], sold[40]):
        said = await asked(
            api, "/v1/promises", **ITEM, site="CORIN", date=row["By the end of"], confidence=0.8
        )
        (one,) = said["items"]
        assert int(row["8 in 10 sure"]) == one["can_be_promised"]
        others = {other["confidence"]: other["can_be_promised"] for other in one["others"]}
        assert int(row["as likely as not"]) == others[0.5]
        assert int(row["9 in 10 sure"]) == others[0.9]
        same_day = next(r for r in fan if r["By the end of"] == row["By the end of"])
        assert int(same_day["promised so far"]) == one["promised_by"]
        assert int(same_day["8 in 10 sure"]) >= int(row["8 in 10 sure"])
    words = visit(demo, "boss", "/can-be-sold", site="CORIN", quantity="1000000", **ITEM).text
    assert f"8 in 10 sure: {int(sold[0]['8 in 10 sure']):,} can be sold by" in words
    assert "1,000,000 are not in sight" in words


@pytest.mark.asyncio(loop_scope="session")
@pytest.mark.parametrize("site", ["CORIN", "TARNA"])
async def test_what_can_be_sold_adds_up_with_the_stock(
    demo: Served, api: httpx.AsyncClient, site: str
) -> None:
    """What the pages say against two answers of the API: its promises, and its stock."""
    (one,) = (await asked(api, "/v1/promises", **ITEM, site=site, confidence=0.8))["items"]
    held = await asked(api, "/v1/stock", **ITEM, site=site, stage="ready", group_by="stage")
    in_stock = sum(row["quantity"] for row in held["rows"])
    told = {
        path: [
            unescape(line) for line in re.findall(r"<li>([^<]*)</li>", said.partition("adds-up")[2])
        ]
        for path in ("/ready", "/can-be-sold")
        for said in [visit(demo, "boss", path, site=site, **ITEM).text]
    }
    assert told["/ready"][:3] == told["/can-be-sold"][:3]
    said = told["/ready"][0]
    every, *parts = (int(n.replace(",", "")) for n in re.findall(r"[0-9][0-9,]*", said))
    assert every == in_stock
    if in_stock:
        assert sum(parts) == in_stock
        assert parts[0] == one["ready_now"]
    assert (f"{one['held_now']} held" in said) == (one["held_now"] > 0)
    grow = f"{one['growing']:,} tree"
    assert any(line.startswith(grow) for line in told["/ready"])


@pytest.mark.asyncio(loop_scope="session")
async def test_bags_and_rates_are_what_the_log_answers(
    demo: Served, api: httpx.AsyncClient
) -> None:
    bags = rows_of(visit(demo, "manager", "/bags/chart.csv", site="CORIN"))
    said = (await asked(api, "/v1/budwood", site="CORIN"))["items"]
    assert [(row["Bag"], row["Buds left"], row["Age in days"], row["Use by"]) for row in bags] == [
        (one["bag"], str(one["buds"]), str(one["age_days"]), one["use_by"] or "") for one in said
    ]
    rates = rows_of(visit(demo, "boss", "/take/chart.csv", site="*", by="rootstock"))
    all_told = await asked(api, "/v1/take-rates", by="rootstock", measure="take")
    told = [one for one in all_told["items"] if one["site"] is None]
    assert sorted((row["Crop"], int(row["Hits"]), int(row["Trees"])) for row in rates) == sorted(
        (one["crop"], one["hits"], one["n"]) for one in told
    )
    assert rates


@pytest.mark.asyncio(loop_scope="session")
async def test_a_story_holds_every_event_and_the_whole_family(
    demo: Served, api: httpx.AsyncClient
) -> None:
    lots = (await asked(api, "/v1/tree-lots", site="CORIN"))["items"]
    lot = max(lots, key=lambda one: len(one["parents"]))["code"]
    events = rows_of(visit(demo, "boss", f"/lot/{lot}/history.csv"))
    said = await asked(api, f"/v1/tree-lots/{lot}")
    assert len(events) == len(said["history"])
    assert {row["Voided"] for row in events} <= {"", "yes"}
    family = {row["Code"] for row in rows_of(visit(demo, "boss", f"/lot/{lot}/family.csv"))}
    steps = set()
    for direction in ("back", "forward"):
        told = await asked(api, f"/v1/tree-lots/{lot}/lineage", direction=direction)
        steps |= {one["code"] for one in told["steps"]}
    assert family == steps
    then = rows_of(visit(demo, "boss", f"/lot/{lot}/history.csv", day=str(NOW.date())))
    assert len(then) == len(events)


@pytest.mark.asyncio(loop_scope="session")
async def test_told_backward_from_now_stock_is_what_it_is_told_from_the_beginning(
    demo: Served,
) -> None:
    """Two ways to one answer, by any group and over any days; nothing that was not is told."""
    groups = [["site"], ["stage"], ["site", "cultivar", "rootstock", "size", "stage"], []]
    spans = [
        (date(2025, 6, 1), date(2026, 11, 21)),
        (date(2026, 3, 1), date(2026, 3, 1)),
        (date(2026, 11, 20), date(2027, 1, 1)),
    ]
    some = 0
    async with (
        await open_database(demo.settings) as database,
        seeing(database.reader, None) as conn,
    ):
        for group, days in product(groups, spans):
            asked = (group, list(SUMMED), None, None, None, None, None, None, None, *days)
            forward = [dict(row) for row in await conn.fetch(SQL.by_day, *asked)]
            backward = [dict(row) for row in await conn.fetch(SQL.by_day_back, *asked)]
            # What is the same as the day before need not be told, but on the first day.
            told = [r for r in forward if r["change"] or (r["quantity"] and r["day"] == days[0])]
            assert backward == told
            some += len(backward)
    assert some > 1000


def test_pictures_are_well_formed_and_hold_no_script(demo: Served) -> None:
    for path in (
        "/stock/by-day.svg?site=CORIN",
        f"/ready/fan.svg?site=CORIN&{WHOLE}",
        f"/ready/lots.svg?site=CORIN&{WHOLE}",
        f"/can-be-sold/fan.svg?site=CORIN&{WHOLE}",
        "/take/chart.svg?site=*",
        "/push/chart.svg",
        "/bags/chart.svg?site=CORIN",
    ):
        answer = visit(demo, "boss", path)
        assert answer.status_code == 200, path
        assert answer.headers["content-type"].startswith("image/svg+xml")
        root = ElementTree.fromstring(answer.text)
        assert root.tag.endswith("svg")
        assert "script" not in {one.tag.rpartition("}")[2] for one in root.iter()}


def test_what_belongs_to_another_site_is_not_shown(demo: Served) -> None:
    """The manager sees CORIN alone; what is asked of ELDRA is as unknown as nothing."""
    for path in ("/stock", "/stock.csv", "/stock/lots", "/ready", "/can-be-sold", "/take", "/bags"):
        assert visit(demo, "manager", path, site="ELDRA").status_code == 404, path
        every = visit(demo, "manager", path, site="*")
        assert every.status_code == 200, path
        assert "ELDRA" not in every.text, path
    known = visit(demo, "boss", "/stock/lots", site="ELDRA", kind="trees")
    hidden = re.search(r"/lot/(E-[A-Z0-9.-]+)/history", known.text)
    assert hidden is not None
    for part in ("history", "history.svg", "history.csv", "family.csv"):
        assert visit(demo, "manager", f"/lot/{hidden[1]}/{part}").status_code == 404
    # Who is compared with whom is for who may read grafters.
    assert "p-12" not in visit(demo, "desk", "/take", by="method", site="*").text
    assert visit(demo, "desk", "/take", by="grafter", site="*").status_code == 403
    assert visit(demo, "boss", "/take", by="grafter", site="*").status_code == 200


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/stock?day=2026-02-30", 422),
        ("/stock?day=2030-01-01", 422),
        ("/stock?day=%202026-06-01&known=2026-06-02%20", 200),
        ("/stock/lots?cultivar=NAVEL&day=%202026-06-01&known=2026-06-02%20", 200),
        ("/stock?known=soon", 422),
        ("/stock?known=0001-01-01", 422),
        ("/stock?day=9999-12-31&known=9999-12-31", 422),
        ("/stock?cultivar=%00", 422),
        ("/stock?site=NOWHERE", 404),
        ("/stock?stage=nonsense&kind=nonsense", 200),
        ("/stock?cultivar=NOSUCH", 200),
        ("/stock?nonsense=1", 422),
        ("/stock.csv?day=x", 422),
        ("/ready?cultivar=NOSUCH&rootstock=NOSUCH&size=NOSUCH", 200),
        ("/ready/fan.svg", 404),
        ("/can-be-sold?quantity=-1&cultivar=NAVEL&rootstock=CARRIZO&size=P4", 422),
        ("/can-be-sold?quantity=99999999999&cultivar=NAVEL&rootstock=CARRIZO&size=P4", 422),
        ("/can-be-sold?day=2090-12-31&cultivar=NAVEL&rootstock=CARRIZO&size=P4", 200),
        ("/can-be-sold?day=0001-01-01&cultivar=NAVEL&rootstock=CARRIZO&size=P4", 422),
        ("/take?by=nonsense", 422),
        ("/take?crop=%F0%9F%8D%8B", 200),
        ("/push?crop=nonsense", 200),
        ("/push/chart.csv?crop=nonsense", 404),
        ("/bags?cultivar=NOSUCH", 200),
        ("/bags/chart.svg?cultivar=NOSUCH", 404),
        ("/lot/NOSUCH/history", 404),
        ("/lot/%20/history", 404),
        ("/lot/C-G004/history?day=x", 422),
        ("/lot/C-G004/history?day=%202026-11-20&known=2026-11-20%20", 200),
        ("/lot/C-G004/history?known=9999-12-31", 422),
        ("/lot/C-G004/history?known=2090-12-31", 200),
    ],
)
def test_odd_questions_get_an_answer_in_words(demo: Served, path: str, status: int) -> None:
    answer = visit(demo, "boss", path)
    assert answer.status_code == status, answer.text[:300]
    assert "<h1" in answer.text or answer.headers["content-type"].startswith("application/problem")


@pytest.mark.parametrize("phone", [True, False], ids=["phone", "desktop"])
async def test_pages_fit_and_are_accessible(visitor: Visitor, phone: bool) -> None:
    who = "p-01" if phone else "boss"
    page = await visitor(who, phone=phone)
    size = "phone" if phone else "desktop"
    for name, path in (
        ("stock", "/stock?site=CORIN"),
        ("lots", f"/stock/lots?site=CORIN&{WHOLE}&stage=ready"),
        ("ready", "/ready?site=CORIN"),
        ("ready-item", f"/ready?site=CORIN&{WHOLE}"),
        ("sold-item", f"/can-be-sold?site=CORIN&{WHOLE}&quantity=100"),
        ("take", "/take?site=CORIN"),
        ("push", "/push"),
        ("bags", "/bags?site=CORIN"),
        ("history", "/lot/C-G004/history"),
    ):
        answer = await page.goto(path)
        assert answer is not None
        assert answer.status == 200, path
        body = await answer.body()
        assert len(body) < 150_000, f"{path} weighs {len(body)}"
        # Only one of the two drawings is to be seen.
        drawn = await page.locator("figure.chart svg:visible").count()
        assert drawn == await page.locator("figure.chart").count()
        await check_page(page, f"k-{name}-{size}")


async def test_stock_of_another_day_without_script(visitor: Visitor) -> None:
    """A plain form: chosen, sent, told in words, and back."""
    page = await visitor("manager", script=False)
    await page.goto("/stock")
    await page.get_by_text("Another day").click()
    await page.get_by_label("At the end of the day").fill(str(date(2026, 6, 1)))
    await page.get_by_role("button", name="Show").first.click()
    assert await page.get_by_text("At the end of Monday 1 June 2026").count() == 1
    await page.get_by_role("link", name="Show it as it is now").click()
    assert await page.get_by_text("At the end of Monday 1 June 2026").count() == 0

"""Tags and papers over HTTP: what is printed, who may, what a hold does to a file fetched later."""

from datetime import UTC, datetime
from typing import Any

import httpx
import pypdfium2
import pytest
import zxingcpp

from service.jobs.every_view import every_view
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import MakeClient
from tests.support.printed import said_in, text_of

TODAY = datetime.now(UTC).date()
HEALTH = {
    "authority": "Plant health service, invented",
    "phone": "+34 900 000 000",
    "country": "ES",
    "registration": "17460123",
    "inspected_on": "2026-01-01",
    "valid_until": "2199-12-31",
    "passport": {"title": "Pasaporte fitosanitario / Plant Passport", "union_flag": True},
}
SITE = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 39.5, "longitude": -0.4}
CATALOGUE: list[tuple[str, dict[str, Any]]] = [
    ("sites/CORIN", SITE | {"plant_health": HEALTH}),
    ("sites/VALE", SITE | {"name": "Vale"}),
    ("places/T1", {"site": "CORIN", "structure": "House 1"}),
    ("places/T2", {"site": "CORIN", "structure": "House 2"}),
    ("places/COOL", {"site": "CORIN", "structure": "Store", "place_kind": "cooler"}),
    ("places/V1", {"site": "VALE", "structure": "Vale house"}),
    ("cultivars/NAV", {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Navelina",
                       "licence_holder": "holder-1", "licence_terms": "No propagation."}),
    ("rootstocks/CARR", {"crop": "citrus", "name": "Carrizo citrange"}),
    ("sizes/C2", {"label": "2 litre"}),
    ("source-trees/ST-3", {"cultivar": "NAV", "registration": "reg-17"}),
]  # fmt: skip


def event(kind: str, day: str, /, **data: Any) -> dict[str, Any]:
    told = {name.rstrip("_"): value for name, value in data.items()}
    return {"type": kind, "site": "CORIN", "occurred": day, "data": told}


@pytest.fixture
async def boss(client_for: MakeClient, database: Database) -> httpx.AsyncClient:
    """A nursery with 20 trees of T-1 at T1, grafted of bag B-1; another site beside."""
    client = await client_for("administrator")
    for path, body in CATALOGUE:
        assert (await client.put(f"/v1/{path}", json=body)).status_code == 201
    bag = {"bag": "B-1", "buds": 40, "sticks": 4, "basis": "estimated", "place": "COOL"}
    told = [
        event("budwood.cut", "2026-03-01", lot="BW-1", cultivar="NAV", source_tree="ST-3",
              bags=[bag]),
        event("liners.received", "2026-03-01", lot="L-1", rootstock="CARR", size="C2",
              supplier="sup-1", lines=[{"place": "T1", "count": 50}]),
        event("trees.grafted", "2026-03-05", lot="T-1", from_=[{"bag": "B-1"}],
              onto={"liner_lot": "L-1"}, method="t_bud", place="T1", count=20),
    ]  # fmt: skip
    answer = await client.post("/v1/events", json=told)
    assert answer.status_code == 201, answer.text
    await Runner(database, every_view()).catch_up()
    return client


def read(answer: httpx.Response) -> list[str]:
    """The codes to scan on all pages of a PDF."""
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(answer.content)
    images = [page.render(scale=200 / 72).to_pil() for page in document]
    return sorted(code.text for image in images for code in zxingcpp.read_barcodes(image))


async def test_tags_of_places_lots_and_bags(boss: httpx.AsyncClient, base_url: str) -> None:
    def at(*codes: str) -> list[str]:
        return sorted(f"{base_url}/t/{code}" for code in codes)

    async def tags(**query: Any) -> httpx.Response:
        return await boss.get("/v1/tags.pdf", params=query)

    def addresses(answer: httpx.Response) -> list[str]:
        # Behind the tests' port the service knows its address by its settings.
        return [f"{base_url}/t/{text.rsplit('/', 1)[1]}" for text in read(answer)]

    places = await tags(of="places", site="CORIN", skip=22)
    assert addresses(places) == at("T1", "T2", "COOL")
    assert "House 2" in said_in(places)
    assert addresses(await tags(of="places", structure="House 2")) == at("T2")
    twice = await tags(of="lots", place="T1", copies=2, sheet="roll-70x40")
    assert addresses(twice) == at("T-1", "T-1", "L-1", "L-1")
    bags = await tags(of="bags", language="es", width=60, height=30, columns=3, rows=9)
    assert addresses(bags) == at("B-1")
    for word in ("B-1", "‘Navelina’", "árbol madre ST-3", "40 yemas (estimadas)", "lote BW-1"):
        assert word in said_in(bags), word
    named = await tags(of="lots", codes="T-1,BW-1")
    assert addresses(named) == at("T-1", "BW-1")
    assert "T-bud" in said_in(named)

    async def mistake(**query: Any) -> tuple[str, str]:
        answer = await tags(**query)
        assert answer.status_code == 422, answer.text
        (error,) = answer.json()["errors"]
        return error["kind"], error["parameter"]

    assert await mistake(of="lots", codes="T-1,T-9") == ("unknown_code", "codes")
    assert await mistake(of="bags", place="T1") == ("nothing_there", "of")
    assert await mistake(of="places", place="T1") == ("not_together", "place")
    assert await mistake(of="bags", structure="House 1") == ("not_together", "structure")
    assert await mistake(of="places", columns=4) == ("not_together", "sheet")
    assert await mistake(of="lots", width=30, height=12) == ("not_together", "sheet")
    most = ",".join(f"X{number}" for number in range(501))
    assert (await tags(of="lots", codes=most)).status_code == 422


async def test_papers_are_recorded_then_fetched_as_often_as_need_be(
    boss: httpx.AsyncClient, client_for: MakeClient
) -> None:
    asked = {"site": "CORIN", "paper": "plant_passport", "lot": "T-1", "count": 3}
    tried = await boss.post("/v1/papers?check=true", json=asked)
    assert (tried.status_code, tried.json()["id"]) == (200, None)
    made = await boss.post("/v1/papers", json=asked, headers={"Idempotency-Key": "one"})
    assert made.status_code == 201, made.text
    paper = made.json()
    assert made.headers["location"] == f"/v1/papers/{paper['id']}"
    assert (paper["printed"]["registration"], paper["printed"]["origin"]) == ("ES-17460123", "ES")
    again = await boss.post("/v1/papers", json=asked, headers={"Idempotency-Key": "one"})
    assert (again.headers["idempotency-replayed"], again.json()) == ("true", paper)
    assert (await boss.get(made.headers["location"])).json() == paper
    there = f"/v1/papers/{paper['id']}/tags.pdf"
    first = await boss.get(there)
    assert len(read(first)) == 3
    words = text_of(first.content)
    for word in ("Plant Passport", "A Citrus sinensis", "B ES-17460123", "C T-1", "D ES",
                 f"{paper['number']} · 3/3"):  # fmt: skip
        assert word in words, word
    assert (await boss.get(there)).content == first.content
    # Who only reads sees that it was printed, and prints none.
    reader = await client_for("auditor")
    assert (await reader.get("/v1/papers")).json()["items"] == [paper]
    assert (await reader.get(there)).status_code == 403
    assert (await reader.post("/v1/papers", json=asked)).status_code == 403


async def test_a_file_is_not_given_out_for_what_is_held_since(boss: httpx.AsyncClient) -> None:
    asked = {"site": "CORIN", "paper": "sale_tag", "lot": "T-1", "count": 2}
    paper = (await boss.post("/v1/papers", json=asked)).json()
    there = f"/v1/papers/{paper['id']}/tags.pdf"
    assert "No propagation." in text_of((await boss.get(there)).content)
    hold = event("hold.placed", str(TODAY), hold="H-1", kind="plant_health", target="source_tree",
                 code="ST-3", reason="psyllid seen")  # fmt: skip
    assert (await boss.post("/v1/events", json=hold)).status_code == 201
    for answer in (await boss.get(there), await boss.post("/v1/papers", json=asked)):
        assert answer.status_code == 409
        assert [error["kind"] for error in answer.json()["errors"]] == ["held"]
    newest = (await boss.get("/v1/papers?lot=T-1&paper=sale_tag&limit=1")).json()["items"]
    assert [one["id"] for one in newest] == [paper["id"]]


async def test_the_list_has_the_newest_first_and_pages(boss: httpx.AsyncClient) -> None:
    asked = {"site": "CORIN", "paper": "sale_tag", "lot": "T-1"}
    for count in (1, 2, 3):
        assert (await boss.post("/v1/papers", json=asked | {"count": count})).status_code == 201
    first = (await boss.get("/v1/papers?limit=2")).json()
    assert [one["count"] for one in first["items"]] == [3, 2]
    rest = (await boss.get(first["next"])).json()
    assert ([one["count"] for one in rest["items"]], rest["next"]) == ([1], None)
    void = event("event.voided", str(TODAY), event=rest["items"][0]["id"], reason="destroyed")
    assert (await boss.post("/v1/events", json=void)).status_code == 201
    voided = await boss.get(f"/v1/papers/{rest['items'][0]['id']}/tags.pdf")
    assert voided.status_code == 409
    assert voided.json()["errors"][0]["kind"] == "voided_already"

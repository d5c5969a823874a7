"""Tags and papers from the page to the printed sheet, in both languages, on both sizes."""

from collections.abc import AsyncIterator
from io import BytesIO
from urllib.parse import urljoin

import httpx
import pypdfium2
import pytest_asyncio
import zxingcpp
from playwright.async_api import Page

from service.log.people import Choices
from service.storage.pool import open_database
from tests.board.conftest import Visitor
from tests.board.looking import check_page, picture
from tests.board.served import NOW, Crew, Served, sign_in
from tests.support.printed import text_of

SELLER = Crew("sales", frozenset({"CORIN"}), Choices(language="es", home_site="CORIN"))


@pytest_asyncio.fixture(loop_scope="session", scope="module", autouse=True)
async def seller(demo: Served) -> AsyncIterator[None]:
    """Somebody who sells and reads Spanish."""
    async with await open_database(demo.settings) as database:
        demo.cookies["seller"] = await sign_in(database, "seller", SELLER, NOW)
        yield


async def sent(page: Page, action: str, demo: Served, who: str) -> httpx.Response:
    """What the form with this address answers as it is filled in: a file is not shown in a page."""
    query = await page.evaluate(
        "action => new URLSearchParams(new FormData("
        "document.querySelector(`form[action='${action}']`))).toString()",
        action,
    )
    async with httpx.AsyncClient(cookies={"graftlog_seat": demo.cookies[who]}) as client:
        return await client.get(urljoin(demo.url, f"{action}?{query}"))


def codes(answer: httpx.Response) -> list[str]:
    """The last part of each address on the sheet."""
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(BytesIO(answer.content))
    images = [page.render(scale=200 / 72).to_pil() for page in document]
    found = [one.text for image in images for one in zxingcpp.read_barcodes(image)]
    assert all("/t/" in text for text in found)
    return sorted(text.rpartition("/")[2] for text in found)


async def test_tags_are_printed_of_a_house_a_place_or_codes(visitor: Visitor, demo: Served) -> None:
    page = await visitor("manager")
    await page.goto("/tags")
    await check_page(page, "P-tags-phone")
    await page.select_option("#f-where", "C-T5")
    one = await sent(page, "/tags/print", demo, "manager")
    assert codes(one) == ["C-T5"]
    assert "Corin Hill" in text_of(one.content)
    await page.select_option("#f-of", "lots")
    assert len(codes(await sent(page, "/tags/print", demo, "manager"))) >= 1
    await page.fill("#f-codes", "o-c1 O-CW1-1")
    # A bag is no lot: said on the page, with all that was filled in.
    await page.click("text=Print tags")
    assert "not known here" in await page.inner_text(".wrong")
    assert await page.input_value("#f-codes") == "o-c1 O-CW1-1"
    assert await page.input_value("#f-where") == "C-T5"
    await page.fill("#f-codes", "o-c1")
    assert codes(await sent(page, "/tags/print", demo, "manager")) == ["O-C1"]
    wide = await visitor("p-01", phone=False)
    await wide.goto("/tags")
    await check_page(wide, "P-tags-desk-es")
    # Who records at the bench prints tags, and no papers.
    assert await wide.locator("form[action='/tags/papers']").count() == 0


async def test_papers_are_recorded_and_come_as_a_file(visitor: Visitor, demo: Served) -> None:
    page = await visitor("seller")
    await page.goto("/tags?lot=O-C1")
    await check_page(page, "P-papers-phone-es")
    await page.select_option("#f-paper", "plant_passport")
    await page.fill("#f-count", "2")
    await page.click("text=Anotar e imprimir")
    # These trees were here when the books were opened.
    assert "dónde se cultivó" in await page.inner_text("#e-origin")
    assert await page.input_value("#f-lot") == "O-C1"
    await page.fill("#f-origin", "es")
    await page.click("text=Anotar e imprimir")
    await page.wait_for_url("**/tags/paper/*")
    await check_page(page, "P-paper-phone-es")
    assert "ES-17460123" in await page.inner_text(".facts")
    action = f"{httpx.URL(page.url).path}/print"
    papers = await sent(page, action, demo, "seller")
    assert codes(papers) == ["O-C1", "O-C1"]
    assert "C O-C1" in text_of(papers.content)
    assert papers.headers["cache-control"] == "no-store"
    desk = await visitor("manager", phone=False)
    await desk.goto(page.url)
    await check_page(desk, "P-paper-desk")
    await desk.goto("/tags")
    assert page.url.rpartition("/")[2] in await desk.inner_html("#main")


async def test_why_nothing_is_printed_is_said_in_words(visitor: Visitor, demo: Served) -> None:
    page = await visitor("seller", phone=False, script=False)
    for lot, count, words in (
        ("C-UNK1", "1", "retenido"),
        ("O-C1", "499", "solo hay o se vendieron"),
        ("NOT-1", "1", "no se conoce"),
    ):
        await page.goto("/tags")
        await page.fill("#f-lot", lot)
        await page.fill("#f-count", count)
        await page.click("text=Anotar e imprimir")
        assert words in await page.inner_text(".error"), lot
        assert await page.input_value("#f-count") == count
    await picture(page, "P-papers-refused-es")

"""The morning round as people see it: at six, on a telephone, in the sun; and in the office."""

import re

import pytest

from tests.board.conftest import Visitor
from tests.board.looking import check_page


async def test_on_a_telephone_what_is_late_is_two_taps_from_its_form(visitor: Visitor) -> None:
    page = await visitor("manager")
    answer = await page.goto("/round")
    assert answer is not None
    assert answer.status == 200
    await check_page(page, "r-round-manager-phone")
    # What may hurt comes before everything else.
    heads = await page.locator("main h2").all_text_contents()
    assert heads[:3] == ["Do not enter", "Warmth and frost", "To look at"]
    assert "until today, 18:30" in await page.locator("#closed").inner_text()
    assert "too warm" in await page.locator("#warmth").inner_text()
    late = page.locator(".glance a", has_text="late").first
    await late.click()
    assert page.url.endswith("#tables")
    first = page.locator("ol.tables > li").first
    assert "days late" in await first.inner_text()
    code = await first.locator("a.tag").inner_text()
    await first.locator(".checks a").first.click()
    await page.wait_for_url(re.compile(f"/table/{code}/unwrap"))
    await page.go_back()
    await page.get_by_role("link", name="House by house").click()
    await page.wait_for_url(re.compile("order=walk"))
    chosen = page.locator("a[aria-current=true]")
    assert await chosen.inner_text() == "House by house"


@pytest.mark.parametrize("who", ["desk", "inspector"])
async def test_each_reads_it_in_their_units_and_by_their_rights(visitor: Visitor, who: str) -> None:
    page = await visitor(who, phone=who == "inspector")
    await page.goto("/round")
    await check_page(page, f"r-round-{who}")
    text = await page.locator("main").inner_text()
    # Neither records at the bench: tables are named, no form is offered.
    assert await page.locator(".checks a").count() == 0
    if who == "desk":
        assert "°F" in text
        assert "°C" not in text
    else:
        assert "1 logger silent" in text
        assert re.search(r"\d rows? late", text), "the site calls its tables rows"
        answer = await page.goto("/round?site=CORIN")
        assert answer is not None
        assert answer.status == 404


async def test_a_grafter_has_their_own_list_on_top_in_spanish(visitor: Visitor) -> None:
    page = await visitor("p-01")
    await page.goto("/round")
    await check_page(page, "r-round-p-01-phone")
    heads = await page.locator("main h2").all_text_contents()
    assert heads[:2] == ["No entrar", "Mis injertos de hoy"]
    assert "hasta hoy, 18:30" in await page.locator("#closed").inner_text()
    form = await page.locator("#grafting .checks a").first.get_attribute("href")
    assert form is not None
    assert re.fullmatch(r"/table/[A-Z0-9.-]+/graft\?bag=.+&liners=.+&work_order=.+", form)
    # And how what they grafted three weeks ago took.
    took = await page.locator("#grafting .lines").inner_text()
    assert "C-AUTUMN" in took
    assert "11 de 12" in took
    # An order is one card, however many bags it takes.
    orders = await page.locator("#grafting .tables > li .top small").all_text_contents()
    assert len(orders) == len(set(orders))
    await page.goto("/round/grafting")
    await check_page(page, "r-grafting-p-01-phone")
    assert await page.locator("h1").inner_text() == "Qué injertar hoy"


async def test_the_bar_stands_on_one_line_in_an_office_in_spanish(visitor: Visitor) -> None:
    page = await visitor("p-01", phone=False)
    # An address that is not understood says so, and not that something was not recorded.
    await page.goto("/round?nosuch=1")
    assert "Esta dirección no se entiende" in await page.locator("main").inner_text()
    tops = await page.locator(".ways li").evaluate_all(
        "all => [...new Set(all.map(one => one.getBoundingClientRect().top))]"
    )
    assert len(tops) == 1, tops
    await check_page(page, "w-bar-es-desktop")

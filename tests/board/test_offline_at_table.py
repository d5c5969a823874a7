"""At a real table without a connection: recorded when it is back, and what the book refuses."""

import re

import pytest
from playwright.async_api import Page, expect

from tests.board.conftest import Visitor
from tests.board.looking import check_page
from tests.board.served import Served
from tests.board.test_device import kept
from tests.board.test_evening import STANDING, asked, newest

# A lot that stands there in one stage, size and grade: the tap on its card chooses all.
ALONE = STANDING.replace(
    "ORDER BY",
    "AND NOT EXISTS (SELECT FROM balances o WHERE o.lot_id = b.lot_id AND o.place = b.place "
    "AND o.kind = 'trees' AND o.balance > 0 AND o.account_id <> b.account_id) ORDER BY",
)
pytestmark = pytest.mark.asyncio(loop_scope="session")


async def _lose(page: Page, count: str) -> None:
    await page.get_by_text("broken").click()
    await page.locator("input[name=count]").fill(count)
    await page.get_by_role("button", name="Save").click()


async def test_a_loss_told_offline_is_recorded_and_a_refusal_is_settled_by_a_count(
    visitor: Visitor, demo: Served
) -> None:
    page = await visitor("p-02", phone=True)
    stands = (await asked(demo, ALONE))[0]
    before = await newest(demo, "trees.lost")
    table, form = f"/table/{stands['place']}", f"/table/{stands['place']}/loss"
    await page.goto(table)
    await kept(page, form)
    await kept(page, table)
    await page.context.set_offline(True)
    await page.goto(table)
    await expect(page.locator("#device")).to_contain_text("As known")
    # With its style: a page without one would be there and of no use.
    await expect(page.locator("#device")).to_have_css("position", "fixed")
    await check_page(page, "o-table-offline-phone")
    await page.goto(f"{form}?lot={stands['lot']}")
    # Kept with nothing chosen, it says what the tap on the lot's card chose.
    await expect(page.locator("input[name=row]:checked")).to_have_value(
        re.compile(f"^trees:{stands['lot']}:")
    )
    await check_page(page, "o-loss-offline-phone")
    await _lose(page, "1")
    await expect(page.locator("#device")).to_contain_text("Kept on this device")
    await page.goto(f"{form}?lot={stands['lot']}")
    await _lose(page, "800")
    await expect(page.locator("#device")).to_contain_text("Waiting to be sent: 2")
    await page.context.set_offline(False)
    await expect(page.locator("#device")).to_contain_text("Refused: 1")
    assert await newest(demo, "trees.lost") == before + 1
    # The count that it asks for is one tap away, and then the loss is sent again by itself.
    await page.goto("/waiting")
    await check_page(page, "o-waiting-refused-phone")
    await page.get_by_role("link", name="The book was wrong").click()
    await page.locator("input[name=counted]").fill("2")
    await page.get_by_role("button", name="Save this count").click()
    await expect(page.locator("#device")).to_contain_text("right now")
    await expect(page.locator("[data-part=counts]")).to_be_hidden()
    assert await newest(demo, "trees.lost") == before + 2


async def test_the_first_page_and_what_waits_can_be_read_without_a_connection(
    visitor: Visitor,
) -> None:
    page = await visitor("p-02", phone=True)
    # No worker stood behind this page when it was opened.
    await page.goto("/round")
    await kept(page, "/round")
    await kept(page, "/waiting")
    await page.context.set_offline(True)
    await page.goto("/waiting")
    await expect(page.get_by_role("button", name="Send now")).to_be_visible()
    await page.goto("/round")
    await expect(page.locator("h1")).to_have_text("Morning round")
    await expect(page.locator("#device")).to_contain_text("As known")
    await page.goto("/lot/NEVER-SEEN")
    await expect(page.locator("#kept-pages")).to_contain_text("Morning round")

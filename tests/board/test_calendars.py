"""My calendars on a page: an address shown once, subscribed to without a cookie, and taken back."""

import httpx
import icalendar

from tests.board.conftest import Visitor
from tests.board.looking import check_page
from tests.board.served import Served


async def test_a_calendar_is_made_subscribed_to_and_taken_back(
    visitor: Visitor, demo: Served
) -> None:
    page = await visitor("p-01")
    await page.goto("/reminders/calendar")
    await page.get_by_role("button", name="Hacerlo").click()
    address = page.get_by_label("Pegarla donde")
    await check_page(page, "c-calendars-phone-es")
    path = httpx.URL(await address.input_value()).path
    assert (await page.get_by_role("link", name="Abrirla").get_attribute("href") or "").startswith(
        "webcal://"
    )
    async with httpx.AsyncClient(base_url=demo.url, trust_env=False) as program:
        read = await program.get(path)
        assert icalendar.Calendar.from_ical(read.content)["method"] == "PUBLISH"
        await page.goto("/reminders/calendar")
        # shown once
        assert await address.count() == 0
        await page.get_by_role("button", name="Retirar DAYS-1").click()
        await page.get_by_text("su dirección ya no muestra nada").wait_for()
        assert (await program.get(path)).status_code == 404
    desk = await visitor("boss", phone=False)
    await desk.goto("/reminders/calendar")
    await check_page(desk, "c-calendars-desktop")

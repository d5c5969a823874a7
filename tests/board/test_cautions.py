"""Cautions in a browser: read, reckoned with, and two forms that keep people and plants safe."""

import re

from playwright.async_api import expect

from tests.board.conftest import Visitor
from tests.board.looking import check_page, picture


async def test_cautions_are_read_and_bleach_is_reckoned_in_both_languages(
    visitor: Visitor,
) -> None:
    page = await visitor("manager")
    await page.goto("/cautions")
    await check_page(page, "c-cautions-phone")
    await page.get_by_label("The label says, in per cent").fill("5,25")
    await page.get_by_role("button", name="Work it out").click()
    # 1 % of a bottle of 5.25 %: 190.5 ml in a litre, rounded so that it is not too weak.
    await page.get_by_text("195 ml of bleach into 805 ml of water").wait_for()
    await check_page(page, "c-bleach-phone")
    await page.get_by_label("The label says, in per cent").fill("0.5")
    await page.get_by_role("button", name="Work it out").click()
    await page.get_by_text("too weak for this").wait_for()
    await page.get_by_label("The label says, in per cent").fill("five")
    await page.get_by_role("button", name="Work it out").click()
    await page.get_by_text("A number is wanted here, such as 5.25.").wait_for()

    spanish = await visitor("p-01", phone=False)
    await spanish.goto("/cautions")
    await check_page(spanish, "c-cautions-desktop-es")
    read = await spanish.locator("main").inner_text()
    assert "nadie anotó" in read or "cerrado hasta" in read or "nada anotado" in read
    await spanish.goto("/treatment")
    await check_page(spanish, "c-treatment-desktop-es")
    await spanish.goto("/hold")
    await check_page(spanish, "c-hold-desktop-es")


async def test_a_treatment_closes_its_house_from_its_end_on(visitor: Visitor) -> None:
    page = await visitor("boss", script=False)
    # Where no other test works: the nursery is the same for all, and a closed house is shown.
    await page.goto("/treatment?site=TARNA")
    await page.get_by_role("button", name="Save").click()
    await page.get_by_text("Say where: tick a house").first.wait_for()
    await picture(page, "c-treatment-phone")
    await page.get_by_label("packing shed").check()
    await page.get_by_label("Product, as its label names it").fill("horticultural oil")
    await page.get_by_label("Began").fill("06:10")
    await page.get_by_label("Ended").fill("07:45")
    await page.get_by_label("Re-entry time by the label, in hours").fill("12")
    await page.get_by_role("button", name="Save").click()
    await page.get_by_text("Recorded. The whole house is closed").wait_for()
    await expect(page.locator("h1")).to_have_text("Morning round")
    await page.goto("/cautions?site=TARNA")
    # 12 hours from its end, in the site's own time
    await page.get_by_text(re.compile(r"closed until .*19:45")).wait_for()
    assert "packing shed" in await page.locator("#treatments").inner_text()


async def test_a_find_is_held_and_the_number_is_shown(visitor: Visitor) -> None:
    page = await visitor("p-01", script=False)
    await page.goto("/hold?target=place&code=NO-SUCH")
    await picture(page, "c-hold-phone-es")
    await page.locator("#f-reason").fill("mancha sospechosa")
    await page.locator("main button.main").click()
    await page.get_by_role("alert").wait_for()
    assert await page.locator("#f-reason").input_value() == "mancha sospechosa"
    # What is there is held, and the lot's page says so.
    await page.goto("/hold?target=lot&code=C-G019&site=CORIN")
    await page.locator("#f-reason").fill("mancha sospechosa")
    await page.locator("main button.main").click()
    await expect(page).to_have_url(re.compile("/lot/C-G019$"))
    await expect(page.locator("main")).to_contain_text("retenido")

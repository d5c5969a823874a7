"""Signing in and the people of a nursery in a real browser, on a telephone and a screen."""

import io
import re

import zxingcpp
from PIL import Image
from playwright.async_api import Page, expect

from tests.board.conftest import Visitor
from tests.board.looking import check_page
from tests.board.served import Served


async def link_on(page: Page) -> str:
    """The path of the link that a page hands over, by what a telephone's camera reads there."""
    picture = await page.get_by_role("img", name=re.compile("QR")).screenshot()
    (read,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(picture)))
    assert read.text in await page.locator("main").inner_text()
    return f"/i/{read.text.partition('/i/')[2]}"


async def test_a_manager_lets_somebody_in_who_signs_in_and_loses_the_telephone(
    visitor: Visitor, demo: Served
) -> None:
    # given a manager at the office
    office = await visitor("manager", phone=False)
    await office.goto("/people")
    await check_page(office, "s-people-desktop")
    await office.get_by_label("Name", exact=True).fill("Rosa Ibarra")
    await office.get_by_label("Language").select_option("es")
    await office.get_by_role("button", name="Make the link").click()
    await expect(office.locator(".spoken")).to_be_visible()
    await check_page(office, "s-link-desktop")
    link = await link_on(office)
    # when the code that was read out is typed on a telephone without a script
    phone = await visitor(script=False)
    await phone.goto("/stock")
    await expect(phone).to_have_url(re.compile(r"/sign-in\?then=%2Fstock$"))
    await phone.get_by_role("textbox").fill("aaaaa-aaaaa")
    await phone.get_by_role("button", name="Sign in").click()
    await expect(phone.get_by_role("textbox")).to_have_attribute("aria-invalid", "true")
    code = await office.locator(".spoken").inner_text()
    await phone.get_by_role("textbox").fill(f" {code.lower()} ")
    await phone.get_by_role("button", name="Sign in").click()
    await expect(phone).to_have_url(f"{demo.url}/stock")
    # then the telephone speaks the language that was chosen for it, and knows the name
    await phone.goto("/me")
    await expect(phone.locator("html")).to_have_attribute("lang", "es")
    await expect(phone.get_by_role("heading", level=1)).to_have_text("Rosa Ibarra")
    # and the link is used up
    late = await visitor()
    await late.goto(link)
    await expect(late.get_by_role("button", name="Sign this device in")).to_have_count(0)
    await check_page(late, "s-used-link-phone")
    await late.get_by_role("link", name="Type a code").click()
    await late.get_by_role("textbox").fill("aaaaa-aaaaa")
    await late.get_by_role("button", name="Sign in").click()
    await expect(late.get_by_role("textbox")).to_have_attribute("aria-invalid", "true")
    await check_page(late, "s-wrong-code-phone")
    # when the manager signs the lost telephone out
    await office.get_by_role("link", name="Rosa Ibarra").click()
    await expect(office).to_have_url(re.compile(r"/people/p-"))
    await office.wait_for_load_state("load")
    await check_page(office, "s-person-desktop")
    await office.get_by_role("button", name="Sign out everywhere").click()
    await expect(office.get_by_role("status")).to_have_text("1 device is signed out.")
    # then it is out at once
    await phone.goto("/me")
    await expect(phone).to_have_url(re.compile("/sign-in"))


async def test_a_link_over_plain_http_in_the_nurserys_own_network(
    visitor: Visitor, demo: Served
) -> None:
    """No localhost and no TLS: browsers then tell less of where a form comes from."""
    url = demo.url.replace("127.0.0.1", "nursery.test")
    office = await visitor("boss")
    await office.goto("/people/p-02")
    await office.get_by_role("button", name="Make a link").click()
    link = await link_on(office)
    await check_page(office, "s-link-phone")
    phone = await visitor()
    await phone.goto(url + link)
    await check_page(phone, "s-invited-phone")
    assert not await phone.evaluate("window.isSecureContext")
    await phone.get_by_role("button", name="Sign this device in").click()
    await expect(phone.locator("body")).to_have_attribute("data-person", "p-02")
    assert await phone.evaluate("document.cookie") == ""
    # what is chosen is kept, and said in the language that was chosen
    await phone.goto(f"{url}/me")
    await check_page(phone, "s-me-phone")
    await phone.get_by_label("Language").select_option("es")
    await phone.get_by_label("Temperatures").select_option("f")
    await phone.get_by_role("button", name="Keep").click()
    await expect(phone.get_by_role("status")).to_have_text("Los ajustes están guardados.")
    await expect(phone.get_by_label("Temperaturas")).to_have_value("f")
    # back as it was, for those who come after
    await phone.get_by_label("Idioma").select_option("en")
    await phone.get_by_label("Temperaturas").select_option("c")
    await phone.get_by_role("button", name="Guardar").click()
    await phone.get_by_role("button", name="Sign out on this device").click()
    await expect(phone.get_by_role("status")).to_have_text("You are signed out on this device.")


async def test_people_on_a_telephone_in_spanish(visitor: Visitor) -> None:
    page = await visitor("boss")
    await page.goto("/me")
    await page.get_by_label("Language").select_option("es")
    await page.get_by_role("button", name="Keep").click()
    await page.goto("/people")
    await check_page(page, "s-people-phone-es")
    await page.goto("/people/manager")
    await check_page(page, "s-person-phone-es")
    await page.goto("/me")
    await check_page(page, "s-me-phone-es")
    await page.get_by_label("Idioma").select_option("en")
    await page.get_by_role("button", name="Guardar").click()

"""What all pages share: the way in, problems in words, files, guarded forms."""

import re

import httpx
import pytest

from tests.board.conftest import Visitor
from tests.board.looking import check_page, worker_at_work
from tests.board.served import Served


@pytest.mark.parametrize("phone", [True, False])
async def test_every_page_is_named_in_words(visitor: Visitor, phone: bool) -> None:
    page = await visitor("manager", phone=phone)
    await page.goto("/more")
    assert await page.get_by_role("link", name=re.compile("Can be sold")).count() >= 1
    await check_page(page, f"more-{'phone' if phone else 'desktop'}")


async def test_a_page_that_is_not_there_says_so(visitor: Visitor) -> None:
    page = await visitor("p-01")
    answer = await page.goto("/no/such/page")
    assert answer is not None
    assert answer.status == 404
    assert await page.get_by_role("heading").count() == 1
    await check_page(page, "problem-phone")
    # Nor does what is no text at all stop the service worker from bringing it.
    await worker_at_work(page)
    answer = await page.goto("/t/%ff")
    assert answer is not None
    assert answer.status == 404


def test_files_are_kept_for_ever_and_asked_for_anew_when_they_change(demo: Served) -> None:
    page = httpx.get(f"{demo.url}/more", cookies={"graftlog_seat": demo.cookies["manager"]})
    address = re.search(r'href="(/static/[0-9a-f]+/board\.css)"', page.text)
    assert address is not None
    style = httpx.get(demo.url + address[1])
    assert style.status_code == 200
    assert "immutable" in style.headers["cache-control"]
    assert httpx.get(f"{demo.url}/static/0000000000000000/board.css").status_code == 404


def test_who_is_not_signed_in_is_led_to_it_and_back(demo: Served) -> None:
    answer = httpx.get(f"{demo.url}/more?x=1", headers={"Accept": "text/html"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?then=%2Fmore%3Fx%3D1"

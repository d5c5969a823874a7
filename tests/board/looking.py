"""Looking at a page: is it accessible, does it fit, and a picture of it for who wants one."""

import asyncio
from pathlib import Path
from typing import Any

from axe_playwright_python.async_playwright import Axe
from playwright.async_api import Page

from tests.board.conftest import PICTURES

# Every rule is asked, and what is right is not sent over node by node: twice as quick.
ONLY_WRONG = {"resultTypes": ["violations"]}
# Seconds; what a page is asked to wait for has no end of its own.
PATIENCE = 20


async def given(page: Page, script: str, argument: object = None) -> Any:
    """What a script of ours waits for on a page. Raises TimeoutError."""
    async with asyncio.timeout(PATIENCE):
        return await page.evaluate(script, argument)


async def worker_at_work(page: Page) -> None:
    """Wait until the page's service worker is installed."""
    await given(page, "navigator.serviceWorker.ready.then((worker) => worker.scope)")


async def check_accessible(page: Page) -> None:
    """Nothing serious or critical by axe-core (WCAG 2.2 A and AA, and best practices)."""
    async with asyncio.timeout(PATIENCE):
        found = (await Axe().run(page, options=ONLY_WRONG)).response["violations"]
    bad = [
        f"{one['id']}: {one['help']}: " + "; ".join(str(node["target"]) for node in one["nodes"])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
    assert bad == [], f"{page.url}: {bad}"


async def check_fits(page: Page) -> None:
    """Nothing sticks out of the screen sideways."""
    wide = await page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, f"{page.url} is {wide} px too wide"


async def picture(page: Page, name: str) -> None:
    """A picture of the whole page, where GRAFTLOG_TEST_PICTURES says a folder."""
    if PICTURES:
        await page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=True)


async def check_page(page: Page, name: str) -> None:
    """All of it."""
    await picture(page, name)
    await check_fits(page)
    await check_accessible(page)

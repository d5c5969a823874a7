"""Fixtures for pages: the nursery served once for all, and browsers of two sizes."""

import os
import shutil
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, BrowserContext, Page, ViewportSize, async_playwright

from tests.board.served import Served, serving
from tests.support.database import TestServer

PHONE = ViewportSize(width=360, height=740)
DESKTOP = ViewportSize(width=1280, height=800)
_ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    # A name that is no localhost: what browsers allow there alone shows as in a nursery's network.
    "--host-resolver-rules=MAP nursery.test 127.0.0.1",
)
# Where pictures of pages go, for who wants to look at them.
PICTURES = os.environ.get("GRAFTLOG_TEST_PICTURES")

Visitor = Callable[..., Awaitable[Page]]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One process serves and shows all pages: the nursery is loaded once, one browser opened."""
    here = str(Path(__file__).parent)
    for item in items:
        if str(item.path).startswith(here):
            item.add_marker(pytest.mark.xdist_group("board"))
            if "browser" in getattr(item, "fixturenames", ()):
                # The browser is spoken to from one loop as long as it is open.
                item.add_marker(pytest.mark.asyncio(loop_scope="session"), append=False)


@pytest_asyncio.fixture(loop_scope="session", scope="session")
async def browser() -> AsyncIterator[Browser]:
    """The system's Chromium."""
    found = os.environ.get("GRAFTLOG_TEST_BROWSER") or shutil.which("chromium")
    if found is None:
        pytest.skip("no chromium is installed (GRAFTLOG_TEST_BROWSER names another place)")
    async with async_playwright() as playwright:
        opened = await playwright.chromium.launch(executable_path=found, args=list(_ARGUMENTS))
        yield opened
        await opened.close()


@pytest.fixture(scope="session")
def demo(server: TestServer) -> Iterator[Served]:
    """The invented nursery, served; tests may record there, each at tables of its own."""
    with serving(server) as served:
        yield served


@pytest_asyncio.fixture(loop_scope="session")
async def visitor(browser: Browser, demo: Served) -> AsyncIterator[Visitor]:
    """`await visitor("manager", phone=True)`: a page of a browser on which they are signed in."""
    opened: list[BrowserContext] = []

    async def visit(who: str | None = None, *, phone: bool = True, script: bool = True) -> Page:
        context = await browser.new_context(
            base_url=demo.url,
            viewport=PHONE if phone else DESKTOP,
            has_touch=phone,
            is_mobile=phone,
            java_script_enabled=script,
        )
        context.set_default_timeout(10_000)
        opened.append(context)
        if who is not None:
            cookie = {"name": "graftlog_seat", "value": demo.cookies[who], "url": demo.url}
            await context.add_cookies([cookie])  # type: ignore[list-item]
        return await context.new_page()

    yield visit
    for context in opened:
        await context.close()

"""What is typed on a device is never lost, never recorded twice, never under a wrong name.

In the system's browser, with a server that breaks off, stays silent or lies as networks do.
"""

from collections.abc import AsyncIterator, Iterator

import pytest
import pytest_asyncio
from playwright.async_api import Browser, BrowserContext, Locator, Page, expect

from tests.board.device_stub import Stub, stub_server
from tests.board.looking import given, worker_at_work


@pytest.fixture
def stub() -> Iterator[Stub]:
    with stub_server() as server:
        yield server


@pytest_asyncio.fixture(loop_scope="session")
async def phone(browser: Browser, stub: Stub) -> AsyncIterator[BrowserContext]:
    context = await browser.new_context(base_url=stub.url, viewport={"width": 360, "height": 740})
    context.set_default_timeout(8000)
    yield context
    await context.close()


async def kept(page: Page, path: str) -> None:
    """Wait until the worker is at work and has kept a page."""
    await given(
        page,
        """async (path) => {
            const there = async () => (await caches.open("pages")).match(path);
            while (!(navigator.serviceWorker.controller && (await there())))
                await new Promise((next) => setTimeout(next, 20));
        }""",
        path,
    )


async def opened(phone: BrowserContext, path: str = "/table/T1") -> Page:
    """A page with its worker at work and itself kept."""
    page = await phone.new_page()
    await page.goto(path)
    await worker_at_work(page)
    await page.reload()
    await kept(page, path)
    return page


async def record(page: Page, count: str) -> None:
    await page.fill("#count", count)
    await page.get_by_role("button", name="Record").click()


def bar(page: Page) -> Locator:
    return page.locator("#device")


async def all_sent(page: Page) -> None:
    await expect(page.locator("[data-part=counts]")).to_be_hidden()


async def come_back(page: Page) -> None:
    """The browser notices that there is a connection again."""
    await page.evaluate("window.dispatchEvent(new Event('online'))")


async def test_what_is_typed_without_a_connection_is_sent_in_order_when_it_is_back(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    await phone.set_offline(True)
    stub.mood = "down"
    for count in ("1", "2"):
        await record(page, count)
        await expect(bar(page)).to_contain_text("Kept on this device: Loss, T1")
        await expect(page.locator("#count")).to_have_value("")
    # The page is read as it was and says how old that is; what is typed into it is a new entry.
    await page.goto("/table/T1")
    await expect(bar(page)).to_contain_text("As known")
    await record(page, "3")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 3")
    # The browser is closed and opened again before there is a connection.
    await page.close()
    page = await phone.new_page()
    await page.goto("/table/T1")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 3")
    assert stub.recorded == []
    stub.mood = "up"
    await phone.set_offline(False)
    await stub.until(lambda: stub.counts() == ["1", "2", "3"])
    await all_sent(page)
    entries = [fields["entry"] for _, fields in stub.recorded]
    assert len(set(entries)) == 3
    assert all(entry[14] == "7" for entry in entries)
    # By the server's clock, which is far off the device's.
    assert all(f["occurred"].startswith("2026-11-21T07:3") for _, f in stub.recorded)


async def test_a_lost_answer_is_asked_for_again_under_the_same_id(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    stub.mood = "deaf"
    await record(page, "5")
    await stub.until(lambda: stub.counts() == ["5"])
    await expect(bar(page)).to_contain_text("Kept on this device")
    # It may be recorded already, so it can't be changed now.
    entry = stub.posted[0]
    assert await page.evaluate(f"graftlog.queue.aside('{entry}')") is False
    stub.mood = "up"
    await come_back(page)
    await stub.until(lambda: stub.counts() == ["5"])
    await all_sent(page)
    assert set(stub.posted) == {entry}


async def test_a_hotspots_page_is_not_taken_for_an_answer(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    stub.mood = "hotspot"
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 1")
    # Nor is it kept in place of the page.
    await page.reload()
    stub.mood = "down"
    await page.goto("/table/T1")
    await expect(page.locator("h1")).to_have_text("Table T1")
    stub.mood = "up"
    await come_back(page)
    await stub.until(lambda: stub.counts() == ["5"])
    await all_sent(page)


@pytest.mark.parametrize("mood", ["busy", "failing"])
async def test_an_entry_that_the_service_cannot_take_now_waits(
    phone: BrowserContext, stub: Stub, mood: str
) -> None:
    page = await opened(phone)
    stub.mood = "busy" if mood == "busy" else "failing"
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 1")
    await record(page, "6")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 2")
    # A mistake of the service at one entry does not stop the next; a busy one is left alone.
    if mood == "failing":
        await stub.until(lambda: len(set(stub.posted)) == 2)
    else:
        assert len(set(stub.posted)) == 1
    stub.mood = "up"
    await come_back(page)
    await stub.until(lambda: sorted(stub.counts()) == ["5", "6"])
    await all_sent(page)


async def test_two_tabs_send_each_entry_once(phone: BrowserContext, stub: Stub) -> None:
    one = await opened(phone)
    other = await opened(phone)
    await phone.set_offline(True)
    for number in range(3):
        await record(one if number % 2 else other, str(number))
        await expect(bar(one)).to_contain_text(f"Waiting to be sent: {number + 1}")
    await phone.set_offline(False)
    await stub.until(lambda: stub.counts() == [str(number) for number in range(3)])
    await all_sent(one)
    assert len(stub.posted) == 3


async def test_a_double_tap_is_one_entry(phone: BrowserContext, stub: Stub) -> None:
    page = await opened(phone)
    await page.fill("#count", "5")
    await page.evaluate("{ const b = document.querySelector('button'); b.click(); b.click(); }")
    await expect(bar(page)).to_contain_text("Recorded.")
    assert len(stub.posted) == 1


async def test_a_refusal_is_explained_and_put_right(phone: BrowserContext, stub: Stub) -> None:
    page = await opened(phone)
    await record(page, "999")
    refusal = page.get_by_role("alert")
    await expect(refusal).to_contain_text("Only 24 stand there.")
    await expect(page.locator("#count")).to_have_value("999")
    entry = stub.posted[0]
    count = refusal.get_by_role("link", name="The book was wrong")
    assert await count.get_attribute("href") == f"/table/T1?again={entry}"
    # It is kept too, and can be put right from the list, in the form that it was typed in.
    await page.goto("/waiting")
    await page.get_by_role("link", name="Put it right").click()
    await expect(page.get_by_role("alert")).to_contain_text("Only 24 stand there.")
    await expect(page.locator("#count")).to_have_value("999")
    await record(page, "24")
    await stub.until(lambda: stub.counts() == ["24"])
    await all_sent(page)
    assert set(stub.posted) == {entry}


async def test_a_count_that_settles_a_refusal_has_the_refused_entry_sent_again(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    await record(page, "999")
    await expect(page.get_by_role("alert")).to_be_visible()
    await page.goto(f"/table/T1?again={stub.posted[0]}")
    await record(page, "30")
    await expect(bar(page)).to_contain_text("Refused: 1")
    await stub.until(lambda: len(stub.posted) == 3)
    assert stub.posted[2] == stub.posted[0] != stub.posted[1]
    await expect(bar(page)).to_contain_text("Recorded.")
    # What nobody wants sent any more is put aside, and can be taken back.
    await page.goto("/waiting")
    await page.get_by_role("button", name="Put aside").click()
    await expect(page.get_by_role("heading", name="Put aside, not recorded")).to_be_visible()
    await expect(page.locator("[data-part=counts]")).to_be_hidden()
    await page.get_by_role("button", name="Send it after all").click()
    await expect(bar(page)).to_contain_text("Refused: 1")


async def test_what_is_put_aside_while_it_is_about_to_be_sent_is_not_sent(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    stub.mood = "down"
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Kept on this device")
    stub.mood = "up"
    # Another tab writes in the moment in which the sender has read the list.
    outcome = await page.evaluate(
        """() => {
            const { getAll } = IDBObjectStore.prototype;
            IDBObjectStore.prototype.getAll = function () {
                IDBObjectStore.prototype.getAll = getAll;
                const asked = getAll.call(this);
                const aside = () => graftlog.queue.aside(asked.result[0].entry);
                asked.addEventListener("success", aside);
                return asked;
            };
            return graftlog.queue.sendNow();
        }"""
    )
    assert outcome == "sent"
    assert stub.posted == []
    await page.evaluate(
        "graftlog.queue.all().then(([one]) => graftlog.queue.back(one.entry)).then(graftlog.send)"
    )
    assert stub.counts() == ["5"]


async def test_entries_go_under_the_name_of_who_typed_them_or_not_at_all(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    await phone.set_offline(True)
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 1")
    await phone.set_offline(False)
    # Another signs in on the same telephone.
    stub.person = "bea"
    stub.posted.clear()
    stub.recorded.clear()
    await page.goto("/table/T1")
    await expect(bar(page)).to_contain_text("Of somebody else")
    await record(page, "7")
    await expect(bar(page)).to_contain_text("Recorded.")
    assert stub.counts("ana") == []
    assert stub.counts("bea") == ["7"]
    # What Ana read is gone with her.
    stub.mood = "down"
    await page.goto("/table/T1")
    assert await page.get_attribute("body", "data-person") == "bea"
    stub.mood, stub.person = "up", "ana"
    await page.goto("/table/T1")
    await stub.until(lambda: stub.counts("ana") == ["5"])
    await all_sent(page)


async def test_who_signs_in_between_asking_and_sending_is_noticed(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)

    def another(server: Stub) -> None:
        server.person, server.ask = "bea", None

    stub.ask = another
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Sign in to send them")
    assert stub.recorded == []


async def test_a_session_that_has_ended_keeps_what_is_typed(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    stub.person = None
    await record(page, "5")
    await expect(bar(page)).to_contain_text("once you have signed in again")
    await expect(bar(page).get_by_role("link", name="Sign in to send them")).to_be_visible()
    stub.person = "ana"
    await come_back(page)
    await stub.until(lambda: stub.counts() == ["5"])
    await all_sent(page)


async def test_signing_out_warns_of_what_waits_and_takes_the_pages_along(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    stub.mood = "busy"
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 1")
    await page.get_by_role("button", name="Sign out", exact=True).click()
    dialog = page.get_by_role("dialog")
    await expect(dialog).to_contain_text("Not recorded yet: 1")
    await dialog.get_by_role("button", name="Stay signed in").click()
    await expect(dialog).to_be_hidden()
    await page.get_by_role("button", name="Sign out", exact=True).click()
    async with page.expect_navigation():
        await dialog.get_by_role("button", name="Sign out all the same").click()
    assert stub.person is None
    stub.mood = "down"
    await page.goto("/table/T1")
    await expect(page.locator("h1")).to_have_text("No connection")
    stub.mood, stub.person = "up", "ana"
    await page.goto("/table/T1")
    await stub.until(lambda: stub.counts() == ["5"])
    await all_sent(page)


async def test_what_was_typed_and_not_sent_comes_back_to_who_typed_it(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    await page.fill("#note", "half a thou")
    await page.close()
    stub.person = "bea"
    page = await opened(phone)
    await expect(page.locator("#note")).to_have_value("")
    stub.person = "ana"
    await page.goto("/table/T1")
    await expect(page.locator("#note")).to_have_value("half a thou")
    await expect(bar(page)).to_contain_text("What you had typed here is back")
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Recorded.")
    await page.reload()
    await expect(page.locator("#note")).to_have_value("")
    assert stub.recorded[0][1]["note"] == "half a thou"


async def test_a_browser_that_keeps_nothing_sends_at_once_and_never_empties_the_form(
    phone: BrowserContext, stub: Stub
) -> None:
    await phone.add_init_script(
        "IDBFactory.prototype.open = () => { throw new DOMException('full'); }"
    )
    page = await phone.new_page()
    await page.goto("/table/T1")
    await phone.set_offline(True)
    await record(page, "5")
    await expect(bar(page)).to_contain_text("This device can keep nothing")
    await expect(page.locator("#count")).to_have_value("5")
    await phone.set_offline(False)
    async with page.expect_navigation():
        await page.get_by_role("button", name="Record").click()
    assert stub.counts() == ["5"]


async def test_the_worker_sends_with_every_page_closed(phone: BrowserContext, stub: Stub) -> None:
    page = await opened(phone)
    await phone.set_offline(True)
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 1")
    worker = phone.service_workers[0]
    await page.close()
    await phone.set_offline(False)
    # What the browser does once there is a connection (Background Sync).
    await worker.evaluate(
        "new Promise((done) => { const event = new ExtendableEvent('sync');"
        " Object.defineProperty(event, 'tag', {value: 'entries'});"
        " Object.defineProperty(event, 'waitUntil', {value: (work) => work.then(done)});"
        " self.dispatchEvent(event); })"
    )
    assert stub.counts() == ["5"]


async def test_tables_of_the_round_and_their_forms_are_there_without_a_connection(
    phone: BrowserContext, stub: Stub
) -> None:
    page = await opened(phone)
    await kept(page, "/table/T2/loss")
    await phone.set_offline(True)
    # A tag is scanned, or its code typed, and a form is opened for one of the lots.
    for address in ("/t/T2", "/find?q=t2"):
        await page.goto(address)
        assert page.url.endswith("/table/T2")
        await expect(page.locator("h1")).to_have_text("Table T2")
        await expect(bar(page)).to_contain_text("As known")
    assert "Told once." not in await page.content()
    await page.get_by_role("link", name="Loss").click()
    await record(page, "5")
    await expect(bar(page)).to_contain_text("Waiting to be sent: 1")
    await page.goto("/table/T9")
    await expect(page.locator("h1")).to_have_text("No connection")
    await expect(page.locator("#kept-pages")).to_contain_text("Table T1")
    await phone.set_offline(False)
    await stub.until(lambda: stub.counts() == ["5"])


async def test_without_scripts_it_is_a_plain_form(browser: Browser, stub: Stub) -> None:
    context = await browser.new_context(base_url=stub.url, java_script_enabled=False)
    page = await context.new_page()
    await page.goto("/table/T1")
    async with page.expect_navigation():
        await record(page, "5")
    assert stub.counts() == ["5"]
    await context.close()

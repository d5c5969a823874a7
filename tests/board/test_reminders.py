"""Reminders on pages: what is said of an alert, choices, the morning's mail, links in mails."""

import asyncio
import re
from collections.abc import AsyncIterator
from datetime import timedelta
from uuid import uuid4

import httpx
import pytest
import pytest_asyncio
from playwright.async_api import expect

from service.log import people
from service.log.people import Choices
from service.log.rights import ROLES
from service.reminders.alerts import AlertRow, AlertsQuery, alert, alerts
from service.reminders.mail.choices import MailChoices, choices_of, choose, site_mails
from service.reminders.mail.tokens import Links
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database, open_database
from tests.board.conftest import Visitor
from tests.board.looking import check_page
from tests.board.served import LAST, NOW, Served

TODAY = LAST + timedelta(days=1)


@pytest_asyncio.fixture(loop_scope="session")
async def raised(demo: Served) -> AsyncIterator[Database]:
    """The nursery once the calendar was looked at."""
    async with await open_database(demo.settings) as database:
        await look_at_calendar(database.writer, lambda: NOW)
        yield database


async def open_at(database: Database, kind: str, site: str = "CORIN") -> list[AlertRow]:
    asked = AlertsQuery(site=site, kind=kind, state="open")
    return (await alerts(database.reader, asked, None, clock=lambda: NOW)).rows


def client(demo: Served, who: str | None = None) -> httpx.AsyncClient:
    """A browser without script; `who` is signed in."""
    cookies = {"graftlog_seat": demo.cookies[who]} if who else {}
    return httpx.AsyncClient(base_url=demo.url, cookies=cookies)


def csrf_of(page: str) -> str:
    return re.findall(r'name="csrf" value="([^"]+)"', page)[0]


async def test_the_list_and_what_is_said_of_an_alert(
    visitor: Visitor, demo: Served, raised: Database
) -> None:
    page = await visitor("manager")
    await page.goto("/reminders")
    await check_page(page, "m-reminders-phone")
    # what harms first stands on top
    await expect(page.locator("article").first).to_contain_text("Too warm or too cold")
    # of each kind the newest few, so that what stands on the page is a few thumbs long
    kinds = page.locator("main section")
    assert await kinds.count() > 3
    for kind in await kinds.all():
        assert await kind.locator("article:visible").count() <= 2
    first = page.locator("section", has_text="Not looked at").locator("article").first
    await expect(first).to_contain_text("Nobody has noted a look at")
    said = await first.get_attribute("aria-labelledby")
    assert said is not None
    one = said.removeprefix("a-")
    await first.get_by_role("button", name="Mark as seen").click()
    await expect(page.get_by_role("status")).to_have_text("Kept: it was seen.")
    await expect(page.locator(f"#a-{one}")).to_have_count(0)
    # and one is to come back in three days
    later = page.locator("section > article").last
    two = (await later.get_attribute("aria-labelledby") or "").removeprefix("a-")
    await later.locator("summary").click()
    await later.get_by_label("Day").fill(str(TODAY + timedelta(days=3)))
    await later.get_by_role("button", name="Remind me then").click()
    await expect(page.get_by_role("status")).to_contain_text("Kept: it comes back on Tue 24 Nov.")
    for which, state in ((one, "acknowledged"), (two, "remind_on")):
        found = await alert(raised.reader, which, None, clock=lambda: NOW)
        assert found is not None
        assert found.state == state
    # a day that is over is none to be reminded on; another site's alert is none of theirs
    (elsewhere, *_) = await open_at(raised, "place_not_looked_at", "TARNA")
    async with client(demo, "manager") as asking:
        csrf = csrf_of((await asking.get("/reminders")).text)
        entry = str(uuid4())
        for which, day, status in ((two, TODAY, 422), (two, "soon", 422), (elsewhere.id, "", 404)):
            form = {"csrf": csrf, "on": str(day), "entry": entry}
            answer = await asking.post(f"/reminders/alert/{which}", data=form)
            assert answer.status_code == status, (day, answer.text)
        aside = {"csrf": csrf, "seen": "yes", "back": "//evil.example/reminders", "entry": entry}
        answer = await asking.post(f"/reminders/alert/{one}", data=aside)
        assert answer.headers["Location"] == "/reminders"
    # who only reads is shown no buttons
    async with client(demo, "inspector") as asking:
        assert "Mark as seen" not in (await asking.get("/reminders?site=ELDRA")).text


async def words_of(database: Database, *which: str) -> int:
    """How many events say something of these alerts."""
    return int(
        await database.writer.fetchval(
            "SELECT count(*) FROM events WHERE type LIKE 'alert.%' AND data ->> 'alert' = ANY ($1)",
            list(which),
        )
    )


@pytest.mark.asyncio(loop_scope="session")
async def test_what_is_said_twice_is_said_once(demo: Served, raised: Database) -> None:
    counts = [one.id for one in await open_at(raised, "count_differs")]
    assert len(counts) > 4
    alone, put_off, by_mail, *together = counts
    before = await words_of(raised, *counts)
    async with client(demo, "manager") as asking:
        page = (await asking.get("/reminders?site=CORIN")).text
        form = {"csrf": csrf_of(page), "entry": str(uuid4())}
        at, on = f"/reminders/alert/{alone}", str(TODAY + timedelta(days=2))
        # a double tap, then the page loaded anew
        both = await asyncio.gather(*(asking.post(at, data=form | {"seen": "yes"}) for _ in "12"))
        both.append(await asking.post(at, data=form | {"seen": "yes"}))
        for _ in "12":
            both.append(await asking.post(f"/reminders/alert/{put_off}", data=form | {"on": on}))
        # a group: one entry for all that it shows; other people's alerts are left alone
        elsewhere = (await open_at(raised, "place_not_looked_at", "TARNA"))[0].id
        group = form | {"alert": [*together, elsewhere]}
        both += await asyncio.gather(*(asking.post("/reminders/seen", data=group) for _ in "12"))
        both.append(await asking.post("/reminders/seen", data=group))
        assert {answer.status_code for answer in both} == {303}
        assert (
            await asking.post(at, data={"csrf": form["csrf"], "seen": "yes"})
        ).status_code == 422
    # programs that press what stands in mails, besides the reader
    links = Links(demo.settings.secrets_key or ())
    async with client(demo) as anyone:
        at = f"/mail/alert/{links.about('p-01', by_mail, TODAY)}"
        pressed = [anyone.post(at, data={"seen": "yes"}) for _ in "12"]
        both = [*await asyncio.gather(*pressed), await anyone.post(at, data={"seen": "yes"})]
        assert {answer.status_code for answer in both} == {200}
    assert await words_of(raised, *counts) == before + len(counts)
    assert await words_of(raised, elsewhere) == 0
    assert await open_at(raised, "count_differs") == []


async def test_choices_in_spanish_and_a_sites(
    visitor: Visitor, demo: Served, raised: Database
) -> None:
    page = await visitor("p-01", phone=False)
    for name in ("reminders", "reminders/choices", "reminders/digest", "reminders/digest/mail"):
        answer = await page.goto(f"/{name}")
        assert answer is not None
        assert answer.status == 200
        await check_page(page, f"m-{name.replace('/', '-')}-es-desktop")
    await page.goto("/reminders/choices")
    await page.get_by_label("Dirección de correo").fill("p01@corin.example")
    await page.get_by_label("Helada anunciada").select_option("not")
    await page.get_by_label("No molestar, salvo por heladas y temperaturas").uncheck()
    await page.get_by_role("button", name="Guardar").first.click()
    await expect(page.get_by_role("status")).to_have_text("Se guardó lo elegido.")
    async with raised.writer.acquire() as conn:
        kept = await choices_of(conn, "p-01")
        email = await conn.fetchval("SELECT email FROM contacts WHERE reference = 'p-01'")
    assert (email, kept.quiet, kept.left_out) == ("p01@corin.example", None, {"frost_ahead"})
    page = await visitor("manager")
    for name in ("choices", "digest", "digest/mail"):
        await page.goto(f"/reminders/{name}")
        await check_page(page, f"m-{name.replace('/', '-')}-phone")
    async with client(demo, "manager") as asking:
        csrf = csrf_of((await asking.get("/reminders/choices")).text)
        form = {"csrf": csrf, "site": "CORIN", "morning": "05:30", "escalate_to": "boss"}
        # nobody is named who does not see the site; nobody settles another site
        for changed, status in (
            ({"hours": "24"}, 303),
            ({"hours": "24", "escalate_to": "inspector"}, 422),
            ({"hours": "24", "site": "TARNA"}, 404),
            ({"hours": "24", "morning": "25:00"}, 422),
        ):
            answer = await asking.post("/reminders/site", data=form | changed)
            assert answer.status_code == status, (changed, answer.text)
        wrong = {"csrf": csrf, "mails": "yes", "email": "nobody"}
        answer = await asking.post("/reminders/choices", data=wrong)
        assert answer.status_code == 422
        assert "That is no mail address." in answer.text
    async with raised.writer.acquire() as conn:
        norm = (await site_mails(conn))["CORIN"]
    assert (str(norm.morning), norm.escalate_to, norm.escalate_after_hours) == (
        "05:30:00",
        "boss",
        24,
    )


async def test_links_in_mails_ask_before_they_do_anything(
    visitor: Visitor, demo: Served, raised: Database
) -> None:
    links = Links(demo.settings.secrets_key or ())
    (one, *_) = await open_at(raised, "overdue_check")
    about = f"/mail/alert/{links.about('p-01', one.id, TODAY)}"
    # somebody else is signed in on the device: the link is the person's to whom the mail went
    page = await visitor("manager")
    await page.goto(about)
    await check_page(page, "m-link-es-phone")
    await expect(page.get_by_text("Responde p-01.")).to_be_visible()
    found = await alert(raised.reader, one.id, None, clock=lambda: NOW)
    assert found is not None
    assert found.state == "open"
    await page.get_by_role("button", name="Marcar como visto").click()
    await expect(page.get_by_role("status")).to_have_text("Anotado: visto.")
    found = await alert(raised.reader, one.id, None, clock=lambda: NOW)
    assert found is not None
    assert (found.state, found.acknowledged_by) == ("acknowledged", "p-01")
    async with client(demo) as anyone:
        # changed, too old, or of another use
        old = links.about("p-01", one.id, TODAY - timedelta(days=31))
        for token in (about[12:-1], about[12:] + "A", old, links.stop("p-01"), "x"):
            answer = await anyone.get(f"/mail/alert/{token}")
            assert answer.status_code == 404
            assert "This link is too old" in answer.text
        elsewhere = (await open_at(raised, "place_not_looked_at", "TARNA"))[0].id
        answer = await anyone.get(f"/mail/alert/{links.about('p-01', elsewhere, TODAY)}")
        assert answer.status_code == 404
        # a page of another site can't press the button
        answer = await anyone.post(
            about, data={"seen": "yes"}, headers={"Origin": "https://evil.example"}
        )
        assert answer.status_code == 403


async def test_one_click_ends_mails(visitor: Visitor, demo: Served, raised: Database) -> None:
    links = Links(demo.settings.secrets_key or ())
    async with raised.writer.acquire() as conn:
        await people.put(
            conn, "leaver", scopes=frozenset(ROLES["recorder"]), sites=frozenset({"CORIN"}),
            choices=Choices(), by="tests", at=NOW, version=0,
        )  # fmt: skip
        await choose(conn, "leaver", MailChoices(), NOW)
    stop = f"/mail/stop/{links.stop('leaver')}"
    page = await visitor()
    await page.goto(stop)
    await check_page(page, "m-stop-phone")

    async def stopped() -> bool:
        async with raised.writer.acquire() as conn:
            return (await choices_of(conn, "leaver")).stopped_at is not None

    # programs that look links over follow them (RFC 8058 section 3.1): a GET does nothing
    assert not await stopped()
    async with client(demo) as program:
        # as section 3.2 has it: a POST without cookies, answered without a redirect
        for sent in ({"data": {"List-Unsubscribe": "One-Click"}},
                     {"files": {"List-Unsubscribe": (None, "One-Click")}}):  # fmt: skip
            answer = await program.post(stop, **sent)  # type: ignore[arg-type]
            assert answer.status_code == 200
        assert await stopped()
        assert (await program.post(stop[:-2] + "AA", data={})).status_code in (404, 415)
    await page.reload()
    await expect(page.get_by_role("heading", level=1)).to_have_text("Mails are stopped")

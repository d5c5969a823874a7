"""Signing in by link and code, as browsers and those who attack them do it (plain HTTP)."""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.cookies import SimpleCookie
from typing import Any

import httpx
import msgspec
import pytest
from structlog.testing import capture_logs

from service.api import limits
from service.application import assemble, http
from service.board.device_names import name_of_device
from service.board.signing_in import own_page
from service.log import people, sessions
from service.log.append import Appender
from service.log.keys import create_key
from service.log.people import Choices
from service.log.rights import ROLES
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import listening

START = datetime(2026, 5, 4, 6, tzinfo=UTC)


@dataclass
class Door:
    """A service on an empty nursery, at a moment that the test says."""

    database: Database
    url: str = ""
    now: datetime = field(default=START)

    async def has(self, reference: str, role: str = "recorder", *sites: str) -> None:
        async with self.database.writer.acquire() as connection:
            before = await people.person(connection, None, reference)
            await people.put(
                connection,
                reference,
                scopes=frozenset(ROLES[role]),
                sites=frozenset(sites or ("*",)),
                choices=Choices(),
                by="boss",
                at=self.now,
                version=before.version if before else 0,
            )

    async def link(self, reference: str) -> sessions.MadeLink:
        async with self.database.writer.acquire() as connection:
            made = await sessions.make_link(connection, reference, by="boss", at=self.now)
        assert made is not None
        return made

    def browser(self, **headers: str) -> httpx.AsyncClient:
        return httpx.AsyncClient(base_url=self.url, headers={"Accept": "text/html", **headers})

    def with_cookie(self, value: str) -> httpx.AsyncClient:
        """A browser that brings a cookie along."""
        browser = self.browser()
        browser.cookies.set("graftlog_seat", value, domain="127.0.0.1")
        return browser

    async def signed_in(self, reference: str) -> httpx.AsyncClient:
        browser = self.browser()
        answer = await browser.post(f"/i/{(await self.link(reference)).token}", data={"x": "1"})
        assert answer.status_code == 303
        return browser


@pytest.fixture
async def door(database: Database, settings: Settings) -> AsyncIterator[Door]:
    made = Door(database)
    async with serving(made, settings) as url:
        made.url = url
        yield made


@asynccontextmanager
async def serving(door: Door, settings: Settings) -> AsyncIterator[str]:
    app, appender = http(settings), Appender(door.database, clock=lambda: door.now)
    app.state.services = assemble(settings, door.database, appender, lambda: door.now)
    await appender.start()
    async with listening(app) as url:
        yield url
    await appender.stop()


def set_cookies(answer: httpx.Response) -> dict[str, Any]:
    """The cookies that an answer sets, with their attributes."""
    jar: SimpleCookie = SimpleCookie()
    for line in answer.headers.get_list("set-cookie"):
        jar.load(line)
    return dict(jar)


async def test_a_link_scanner_uses_nothing_up(door: Door) -> None:
    await door.has("ana")
    made = await door.link("ana")
    async with door.browser() as scanner:
        for method in ("GET", "HEAD", "GET", "OPTIONS"):
            await scanner.request(method, f"/i/{made.token}")
        looked = await scanner.get(f"/i/{made.token}")
        assert looked.headers["cache-control"] == "no-store"
        assert looked.headers["referrer-policy"] in ("no-referrer", "same-origin")
        assert "ana" in looked.text
        assert not set_cookies(looked)
    async with door.browser() as browser:
        opened = await browser.post(f"/i/{made.token}", data={"x": "1"})
        assert (opened.status_code, opened.headers["location"]) == (303, "/round")
        assert (await browser.get("/me")).status_code == 200
    # and once is once
    async with door.browser() as late:
        assert (await late.get(f"/i/{made.token}")).status_code == 404
        assert (await late.post(f"/i/{made.token}", data={"x": "1"})).status_code == 404
        assert (await late.get("/i/" + "x" * 43)).status_code == 404
        assert (await late.get("/me")).status_code == 303


async def test_cookies_are_kept_from_scripts_other_sites_and_plain_connections(
    door: Door, database: Database, settings: Settings
) -> None:
    """OWASP ASVS 5.0 section 3.3 (cookie setup); `__Host-`: RFC 6265bis section 4.1.3.2."""
    await door.has("ana")
    safe = msgspec.structs.replace(settings, public_url="https://graft.example")
    async with serving(door, safe) as behind_tls:
        for url, name, secure in (
            (door.url, "graftlog_seat", False),
            (behind_tls, "__Host-graftlog_seat", True),
        ):
            made = await door.link("ana")
            async with httpx.AsyncClient(base_url=url) as browser:
                answer = await browser.post(f"/i/{made.token}", data={"x": "1"})
            cookie = set_cookies(answer)[name]
            assert len(cookie.value) * 6 >= 128
            assert cookie["httponly"]
            assert cookie["samesite"] == "Lax"
            assert cookie["path"] == "/"
            assert cookie["domain"] == ""
            assert bool(cookie["secure"]) is secure
            assert int(cookie["max-age"]) == sessions.LONGEST.total_seconds()
            # over https the name that anybody could set over http opens nothing
            crossed = {"graftlog_seat" if secure else "__Host-graftlog_seat": cookie.value}
            async with httpx.AsyncClient(base_url=url, cookies=crossed) as other:
                assert (await other.get("/me")).status_code == 303


async def test_signing_in_never_keeps_what_the_browser_brought(door: Door) -> None:
    """Session fixation (OWASP ASVS 5.0 7.2.4): a cookie that was planted is not made good."""
    await door.has("ana")
    await door.has("bea")
    planted = "p" * 43
    victim = door.with_cookie(planted)
    made = await door.link("ana")
    answer = await victim.post(f"/i/{made.token}", data={"x": "1"})
    fresh = set_cookies(answer)["graftlog_seat"].value
    assert fresh != planted
    async with door.with_cookie(planted) as attacker:
        assert (await attacker.get("/me")).status_code == 303
    # Who signs in on a browser where another was: the other's cookie is out.
    await victim.aclose()
    shared = door.with_cookie(fresh)
    await shared.post(f"/i/{(await door.link('bea')).token}", data={"x": "1"})
    assert "bea" in (await shared.get("/me")).text
    async with door.with_cookie(fresh) as old:
        assert (await old.get("/me")).status_code == 303
    await shared.aclose()


async def test_nothing_is_signed_in_changed_or_signed_out_from_another_sites_page(
    door: Door,
) -> None:
    """Request forgery, signing in included (OWASP ASVS 5.0 3.5.1)."""
    await door.has("ana", "administrator")
    made = await door.link("ana")
    foreign = [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": "https://evil.example"},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
    ]
    # A stranger's form that signs the victim in as the stranger.
    async with door.browser() as victim:
        for headers in foreign:
            for path, data in ((f"/i/{made.token}", {"x": "1"}), ("/sign-in", {"code": made.code})):
                answer = await victim.post(path, data=data, headers=headers)
                assert (answer.status_code, dict(victim.cookies)) == (403, {}), (headers, path)
    ana = await door.signed_in("ana")
    form = re.search(r'name="csrf" value="([^"]+)"', (await ana.get("/me")).text)
    assert form is not None
    changes: list[tuple[str, dict[str, str]]] = [
        ("/me", {"language": "es", "temperature": "c", "length": "mm"}),
        ("/me/sign-out", {}),
        ("/sign-out", {"x": "1"}),
        ("/people", {"role": "recorder", "sites": "*"}),
        ("/people/ana/link", {"x": "1"}),
        ("/people/ana/remove", {"x": "1"}),
    ]
    other = await door.signed_in("ana")
    anothers = re.search(r'name="csrf" value="([^"]+)"', (await other.get("/me")).text)
    assert anothers is not None
    assert anothers[1] != form[1]
    for path, data in changes:
        for headers in foreign:
            answer = await ana.post(path, data=data | {"csrf": form[1]}, headers=headers)
            assert answer.status_code == 403, (path, headers)
        # Without the token, with none, with that of another device of the same person.
        for token in ({}, {"csrf": ""}, {"csrf": anothers[1]}):
            answer = await ana.post(path, data=data | token | {"x": "1"})
            assert answer.status_code == 403, (path, token)
        # What no form can send is not read at all.
        assert (await ana.post(path, json=data | {"csrf": form[1]})).status_code == 415
        # And looking changes nothing.
        assert (await ana.get(path)).status_code in (200, 303, 404, 405)
    async with door.database.writer.acquire() as connection:
        found = await people.everybody(connection)
    assert [(one.reference, one.language) for one in found] == [("ana", "en")]
    # With its own token, from its own page, it goes.
    changed = await ana.post("/me", data=changes[0][1] | {"csrf": form[1]})
    assert changed.status_code == 303
    assert 'lang="es"' in (await ana.get("/me")).text
    for browser in (ana, other):
        await browser.aclose()


async def test_codes_are_tried_only_so_often(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    await door.has("ana")
    made = await door.link("ana")
    async with door.browser() as browser:
        typed = await browser.post(
            "/sign-in", data={"code": sessions.shown_code(made.code).lower(), "then": "/me"}
        )
        assert (typed.status_code, typed.headers["location"]) == (303, "/me")
        answers = [
            await browser.post("/sign-in", data={"code": f"AAAAA-{number:05}"})
            for number in range(limits.TRIED_CODES // 2)
        ]
    assert {one.status_code for one in answers} == {422, 429}
    assert answers[0].headers["cache-control"] == "no-store"
    # What was typed is looked at again, not typed again.
    assert 'value="AAAAA-00000"' in answers[0].text
    assert int(answers[-1].headers["retry-after"]) >= 1
    # A right code from the same address waits too, or trying on would tell which is right.
    made = await door.link("ana")
    async with door.browser() as browser:
        assert (await browser.post("/sign-in", data={"code": made.code})).status_code == 429
        # Links, which nobody guesses, do not.
        assert (await browser.post(f"/i/{made.token}", data={"x": "1"})).status_code == 303


OWN = ("/", "/table/T1", "/lot/L?x=1#here", "/find?q=https://elsewhere.example", "/i")
ELSEWHERE = (
    "",
    "round",
    "https://evil.example",
    "//evil.example",
    "/\\evil.example",
    "\\\\evil.example",
    "/a\\b",
    "/\t/evil.example",
    "/\n/evil.example",
    "\t//evil.example",
    "/\r\nSet-Cookie: graftlog_seat=x",
    "javascript:alert(1)",
    "http:evil.example",
    "/i/" + "x" * 43,
    "/sign-out",
    "/" + "x" * 2000,
    "/\x00",
    "/[",
)


async def test_the_way_back_leads_to_no_other_place(door: Door) -> None:
    """Open redirects (OWASP ASVS 5.0 3.7.2)."""
    assert [own_page(address) for address in OWN] == list(OWN)
    assert [own_page(address) for address in ELSEWHERE[:-1]] == [None] * (len(ELSEWHERE) - 1)
    await door.has("ana")
    for then, leads in (
        ("//evil.example", "/round"),
        ("/table/T1?x=1%20a#b", "/table/T1?x=1%20a#b"),
        ("/find?q=año €", "/find?q=a%C3%B1o%20%E2%82%AC"),
    ):
        made = await door.link("ana")
        async with door.browser() as browser:
            page = await browser.get("/sign-in", params={"then": then})
            assert "evil.example" not in page.text
            answer = await browser.post("/sign-in", data={"code": made.code, "then": then})
        assert (answer.status_code, answer.headers["location"]) == (303, leads)


async def test_signing_out_and_lost_telephones(door: Door) -> None:
    await door.has("ana")
    await door.has("boss", "administrator")
    phone, tablet, boss = [await door.signed_in(name) for name in ("ana", "ana", "boss")]
    shown = await boss.get("/people/ana")
    token = re.search(r'name="csrf" value="([^"]+)"', shown.text)
    ids = re.findall(r'name="device" value="([^"]+)"', shown.text)
    assert token is not None
    assert len(ids) == 2
    # given a device of the boss, whose id somebody else sends: nothing happens
    theirs = re.search(r'name="csrf" value="([^"]+)"', (await phone.get("/me")).text)
    own = await door.signed_in("boss")
    page = await boss.get("/people/boss")
    boss_device = re.findall(r'name="device" value="([^"]+)"', page.text)[0]
    assert theirs is not None
    for bad in (boss_device, "nonsense", "0" * 36):
        await phone.post("/me/sign-out", data={"csrf": theirs[1], "device": bad})
    assert (await own.get("/me")).status_code == 200
    # when the boss signs the older of the two out
    await boss.post("/people/ana/sign-out", data={"csrf": token[1], "device": ids[-1]})
    left = [(await one.get("/me")).status_code for one in (phone, tablet)]
    assert sorted(left) == [200, 303]
    # everywhere
    await boss.post("/people/ana/sign-out", data={"csrf": token[1]})
    assert [(await one.get("/me")).status_code for one in (phone, tablet)] == [303, 303]
    # signing out forgets the cookie, on the device and here
    kept = boss.cookies["graftlog_seat"]
    gone = await boss.post("/sign-out", data={"csrf": token[1]})
    assert gone.headers["location"] == "/sign-in"
    assert set_cookies(gone)["graftlog_seat"]["max-age"] == "0"
    async with door.with_cookie(kept) as again:
        assert (await again.get("/me")).status_code == 303
    # removed while signed in: out at once
    ana = await door.signed_in("ana")
    async with door.database.writer.acquire() as connection:
        person = await people.person(connection, None, "ana")
        assert person is not None
        await people.remove(connection, "ana", person.version)
    assert (await ana.get("/me")).status_code == 303
    for browser in (phone, tablet, boss, own, ana):
        await browser.aclose()


async def test_a_device_that_nobody_used_is_asked_to_sign_in_again(door: Door) -> None:
    await door.has("ana")
    ana = await door.signed_in("ana")
    door.now += sessions.IDLE
    answer = await ana.get("/people?x=1")
    assert (answer.status_code, answer.headers["location"]) == (
        303,
        "/sign-in?then=%2Fpeople%3Fx%3D1",
    )
    await ana.aclose()


async def sites(door: Door, *codes: str) -> None:
    async with door.database.writer.acquire() as connection:
        key = await create_key(connection, name="office", role="administrator")
    async with door.browser(Authorization=f"Bearer {key.token}") as client:
        for code in codes:
            site = {"name": code, "time_zone": "Europe/Madrid", "latitude": 39, "longitude": 0}
            assert (await client.put(f"/v1/sites/{code}", json=site)).status_code == 201


async def test_who_signs_in_before_there_is_a_site_is_told_so(door: Door) -> None:
    """The first administrator of a new nursery."""
    await door.has("ana", "administrator")
    ana = await door.signed_in("ana")
    for path in ("/round", "/stock", "/tags", "/cautions", "/reminders?site=*"):
        page = await ana.get(path)
        assert page.status_code == 404
        assert "There is no site yet" in page.text
        assert 'href="/more"' in page.text
    assert (await ana.get("/more")).status_code == 200
    await ana.aclose()


async def test_managers_pages_hold_to_what_their_maker_may(door: Door) -> None:
    await sites(door, "CORIN", "VALE")
    await door.has("manager", "site-manager", "CORIN")
    await door.has("ana", "recorder", "CORIN")
    await door.has("vera", "recorder", "VALE")
    await door.has("chief", "administrator", "CORIN", "VALE")
    boss = await door.signed_in("manager")
    page = await boss.get("/people")
    assert "administrator" not in page.text
    assert "vera" not in page.text
    token = re.search(r'name="csrf" value="([^"]+)"', page.text)
    assert token is not None

    async def post(path: str, **form: Any) -> httpx.Response:
        return await boss.post(path, data={"csrf": token[1], **form})  # type: ignore[index]

    for form, status in (
        ({"role": "administrator", "sites": "CORIN"}, 409),
        ({"role": "recorder", "sites": "VALE"}, 409),
        ({"role": "recorder", "sites": "*"}, 409),
        # no site ticked is none, not all of the manager's
        ({"role": "recorder"}, 409),
        ({"role": "wizard", "sites": "CORIN"}, 422),
        ({"role": "recorder", "sites": "CORIN", "reference": "vera"}, 409),
        ({"role": "recorder", "sites": "CORIN", "reference": "a b"}, 409),
    ):
        answer = await post("/people", **form)
        assert answer.status_code == status, form
        assert "/i/" not in answer.text
    # who works where the manager does not is nobody; who may do more is out of reach
    for path in ("/people/vera", "/people/nobody", "/people/%00"):
        assert (await boss.get(path)).status_code == 404
    for what in ("link", "remove"):
        assert (await post(f"/people/vera/{what}")).status_code == 404
        assert (await post(f"/people/chief/{what}")).status_code == 409
    assert (await post("/people/chief", role="recorder", version="1")).status_code == 409
    # but their lost telephone is signed out
    chief = await door.signed_in("chief")
    assert (await post("/people/chief/sign-out")).status_code == 303
    assert (await chief.get("/me")).status_code == 303
    # what may be given is given: a link is shown once, and signs in with just that
    made = await post("/people", role="recorder", sites="CORIN", name="Eva Prado")
    assert made.headers["cache-control"] == "no-store"
    found = re.search(r"/i/([A-Za-z0-9_-]{43})", made.text)
    assert found is not None
    assert "Eva Prado" in made.text
    async with door.browser() as eva:
        await eva.post(f"/i/{found[1]}", data={"x": "1"})
        assert (await eva.get("/people")).status_code == 403
        assert "Eva Prado" in (await eva.get("/me")).text
    # a change that somebody else overtook is shown, not made
    for version in ("1000000", "9" * 5000, "none"):
        again = await post("/people/ana", role="auditor", sites="CORIN", version=version)
        assert again.status_code == 409, version[:10]
    for browser in (boss, chief):
        await browser.aclose()


async def test_no_secret_is_written_to_the_log(door: Door) -> None:
    await door.has("ana", "administrator")
    made = await door.link("ana")
    with capture_logs() as lines:
        async with door.browser() as browser:
            await browser.get(f"/i/{made.token}")
            await browser.post("/sign-in", data={"code": "AAAAA-AAAAA"})
            answer = await browser.post(f"/i/{made.token}", data={"x": "1"})
            cookie = set_cookies(answer)["graftlog_seat"].value
            page = await browser.get("/me?x=" + made.token)
            form = re.search(r'name="csrf" value="([^"]+)"', (await browser.get("/me")).text)
            await browser.get(f"/i/{made.token}")
    assert page.status_code in (200, 422)
    assert form is not None
    told = str(lines)
    assert [one["person"] for one in lines if one["event"] == "signed_in"] == ["ana"]
    assert "/me" in told
    for secret in (made.token, made.code, "AAAAA", cookie, form[1]):
        assert secret not in told


@pytest.mark.parametrize(
    ("said", "name"),
    [
        (
            "Mozilla/5.0 (Linux; Android 14; Pixel 7) AppleWebKit/537.36 (KHTML, like Gecko) "
            "Chrome/126.0.0.0 Mobile Safari/537.36",
            "Chrome, Android",
        ),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, "
            "like Gecko) Version/17.5 Mobile/15E148 Safari/604.1",
            "Safari, iPhone",
        ),
        (
            "Mozilla/5.0 (X11; Linux x86_64; rv:127.0) Gecko/20100101 Firefox/127.0",
            "Firefox, Linux",
        ),
        ("<script>", ""),
        (None, ""),
    ],
)
def test_a_device_is_called_by_what_it_says(said: str | None, name: str) -> None:
    assert name_of_device(said) == name

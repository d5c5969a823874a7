"""Page × visitor × site, made from the list of pages: what is added is tried too.

OWASP API Security 2023 API1 (object level), API5 (function level); request forgery: OWASP ASVS 5.0
section 3.5.
"""

import asyncio
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple
from urllib.parse import quote, urlencode
from uuid import uuid4

import httpx
import msgspec
import pytest

from service.board.routes import HANDLERS
from service.log import people, sessions
from service.log.people import Choices
from service.log.rights import SCOPES
from service.storage.pool import open_database
from tests.board.at_bench import looked_up
from tests.board.served import NOW, Served

WHO = "z-matrix"
FIELD = {"x": "kept"}
FORM = "application/x-www-form-urlencoded"
# What the addresses of pages may hold, of the site that everything is tried at.
_GROUP = re.compile(r"\{(\w+):str\}")
NAMES = {
    "site": "CORIN",
    "form": "loss",
    "reference": "p-02",
    "id": "00000000-0000-4000-8000-000000000000",
    "number": "1",
    "token": "x" * 43,
    "mark": "x",
    "name": "board.css",
}
# Pages on which being signed in counts for nothing: signing in, files, links in mails.
OPEN = re.compile(r"/(sign-in|i/|static/|mail/|sw\.js|manifest|offline)")
ODD = ["\0", "\x01\x7f", "\u202e\ufffe", "🌳", "٣", "9" * 30, "-1", "9999-12-31", "0001-01-01"]
ODD += ["2026-03-29T02:30:00", "'\"><i>", "=1+1", "a" * 300, "{{7*7}}", "*", ",", "null", "NOWHERE"]


class Page(NamedTuple):
    """A page as it is declared."""

    method: str
    path: str
    scope: str | None
    fields: tuple[str, ...]
    guard: str

    def address(self, **names: str) -> str:
        """Its address with these names in it."""
        kind = self.path.split("/")[1]
        code = {"bag": "O-CW1-1", "lot": "C-G023"}.get(kind, "C-T6")
        filled = {"code": code} | NAMES | ({"form": "discard"} if kind == "bag" else {}) | names
        return _GROUP.sub(lambda found: quote(filled[found[1]], safe=""), self.path)


def pages() -> Iterator[Page]:
    for handler in HANDLERS:
        method = "POST" if "POST" in handler.http_methods else "GET"
        said = handler.opt
        fields = tuple(one.encode_name for one in msgspec.structs.fields(said["query"]))
        for path in handler.paths:
            yield Page(method, path, said["scope"], fields, said["guard"])


PAGES = sorted(pages())
GUARDED = [one for one in PAGES if one.scope is not None]
FORMS = [one for one in GUARDED if one.method == "POST"]


class Device:
    """A browser on which somebody is signed in, with a say over their rights."""

    def __init__(self, demo: Served) -> None:
        self.demo = demo
        self.cookie = in_a_thread(self._sign_in())
        self.client = httpx.Client(
            base_url=demo.url, cookies={"graftlog_seat": self.cookie}, trust_env=False, timeout=20
        )
        self.client.headers["Accept"] = "text/html"
        self.csrf = self.client.get("/device/who").json()["csrf"]

    async def _sign_in(self) -> str:
        async with (
            await open_database(self.demo.settings) as database,
            database.writer.acquire() as connection,
        ):
            await people.put(
                connection,
                WHO,
                scopes=frozenset(SCOPES),
                sites=frozenset({"CORIN"}),
                choices=Choices(),
                by="tests",
                at=NOW,
                version=0,
            )
            link = await sessions.make_link(connection, WHO, by="tests", at=NOW)
            assert link is not None
            signed = await sessions.sign_in_by_link(connection, link.token, label="t", at=NOW)
        assert signed is not None
        return signed.cookie

    def rights(self, *scopes: str) -> None:
        """From now on they have these."""
        looked_up(
            self.demo,
            "UPDATE people SET scopes = $2 WHERE reference = $1",
            WHO,
            sorted(scopes),
        )

    def ask(self, one: Page, address: str, **fields: str) -> httpx.Response:
        if one.method == "GET":
            return self.client.get(address)
        return self.client.post(address, data={"csrf": self.csrf, **fields})


def in_a_thread(work: Any) -> Any:
    """The result of a coroutine; other tests keep a loop in this thread."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(lambda: asyncio.run(work)).result()


def some_odd(nth: int, count: int) -> list[str]:
    """So many odd values from the `nth` on, round and round."""
    return [ODD[(nth + more) % len(ODD)] for more in range(count)]


def recorded(demo: Served) -> Any:
    """Everything that a form of these pages can change, as numbers."""
    question = (
        "SELECT array[(SELECT count(*) FROM events), (SELECT count(*) FROM to_put_right), "
        "(SELECT sum(version) FROM people), (SELECT count(*) FROM sign_in_links), "
        "(SELECT count(*) FROM devices), (SELECT count(*) FROM calendars), "
        "(SELECT count(*) FROM mail_choices), (SELECT count(*) FROM mail_sites), "
        "(SELECT count(*) FROM contacts)]"
    )
    return looked_up(demo, question)


@pytest.fixture(scope="module")
def device(demo: Served) -> Iterator[Device]:
    made = Device(demo)
    yield made
    made.client.close()
    looked_up(demo, "DELETE FROM people WHERE reference = $1", WHO)


def test_who_is_not_signed_in_sees_nothing_and_records_nothing(demo: Served) -> None:
    before = recorded(demo)
    with httpx.Client(base_url=demo.url, headers={"Accept": "text/html"}, timeout=20) as nobody:
        for one in PAGES:
            address = one.address()
            answer = nobody.request(
                one.method, address, data=FIELD if one.method == "POST" else None
            )
            if one.scope is None:
                assert OPEN.match(one.path), f"{one.path} is for everybody"
            elif one.method == "GET":
                assert answer.status_code == 303, one
                assert answer.headers["location"] == f"/sign-in?then={quote(address, safe='')}"
            else:
                assert answer.status_code == 403, one
                assert 'data-person=""' in answer.text
                told = nobody.post(address, data=FIELD, headers={"Accept": "application/json"})
                assert told.headers["content-type"] == "application/problem+json", one
                assert told.status_code in (401, 403)
    assert recorded(demo) == before


def test_each_page_lets_in_exactly_the_scope_it_names(device: Device) -> None:
    try:
        for scope in {one.scope for one in GUARDED}:
            asked = [one for one in GUARDED if one.scope and one.scope == scope]
            device.rights(*(one for one in SCOPES if one != scope))
            for one in asked:
                answer = device.ask(one, one.address())
                assert answer.status_code == 403, (one, answer.status_code)
    finally:
        device.rights(*SCOPES)


def test_a_form_that_is_not_ones_own_records_nothing(demo: Served, device: Device) -> None:
    """No token, another device's, one that is none; another site's page; another kind of body."""
    other = httpx.get(
        demo.url + "/device/who", cookies={"graftlog_seat": demo.cookies["manager"]}
    ).json()["csrf"]
    strange = [{"Sec-Fetch-Site": site} for site in ("cross-site", "same-site")]
    strange += [{"Origin": "https://evil.example"}, {"Origin": "null"}]
    before = recorded(demo)
    for one in FORMS:
        address = one.address()
        for csrf in (other, "", "x", "é🌳"):
            answer = device.client.post(address, data={"csrf": csrf} | FIELD)
            assert answer.status_code == 403, (one, csrf)
            assert 'value="kept"' in answer.text, "what was typed is there to be sent again"
        for headers in strange:
            answer = device.client.post(address, data={"csrf": device.csrf}, headers=headers)
            assert answer.status_code == 403, (one, headers)
        for kind in ("application/json", "text/plain", "multipart/form-data; boundary=x"):
            body = urlencode({"csrf": device.csrf})
            answer = device.client.post(address, content=body, headers={"Content-Type": kind})
            assert answer.status_code == 415, (one, kind)
    assert recorded(demo) == before


def test_what_is_another_sites_is_as_unknown_as_what_is_not(demo: Served, device: Device) -> None:
    theirs = {
        "table": "SELECT code FROM catalogue WHERE kind = 'place' AND site = 'ELDRA' LIMIT 1",
        "lot": "SELECT code FROM lots l WHERE site = 'ELDRA' AND NOT EXISTS (SELECT FROM legs g "
        "WHERE g.lot_id = l.lot_id AND g.site <> 'ELDRA') LIMIT 1",
        "bag": "SELECT bag FROM budwood_on_hand WHERE site = 'ELDRA' LIMIT 1",
    }
    codes = {kind: looked_up(demo, question) for kind, question in theirs.items()} | {"t": None}
    codes["t"] = codes["table"]
    alert = looked_up(
        demo,
        "SELECT id::text FROM alerts WHERE site = 'ELDRA' AND NOT 'CORIN' = ANY (sites) LIMIT 1",
    )
    assert all(codes.values())
    assert alert
    before = recorded(demo)
    tried = 0
    for one in GUARDED:
        names = {"site": "ELDRA", "reference": "inspector", "id": alert}
        names |= {"code": codes[one.path.split("/")[1]]} if "{code" in one.path else {}
        held = set(_GROUP.findall(one.path)) & set(names)
        if held:
            unknown = {"code": "NO-SUCH", "site": "NOSUCH", "reference": "nobody"}
            unknown |= {"id": "00000000-0000-4000-8000-000000000000"}
            answer = device.ask(one, one.address(**{name: names[name] for name in held}))
            missing = device.ask(one, one.address(**{name: unknown[name] for name in held}))
            assert answer.status_code == missing.status_code == 404, (one, answer.status_code)
            tried += 1
        if "site" in one.fields and one.method == "GET":
            address = one.address() + "?site="
            for site in ("ELDRA", "NOSUCH"):
                more = "&row=trees:X::::C-T6" if one.path == "/count" else ""
                told = device.client.get(address + site + more)
                assert told.status_code in (404, 422) or "ELDRA" not in told.text, (one, site)
    for address in ("/hold", "/treatment", "/tags/papers", "/reminders/site"):
        for site in ("ELDRA", "NOSUCH"):
            sent = {"csrf": device.csrf, "site": site}
            assert device.client.post(address, data=sent).status_code == 404, address
    assert tried > 20
    assert recorded(demo) == before


def test_an_alert_of_two_sites_is_answered_from_the_second(demo: Served, device: Device) -> None:
    question = (
        "SELECT id::text FROM alerts WHERE site <> 'CORIN' AND 'CORIN' = ANY (sites) "
        "AND closed_at IS NULL LIMIT 1"
    )
    alert = looked_up(demo, question)
    sent = {"csrf": device.csrf, "seen": "1", "entry": str(uuid4())}
    assert device.client.post(f"/reminders/alert/{alert}", data=sent).status_code == 303
    who = "SELECT site FROM events WHERE data ->> 'alert' = $1 AND actor = $2"
    assert looked_up(demo, who, alert, WHO) == "CORIN"


def test_nothing_of_anybody_is_kept_between_people_and_pages_run_only_what_is_ours(
    device: Device,
) -> None:
    for one in PAGES:
        if one.method == "POST":
            continue
        answer = device.client.get(one.address())
        said = answer.headers
        assert "nosniff" in said["x-content-type-options"], one
        assert said["referrer-policy"] in ("same-origin", "no-referrer"), one
        policy = said["content-security-policy"]
        assert "default-src 'none'" in policy, one
        # A mail as it would be has its style within: nothing else of it may run or be fetched.
        mail = policy.replace("style-src 'unsafe-inline'", "") if "/digest/" in one.path else policy
        assert "unsafe" not in mail, one
        assert "frame-ancestors 'none'" in policy, one
        cache = said["cache-control"]
        ours = one.path.startswith("/static/") or one.path == "/sw.js"
        assert ours or "private" in cache or "no-store" in cache, (one, cache)
        head = device.client.head(one.address())
        assert (head.status_code, head.content) == (answer.status_code, b""), one
        if said["content-type"].startswith("text/html") and "/digest/" not in one.path:
            assert not re.search(r"<script(?![^>]*\bsrc=)|\son\w+=|\sstyle=", answer.text), one


def test_no_question_makes_a_page_fall_over(device: Device) -> None:
    """NUL, controls, right-to-left, other digits, days at the ends of calendars, markup."""
    for one in PAGES:
        if one.method == "POST":
            continue
        asked = [one.path + "?"] + [f"{one.address()}?{name}=" for name in one.fields]
        for nth, where in enumerate(asked):
            # Each is tried with a few of them, and all of them somewhere.
            few = some_odd(nth * 5 + len(one.path), 2)
            for text in (quote(value, safe="") for value in ("\0", *few)):
                address = where + text if where.endswith("=") else _GROUP.sub(text, where)
                answer = device.client.get(address)
                assert answer.status_code < 500, (address, answer.text[-300:])
                assert "<i>" not in answer.text, address


def test_no_form_makes_a_page_fall_over(demo: Served, device: Device) -> None:
    names = ["entry", "occurred", "site", "row", "place", "code", "lot", "count", "counted", "day"]
    names += ["role", "sites", "version", "language", "date", "on", "kind", "again_fields", "email"]
    good = {"entry": "11111111-1111-4111-8111-111111111111", "occurred": NOW.isoformat()}
    good |= {"site": "CORIN", "row": "trees:C-G023:pushed:P1::C-T6", "place": "C-T6"}
    for nth, one in enumerate(FORMS):
        if re.search(r"sign-out|remove|/me$|/link$|/reminders/site", one.path):
            continue
        for value in some_odd(nth * 5, 5):
            for said in ({}, good):
                data = said | {name: value for name in names if name not in said}
                answer = device.ask(one, one.address(reference=WHO), **data)
                assert answer.status_code < 500, (one, value, answer.text[-300:])
                assert "<i>" not in answer.text, one
        for body in (b"a=%ff", b"a=%ed%a0%80", b"\xff", b"%00=1", b"&" * 6000 + b"a=1"):
            sent = f"csrf={device.csrf}&".encode() + body
            answer = device.client.post(one.address(), content=sent, headers={"Content-Type": FORM})
            assert answer.status_code < 500, (one, body[:9])


def test_a_count_comes_with_a_form_that_can_be_read_or_is_not_recorded(
    demo: Served, device: Device
) -> None:
    before = recorded(demo)
    sent = {"entry": "22222222-2222-4222-8222-222222222222", "occurred": NOW.isoformat()}
    sent |= {"csrf": device.csrf, "row": "trees:C-G023:pushed:P1::C-T6", "counted": "1"}
    sent |= {"again_to": "/table/C-T6/loss"}
    for fields in ("a=%00", "a=%ff", "&".join(f"a{number}=1" for number in range(5001))):
        answer = device.client.post("/count", data=sent | {"again_fields": fields})
        assert answer.status_code == 400, answer.text[-300:]
    assert recorded(demo) == before

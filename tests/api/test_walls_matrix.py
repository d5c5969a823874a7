"""Scope × operation × site, taken from the served description: what is added is tested too."""

import re
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from typing import Any

import httpx
import pytest

from service.log.rights import SCOPES
from service.storage.pool import Database
from tests.support.from_description import Described, described, example, example_event
from tests.support.printed import said_in
from tests.support.two_nurseries import OURS, THEIRS, client_of, fill, rows_of, tables_read

Clients = dict[str, httpx.AsyncClient]
# By what an entry of a list is found again under the list's address.
NAMES = ("code", "id", "reference", "name", "work_order", "number")
# How lists are asked for all they have.
WHOLE_LISTS = {"limit": "1000", "in_force": "false"}
# Both clocks, at a moment at which both nurseries had something of everything.
CLOCKS = {"as_of": "2026-08-04", "known_at": "60"}
# Parameters that name something; `site` and so on are codes, persons are references.
OF_A_SITE = {
    "site": "ZZ-SITE",
    "place": "ZZ-T1",
    "lot": "ZZ-T",
    "bag": "ZZ-B1",
    "grafter": "ZZ-grafter",
    "customer": "ZZ-cust",
}
# Codes of calendars are each name's own: one that another has is not in the way.
MADE_BY_EACH = "PUT /v1/calendars/{code}"
# What both nurseries have.
IN_COMMON = {"cultivar": "NAV", "rootstock": "CARR", "size": "P9"}


@pytest.fixture
async def document(base_url: str) -> dict[str, Any]:
    async with httpx.AsyncClient(base_url=base_url) as client:
        found: dict[str, Any] = (await client.get("/openapi.json")).json()
    return found


@pytest.fixture
async def clients(database: Database, base_url: str) -> AsyncIterator[Clients]:
    """A client for each scope alone, one without a key, one with a wrong key."""
    async with AsyncExitStack() as stack:
        found = {"none": httpx.AsyncClient(base_url=base_url)}
        wrong = {"Authorization": "Bearer glk_aaaaaaaaaaaa_" + "x" * 43}
        found["wrong"] = httpx.AsyncClient(base_url=base_url, headers=wrong)
        for scope in SCOPES:
            found[scope] = await client_of(database, base_url, f"only-{scope}", frozenset({scope}))
        for client in found.values():
            stack.push_async_callback(client.aclose)
        yield found


@pytest.fixture
async def ours(database: Database, base_url: str) -> AsyncIterator[httpx.AsyncClient]:
    """Every scope at one site."""
    client = await client_of(database, base_url, "ours", frozenset(SCOPES), "AA-SITE")
    async with client:
        yield client


@pytest.fixture
async def whole(database: Database, base_url: str) -> AsyncIterator[httpx.AsyncClient]:
    """Every scope at every site, with both nurseries in the log."""
    async with await client_of(database, base_url, "whole", frozenset(SCOPES)) as client:
        await fill(client, database)
        yield client


def query_of(one: Described, document: dict[str, Any], **more: str) -> dict[str, Any]:
    """What an operation's query must have, and `more`."""
    components = document["components"]["schemas"]
    needed = {name: example(one.parameters[name], components) for name in one.needed}
    ours = {name: OF_A_SITE[name].replace(THEIRS, OURS) for name in needed if name in OF_A_SITE}
    common = {name: IN_COMMON[name] for name in needed if name in IN_COMMON}
    return needed | ours | common | more


async def test_each_operation_lets_in_exactly_the_scope_it_names(
    document: dict[str, Any], clients: Clients
) -> None:
    wrong = []
    operations = described(document)
    assert len(operations) > 60
    for one in operations:
        query = query_of(one, document)
        for who, client in clients.items():
            answer = await client.request(one.method, one.address(), params=query)
            expected = expected_of(one, who)
            if not fits(answer, expected):
                wrong.append((str(one), who, expected, answer.status_code, answer.text[:200]))
        if one.method == "GET" and one.scopes:
            head = await clients["none"].head(one.address(), params=query)
            assert head.status_code == 401, one
    assert wrong == []


def expected_of(one: Described, who: str) -> str:
    if one.scopes is None:
        return "in"
    if who in ("none", "wrong"):
        # Wrong keys from one address are told so only so often.
        return "401" if who == "none" else "401 or 429"
    return "in" if not one.scopes or who in one.scopes else f"403 {one.scopes[0]}"


def fits(answer: httpx.Response, expected: str) -> bool:
    challenge = answer.headers.get("www-authenticate", "")
    if expected == "in":
        return answer.status_code not in (401, 403) and answer.status_code < 500
    if expected == "401 or 429" and answer.status_code == 429:
        return True
    if expected.startswith("401"):
        return answer.status_code == 401 and challenge.startswith("Bearer ")
    scope = expected.removeprefix("403 ")
    told = 'error="insufficient_scope"' in challenge and f'scope="{scope}"' in challenge
    return answer.status_code == 403 and told and answer.json()["scope"] == scope


# The trade's reasons, beside the description: who sells, promises, corrects or orders is not
# everybody who records at the bench.
GUARDED = {
    "trees.sold": "sales:write",
    "budwood.sold": "sales:write",
    "trees.returned": "sales:write",
    "papers.printed": "sales:write",
    "reservation.made": "reservations:write",
    "reservation.changed": "reservations:write",
    "reservation.confirmed": "reservations:write",
    "reservation.expired": "reservations:write",
    "reservation.released": "reservations:write",
    "promise.overridden": "promises:override",
    "promise.override_ended": "promises:override",
    "event.voided": "corrections:write",
    "hold.lifted": "corrections:write",
    "catalogue.changed": "catalogue:write",
    "grafting.ordered": "orders:write",
    "grafting.order_changed": "orders:write",
    "grafting.order_ended": "orders:write",
}


async def test_each_event_type_lets_in_exactly_its_scope(
    document: dict[str, Any], clients: Clients
) -> None:
    types: dict[str, str] = document["paths"]["/v1/events"]["post"]["x-scopes"]
    assert set(types) == set(document["components"]["schemas"]["Event"]["discriminator"]["mapping"])
    assert {kind: scope for kind, scope in types.items() if scope != "events:write"} == GUARDED
    wrong = []
    for kind, needed in types.items():
        event = example_event(kind, document, "AA-SITE")
        for scope in SCOPES:
            answer = await clients[scope].post("/v1/events?check=true", json=event)
            expected = "in" if scope == needed else f"403 {needed}"
            if not fits(answer, expected) or answer.status_code == 422:
                wrong.append((kind, scope, expected, answer.status_code, answer.text[:300]))
    assert wrong == []


async def test_what_asks_for_more_than_its_operation(clients: Clients) -> None:
    reads, history = clients["read"], clients["events:write"]
    for query in ("take?group_by=grafter", "take?grafter=p-1", "take-rates?by=grafter"):
        assert fits(await reads.get(f"/v1/{query}"), "403 grafters:read")
    event = {"type": "place.checked", "site": "X", "occurred": "2026-03-01", "data": {"place": "P"}}
    for query in ("recorded_by=x", "recorded_at=2026-03-01T00:00:00Z"):
        answer = await history.post(f"/v1/events?{query}", json=event)
        assert fits(answer, "403 history")
    names = [sheet["name"] for sheet in (await reads.get("/v1/sheets")).json()["items"]]
    assert len(names) > 3
    for name in names:
        filled_in = await reads.get(f"/v1/sheets/{name}?examples=true")
        answer = await reads.post(
            f"/v1/sheets/{name}?check=true&site=X&date=2026-03-01",
            content=filled_in.content,
            headers={"Content-Type": "text/csv"},
        )
        assert answer.status_code == 403, (name, answer.text)


def masked(answer: httpx.Response, asked: str) -> tuple[int, str]:
    """An answer without what differs from request to request, and without what was asked."""
    text = re.sub(r'"request_id":"[^"]*",?', "", answer.text)
    return answer.status_code, text.replace(asked, "ASKED")


async def test_nothing_of_another_site_is_listed(
    document: dict[str, Any], ours: httpx.AsyncClient, whole: httpx.AsyncClient
) -> None:
    leaking, telling, uneven = [], 0, []
    for one in described(document):
        if one.method != "GET" or "{" in one.path or one.scopes is None:
            continue
        query = query_of(one, document)
        answer = await ours.get(one.path, params=query)
        assert answer.status_code == 200, (str(one), answer.text)
        if THEIRS in said_in(answer):
            leaking.append((str(one), answer.text))
        telling += THEIRS in said_in(await whole.get(one.path, params=query))
        for clock in CLOCKS.keys() & one.parameters.keys():
            then = await ours.get(one.path, params=query | {clock: CLOCKS[clock]})
            assert then.status_code == 200, (str(one), clock, then.text)
            if THEIRS in then.text:
                leaking.append((str(one), clock, then.text))
        for name, code in OF_A_SITE.items():
            if name not in one.parameters:
                continue
            missing = code.replace(THEIRS, "QQ")
            there = await ours.get(one.path, params=query | {name: code})
            nowhere = await ours.get(one.path, params=query | {name: missing})
            if masked(there, code) != masked(nowhere, missing):
                uneven.append((str(one), name, there.text, nowhere.text))
    assert leaking == []
    assert uneven == []
    # A key of every site is told of theirs by most lists, so that not being told means something.
    assert telling > 15


async def samples(
    client: httpx.AsyncClient, one: Described, document: dict[str, Any]
) -> list[tuple[str, str]]:
    """What an operation about one thing can be about, as its list tells: parameter and value."""
    (parameter,) = re.findall(r"\{(\w+)\}", one.path)
    collection = one.path.partition("/{")[0]
    assert "get" in document["paths"].get(collection, {}), f"{one}: there is no list of them"
    parameters = {one["name"] for one in document["paths"][collection]["get"].get("parameters", [])}
    query = {name: value for name, value in WHOLE_LISTS.items() if name in parameters}
    found = []
    for item in (await client.get(collection, params=query)).json()["items"]:
        item = item.get("entry", item)
        name = next(name for name in (parameter, *NAMES) if name in item)
        found.append((parameter, str(item[name])))
    return found


async def test_what_is_another_sites_is_not_found(
    document: dict[str, Any],
    ours: httpx.AsyncClient,
    whole: httpx.AsyncClient,
    database: Database,
) -> None:
    components = document["components"]["schemas"]
    uneven, asked = [], []
    before = await everything(database)
    for one in described(document):
        if "{" not in one.path or one.scopes is None:
            continue
        seen = await samples(ours, one, document)
        for parameter, value in await samples(whole, one, document):
            address = one.address(**{parameter: value})
            hidden = (parameter, value) not in seen
            if one.method == "GET" and not hidden:
                answer = await ours.get(address)
                # What both may see tells nothing else of theirs.
                if answer.status_code != 200 or THEIRS in said_in(answer):
                    uneven.append((str(one), value, answer.text))
            if not hidden:
                continue
            asked.append(str(one))
            if str(one) == MADE_BY_EACH:
                continue
            body = None if one.body is None else example(one.body, components)
            there = await ours.request(one.method, address, json=body)
            if there.status_code != 404:
                uneven.append((str(one), value, there.text))
            if one.method == "PUT":
                # What is nowhere can be made; that is no secret where codes are unique.
                continue
            nowhere = await ours.request(one.method, one.address(), json=body)
            missing = one.address().partition(one.path.partition("{")[0])[2].split("/")[0]
            if masked(there, value) != masked(nowhere, missing):
                uneven.append((str(one), value, there.text, nowhere.text))
    assert uneven == []
    assert await everything(database) == before
    # Every operation about a thing of one site was asked for one of theirs.
    assert len(set(asked)) > 15


async def everything(database: Database) -> dict[str, list[str]]:
    async with database.writer.acquire() as connection:
        return {name: await rows_of(connection, name) for name in await tables_read(connection)}


async def test_nothing_is_recorded_at_another_site(
    document: dict[str, Any],
    ours: httpx.AsyncClient,
    whole: httpx.AsyncClient,
    database: Database,
) -> None:
    before = await everything(database)
    uneven = []
    for kind in document["paths"]["/v1/events"]["post"]["x-scopes"]:
        answers = []
        for site in ("ZZ-SITE", "QQ-SITE"):
            event = example_event(kind, document, site)
            answer = await ours.post("/v1/events", json=event)
            answers.append(masked(answer, site))
            if (answer.status_code, answer.json()["errors"][0]["kind"]) != (409, "unknown_code"):
                uneven.append((kind, answer.text))
        if answers[0] != answers[1]:
            uneven.append((kind, *answers))
    assert uneven == []
    assert await everything(database) == before

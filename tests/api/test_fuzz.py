"""No input makes a 500: whatever is sent gets an answer that says what was wrong with it."""

import json
from typing import Any

import httpx
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.api.routes import operations
from service.trade.events import EVENT_TYPES
from tests.api.conftest import MakeClient
from tests.api.nursery import STOCK, event, fill

ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=30),
    st.sampled_from(
        [
            "\x00",
            "A\n",
            "CORIN\n",
            "\ud800",
            "9999-12-31",
            "0001-01-01",
            "2026-03-10T00:00:00+23:59",
            "9999-12-31T23:59:59-23:59",
            "0001-01-01T00:00:00+23:59",
            10**30,
            -1,
            1e308,
            "",
            "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77\n",
            [],
            {},
            [[[[]]]],
        ]
    ),
)
LOOK = event("place.checked", {"place": "H2-T04", "note": "x", "totals": {"pushed": 1}})
BASES = [*STOCK, LOOK, event("event.voided", {"event": "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"})]


def spots(part: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to each value inside a JSON value, itself included."""
    found = [at]
    if isinstance(part, dict):
        for name, value in part.items():
            found += spots(value, (*at, name))
    elif isinstance(part, list):
        for index, value in enumerate(part):
            found += spots(value, (*at, index))
    return found


@st.composite
def spoilt(draw: st.DrawFn) -> Any:
    """An event with one or two of its values put out of shape."""
    body: Any = json.loads(json.dumps(draw(st.sampled_from(BASES))))
    if draw(st.booleans()):
        body["type"] = draw(st.sampled_from(sorted(EVENT_TYPES)))
    for _ in range(draw(st.integers(1, 2))):
        *way, last = draw(st.sampled_from(spots(body)[1:]))
        part = body
        try:
            for step in way:
                part = part[step]
            if draw(st.booleans()):
                part[last] = draw(ODD)
            elif isinstance(part, dict):
                part[draw(st.text(max_size=8))] = draw(ODD)
        except (KeyError, IndexError, TypeError):
            continue
    return body


def raw(body: Any) -> bytes:
    """As JSON text, lone surrogates and all."""
    return json.dumps(body).encode()


async def answered(response: httpx.Response) -> None:
    assert response.status_code < 500, (response.request.url, response.text)
    if response.status_code >= 400 and response.request.method != "HEAD":
        assert response.headers["content-type"] == "application/problem+json", response.text
        assert response.json()["status"] == response.status_code


async def test_spoilt_events(client_for: MakeClient) -> None:
    client = await client_for("history")
    await fill(client)
    bodies: list[bytes] = []

    @settings(max_examples=150, database=None, deadline=None, derandomize=True)
    @given(spoilt())
    def gather(body: Any) -> None:
        bodies.append(raw(body))

    gather()
    headers = {"Content-Type": "application/json"}
    for body in bodies:
        await answered(await client.post("/v1/events", content=body, headers=headers))
    for start in range(0, len(bodies), 50):
        many = b"[" + b",".join(bodies[start : start + 50]) + b"]"
        params = {"mode": "each"}
        response = await client.post("/v1/events", content=many, headers=headers, params=params)
        await answered(response)
    assert len(bodies) >= 100


async def test_any_bytes(client_for: MakeClient) -> None:
    client = await client_for("history")
    bodies: list[bytes] = [b"\xef\xbb\xbf{}", b"NaN", b"[1,]", b'{"a":1}{"a":2}', b"\n\n", b"[]\n"]

    @settings(max_examples=40, database=None, deadline=None, derandomize=True)
    @given(st.binary(max_size=60))
    def gather(body: bytes) -> None:
        bodies.append(body)

    gather()
    for body in bodies:
        for kind in ("application/json", "application/x-ndjson"):
            headers = {"Content-Type": kind}
            for mode in ("all", "each"):
                params = {"mode": mode}
                response = await client.post(
                    "/v1/events", content=body, headers=headers, params=params
                )
                await answered(response)
        headers = {"Content-Type": "text/csv"}
        address = "/v1/sites/NONE/temperatures"
        await answered(await client.put(address, content=body, headers=headers))


async def test_any_query_and_path(client_for: MakeClient) -> None:
    client = await client_for("history")
    await fill(client)
    addresses: list[str] = []
    gets = [one for one in operations() if one.method == "GET"]
    words = ["", "0", "-1", "x", "CORIN", "T-1", "2026-03-10", "9999-12-31", "0001-01-01", "true"]
    words += ["%00", "%FF", "A%0A", "99999999999999999999999", "2026-03-10T00:00:00Z", "1e5", "W10"]
    words += ["9223372036854775807", "WyJ4Il0", "W251bGwsIiIsIiJd", "NaN", "0001-01-01T00:00:00Z"]

    @settings(
        max_examples=200,
        database=None,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def gather(data: st.DataObject) -> None:
        one = data.draw(st.sampled_from(gets))
        path = one.path
        for part in ("{code:str}", "{id:str}", "{slug:str}"):
            path = path.replace(part, data.draw(st.sampled_from(words[1:])))
        names = [*(one.query.__struct_fields__), "from", "to", "zzz"]
        chosen = data.draw(st.lists(st.sampled_from(names), max_size=3))
        addresses.append(
            path + "?" + "&".join(f"{n}={data.draw(st.sampled_from(words))}" for n in chosen)
        )

    gather()
    for address in addresses:
        await answered(await client.get(address))


async def test_odd_headers(client_for: MakeClient) -> None:
    client = await client_for("history")
    for name in ("If-None-Match", "If-Match", "Prefer", "Accept", "X-Request-Id", "Content-Type"):
        for value in (b"", b"*", b'"', b"\xff\xfe", b"W/", b"wait=99999", b"a" * 5000, b'"1",'):
            response = await client.get("/v1/sites/CORIN", headers=[(name.encode(), value)])
            await answered(response)
            response = await client.put(
                "/v1/sizes/C1",
                json={"label": "1"},
                headers=[(name.encode(), value)] if name != "Content-Type" else None,
            )
            await answered(response)

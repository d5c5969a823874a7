"""Every mistake gets a problem document that says where, over real HTTP."""

import gzip
import json
from typing import Any

import httpx
import pytest

from tests.api.conftest import MakeClient, NeverAsked

LOOK = {
    "type": "place.checked",
    "site": "CORIN",
    "occurred": "2026-03-14",
    "data": {"place": "H2-T04"},
}


@pytest.fixture
def appender() -> NeverAsked:
    return NeverAsked()


def checked(response: httpx.Response, status: int, slug: str) -> dict[str, Any]:
    """The members RFC 9457 section 3.1 names, each as it must be."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    document: dict[str, Any] = response.json()
    assert document["status"] == status
    assert document["type"] == f"/problems/{slug}"
    assert document["title"]
    assert document["request_id"] == response.headers["x-request-id"]
    return document


async def test_an_unknown_address_and_method(client_for: MakeClient) -> None:
    client = await client_for()
    document = checked(await client.get("/v1/nowhere"), 404, "not-found")
    assert document["instance"] == "/v1/nowhere"
    response = await client.delete("/v1/events")
    checked(response, 405, "method-not-allowed")
    allowed = {"GET", "HEAD", "OPTIONS", "POST"}
    assert set(response.headers["allow"].split(", ")) == allowed
    response = await client.options("/v1/events")
    assert set(response.headers["allow"].split(", ")) == allowed


async def test_without_a_valid_key(client_for: MakeClient) -> None:
    nobody = await client_for(None)
    response = await nobody.get("/v1/events")
    checked(response, 401, "unauthenticated")
    assert response.headers["www-authenticate"] == 'Bearer realm="graftlog"'
    for value in ("Basic eDp5", "Bearer", "Bearer glk_aaaaaaaaaaaa_" + "x" * 43, "Bearer \u00e9"):
        raw = [(b"Authorization", value.encode("latin-1"))]
        response = await nobody.get("/v1/events", headers=raw)
        checked(response, 401, "unauthenticated")
        assert response.headers["www-authenticate"].startswith("Bearer ")


async def test_a_key_without_the_scope(client_for: MakeClient) -> None:
    auditor = await client_for("auditor")
    response = await auditor.post("/v1/events", json=LOOK)
    document = checked(response, 403, "insufficient-scope")
    assert document["scope"] == "events:write"
    assert document["errors"][0]["pointer"] == "#/type"
    response = await auditor.put("/v1/sizes/C2", json={"label": "2 litre"})
    checked(response, 403, "insufficient-scope")
    assert 'error="insufficient_scope"' in response.headers["www-authenticate"]
    recorder = await client_for("recorder")
    params = {"recorded_at": "2025-01-01T00:00:00Z"}
    response = await recorder.post("/v1/events", json=LOOK, params=params)
    assert checked(response, 403, "insufficient-scope")["scope"] == "history"


async def test_a_site_that_the_key_does_not_see_is_not_there(client_for: MakeClient) -> None:
    client = await client_for("recorder", "OTHER")
    document = checked(await client.post("/v1/events", json=[LOOK]), 409, "refused")
    assert document["errors"] == [
        {"kind": "unknown_code", "detail": "No site CORIN is known.", "pointer": "#/0/site"}
    ]


async def test_other_content_is_not_read(client_for: MakeClient) -> None:
    client = await client_for()
    for kind in ("text/plain", "application/xml", "", "multipart/form-data"):
        response = await client.post("/v1/events", content=b"{}", headers={"Content-Type": kind})
        checked(response, 415, "unsupported-media-type")
        assert response.headers["accept-post"] == "application/json, application/x-ndjson"


async def test_a_compressed_body_is_not_read(client_for: MakeClient) -> None:
    client = await client_for()
    packed = gzip.compress(json.dumps(LOOK).encode())
    kind = {"Content-Type": "application/json"}
    response = await client.post(
        "/v1/events", content=packed, headers=kind | {"Content-Encoding": "gzip"}
    )
    # RFC 9110, 15.5.16 and 12.5.3: which codings would do is told in Accept-Encoding.
    assert "compressed" in checked(response, 415, "unsupported-media-type")["detail"]
    assert response.headers["accept-encoding"] == "identity"
    plain = await client.post(
        "/v1/events", content=b"{", headers=kind | {"Content-Encoding": "identity"}
    )
    checked(plain, 400, "malformed-request")


NO_JSON = (
    b"",
    b"{",
    b"nonsense",
    b'{"type":',
    b"[" * 200_000,
    b"[{}",
    b'{"type":"place.checked","site":"\xff","occurred":"2026-01-01","data":{"place":"A"}}',
    b'{"type":"place.checked","site":"\\ud800","occurred":"2026-01-01","data":{"place":"A"}}',
    b'[{"type":"place.checked","site":"\xff","occurred":"2026-01-01","data":{"place":"A"}}]',
)


async def test_what_is_no_json(client_for: MakeClient) -> None:
    client = await client_for()
    headers = {"Content-Type": "application/json"}
    for body in NO_JSON:
        response = await client.post("/v1/events", content=body, headers=headers)
        checked(response, 400, "malformed-request")


async def test_mistakes_of_an_array_are_all_pointed_at(client_for: MakeClient) -> None:
    client = await client_for()
    body = [
        LOOK,
        {**LOOK, "extra": 1},
        {**LOOK, "data": {"place": "H2-T04", "totals": {"pushed": -1}}},
        {**LOOK, "data": {"place": "no\u0000code"}},
        {**LOOK, "occurred": "2026-01-01T00:00:00"},
        {**LOOK, "data": {"place": "H2-T04", "totals": {"pushed": 10**30}}},
    ]
    document = checked(await client.post("/v1/events", json=body), 422, "validation-error")
    assert [(one["pointer"], one["kind"]) for one in document["errors"]] == [
        ("#/1/extra", "unknown_field"),
        ("#/2/data/totals/pushed", "bad_value"),
        ("#/3/data/place", "bad_value"),
        ("#/4/occurred", "bad_value"),
        ("#/5/data/totals/pushed", "bad_value"),
    ]


async def test_one_request_says_an_id_once(client_for: MakeClient) -> None:
    client = await client_for()
    event = {**LOOK, "id": "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"}
    document = checked(
        await client.post("/v1/events", json=[event, event]), 422, "validation-error"
    )
    assert document["errors"][0]["pointer"] == "#/1/id"
    assert document["errors"][0]["kind"] == "id_twice"


async def test_no_events_and_too_many(client_for: MakeClient) -> None:
    client = await client_for()
    checked(await client.post("/v1/events", json=[]), 422, "validation-error")
    document = checked(await client.post("/v1/events", json=[1] * 1001), 413, "content-too-large")
    assert document["limit"] == 1000
    headers = {"Content-Type": "application/x-ndjson"}
    lines = b"1\n" * 5001
    response = await client.post("/v1/events", content=lines, headers=headers)
    told = checked(response, 413, "content-too-large")
    assert told["limit"] == 5000
    assert "Accept: application/x-ndjson" in told["detail"]


async def test_too_large_a_body(client_for: MakeClient) -> None:
    client = await client_for()
    headers = {"Content-Type": "application/json"}
    one = b'{"a":"' + b"x" * (2 * 1024 * 1024) + b'"}'
    checked(await client.post("/v1/events", content=one, headers=headers), 413, "content-too-large")
    size = str(100 * 1024 * 1024)
    request = client.build_request(
        "POST", "/v1/events", headers={**headers, "Content-Length": size}, content=b"["
    )
    request.headers["Content-Length"] = str(9 * 1024 * 1024)
    request.stream = httpx.ByteStream(b"[" + b" " * (9 * 1024 * 1024 - 1))
    checked(await client.send(request), 413, "content-too-large")


WRONG_QUERIES = (
    ("limit=0", "limit", "bad_value"),
    ("limit=x", "limit", "wrong_type"),
    ("limit=99999999999999999999999999", "limit", "bad_value"),
    ("lot=%00", "lot", "bad_value"),
    ("from=2026-02-30", "from", "not_a_day"),
    ("from=2026-01-01T24:00:00Z", "from", "not_a_day"),
    ("to=1990-12-31T23:59:60Z", "to", "not_a_day"),
    ("cursor=zzz", "cursor", "no_cursor"),
    ("cursor=%FF", "cursor", "bad_value"),
    ("colour=red", "colour", "unknown_field"),
    ("limit=1&limit=2", "limit", "bad_value"),
    ("order=random", "order", "bad_value"),
    ("lot=null", "lot", "bad_value"),
)


async def test_a_query_parameter_with_a_mistake(client_for: MakeClient) -> None:
    client = await client_for()
    for query, name, kind in WRONG_QUERIES:
        document = checked(await client.get(f"/v1/events?{query}"), 422, "validation-error")
        assert [(one["parameter"], one["kind"]) for one in document["errors"]] == [(name, kind)]
    document = checked(await client.get("/v1/stock/by-day"), 422, "validation-error")
    assert document["errors"][0]["parameter"] == "first"


async def test_every_kind_of_problem_is_explained(client_for: MakeClient) -> None:
    client = await client_for(None)
    kinds = (await client.get("/problems")).json()
    assert len(kinds) > 15
    for kind in kinds:
        response = await client.get(kind["type"])
        assert response.json() == kind
        page = await client.get(kind["type"], headers={"Accept": "text/html"})
        assert page.headers["content-type"].startswith("text/html")
        assert kind["title"] in page.text.replace("&#x27;", "'")
    checked(await client.get("/problems/nothing"), 404, "not-found")


async def test_the_unforeseen_says_nothing_of_its_inside(client_for: MakeClient) -> None:
    # The appender of these tests raises AssertionError with words that must not come out.
    client = await client_for()
    response = await client.post("/v1/events", json=LOOK, headers={"X-Request-Id": "trace-7"})
    document = checked(response, 500, "internal-error")
    assert document["request_id"] == "trace-7"
    assert "should not have" not in response.text


async def test_what_is_no_code_or_id_is_not_found(client_for: MakeClient) -> None:
    client = await client_for()
    for path in (
        "/v1/events/1",
        "/v1/events/%00",
        "/v1/sites/lower",
        "/v1/tree-lots/A%0A",
        "/v1/tree-lots/%00",
        "/v1/tree-lots/NONE",
        "/v1/reservations/NONE",
        "/v1/cultivars/NONE",
        "/v1/events/0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77",
    ):
        checked(await client.get(path), 404, "not-found")

"""Events as CloudEvents 1.0: held to the published schema, read by the standard's own library."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import jsonschema
import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_binary_event, from_structured_event
from cloudevents.core.formats.json import JSONFormat

from service.api.schemas import names, schema_of
from service.feed.cloud_events import MANY, ONE, header_value
from service.log.upcasting import newest_version
from tests.api.conftest import MakeClient
from tests.api.nursery import STOCK, fill

# CloudEvents 1.0.2, formats/cloudevents.json (cloudevents/spec on GitHub): the parts that say
# something; and section "Attribute Naming Convention" of its spec.md.
SCHEMA = {
    "$schema": "http://json-schema.org/draft-07/schema#",
    "type": "object",
    "properties": {
        "id": {"type": "string", "minLength": 1},
        "source": {"type": "string", "format": "uri-reference", "minLength": 1},
        "specversion": {"type": "string", "minLength": 1},
        "type": {"type": "string", "minLength": 1},
        "datacontenttype": {"type": ["string", "null"], "minLength": 1},
        "dataschema": {"type": ["string", "null"], "format": "uri", "minLength": 1},
        "subject": {"type": ["string", "null"], "minLength": 1},
        "time": {"type": ["string", "null"], "format": "date-time", "minLength": 1},
        "data": {"type": ["object", "string", "number", "array", "boolean", "null"]},
        "data_base64": {"type": ["string", "null"], "contentEncoding": "base64"},
    },
    "required": ["id", "source", "specversion", "type"],
}
ATTRIBUTE = re.compile(r"[a-z0-9]{1,20}")


@pytest.fixture
async def client(client_for: MakeClient) -> httpx.AsyncClient:
    made = await client_for()
    await fill(made)
    return made


def check(event: dict[str, Any]) -> None:
    jsonschema.validate(event, SCHEMA, format_checker=jsonschema.FormatChecker())
    assert event["specversion"] == "1.0"
    assert all(ATTRIBUTE.fullmatch(name) for name in event), event.keys()
    # An extension is a string, a boolean or a whole number; only `data` is more.
    assert all(isinstance(value, str) for name, value in event.items() if name != "data")


async def test_a_batch_is_the_list_page_by_page(client: httpx.AsyncClient) -> None:
    batch: list[dict[str, Any]] = []
    path: str | None = "/v1/events?limit=5"
    while path is not None:
        answer = await client.get(path, headers={"Accept": MANY})
        assert answer.headers["content-type"] == MANY
        batch += answer.json()
        link = answer.headers.get("link")
        path = re.fullmatch(r"<([^>]+)>; rel=\"next\"", link)[1] if link else None  # type: ignore[index]
    for event in batch:
        check(event)
    listed = (await client.get("/v1/events?limit=1000")).json()
    assert [event["data"] for event in batch] == listed["items"]
    assert answer.headers["graftlog-after"] == str(listed["position"]) == str(len(batch))
    # Sorted as text they stand in the order of the log.
    assert sorted(event["sequence"] for event in batch) == [one["sequence"] for one in batch]
    (graft,) = (one for one in batch if one["type"] == "trees.grafted")
    assert (graft["subject"], graft["source"].endswith("/v1/sites/CORIN")) == ("lot/T-1", True)
    # A day alone is its noon in Madrid, an hour before UTC's in winter.
    assert graft["time"] == "2026-03-10T11:00:00Z"


async def test_another_hand_reads_one_event_in_both_of_http_s_modes(
    client: httpx.AsyncClient,
) -> None:
    (grafted,) = (await client.get("/v1/events?type=trees.grafted")).json()["items"]
    path = f"/v1/events/{grafted['id']}"
    structured = await client.get(path, headers={"Accept": f"text/html, {ONE};q=0.9"})
    check(structured.json())
    binary = await client.get(path)
    assert structured.headers["etag"] != binary.headers["etag"]
    for read, answer in ((from_structured_event, structured), (from_binary_event, binary)):
        event = read(HTTPMessage(dict(answer.headers), answer.content), JSONFormat())
        assert event.get_id() == grafted["id"]
        assert event.get_type() == "trees.grafted"
        assert event.get_time() == datetime(2026, 3, 10, 11, tzinfo=UTC)
        assert event.get_subject() == "lot/T-1"
        assert event.get_extension("sequence") == f"{grafted['position']:020d}"
        assert event.get_data() == grafted
    # What its `dataschema` names says what `data` is.
    address = structured.json()["dataschema"]
    answer = await client.get("/v1/schemas/" + address.rpartition("/")[2])
    schema = answer.json()
    assert (schema["$id"], answer.headers["content-type"]) == (address, "application/schema+json")
    jsonschema.validate(grafted, schema, format_checker=jsonschema.FormatChecker())
    assert not jsonschema.Draft202012Validator(schema).is_valid(grafted | {"data": {"lot": 3}})
    assert (await client.get("/v1/schemas/trees.grafted.v0")).status_code == 404
    # Asked again with the tag that came with it, it is not sent again.
    where, tag = "/v1/schemas/trees.grafted.v1", answer.headers["ETag"]
    assert (await client.get(where, headers={"If-None-Match": tag})).status_code == 304
    assert (await client.get(where, headers={"If-None-Match": "nonsense"})).status_code == 400


def test_every_stored_event_fits_the_schema_of_its_type() -> None:
    """By the corpus, which has every type."""
    validators: dict[str, Any] = {}
    for line in Path("tests/corpus/stored.ndjson").read_text().splitlines():
        stored = json.loads(line)
        kind = stored["type"]
        if stored["version"] != newest_version(kind):
            continue
        if kind not in validators:
            schema = schema_of(kind)
            of_data = {**schema["properties"]["data"], "$defs": schema["$defs"]}
            validators[kind] = jsonschema.Draft202012Validator(of_data)
        validators[kind].validate(stored["data"])
    assert {f"{kind}.v{newest_version(kind)}" for kind in validators} == set(names())


def test_headers_hold_printable_ascii_alone() -> None:
    """The HTTP protocol binding's own example, section 3.1.3.2."""
    assert header_value("Euro € 😀") == "Euro%20%E2%82%AC%20%F0%9F%98%80"
    assert header_value('50% "a"/b~') == "50%25%20%22a%22/b~"


async def test_pages_say_where_to_go_on_after_the_last_one_too(client: httpx.AsyncClient) -> None:
    """What is wanted comes once, whether it was there or is recorded between two questions."""
    seen, after = [], 0
    for round_ in range(3):
        page = {"items": [None]}
        while page["items"] or page["after"] < page["position"]:
            query = {"after": after, "limit": 2, "type": "place.checked,trees.grafted"}
            page = (await client.get("/v1/events", params=query)).json()
            seen += [one["position"] for one in page["items"]]
            after = page["after"]
        assert after == page["position"]
        look = STOCK[0] | {"type": "place.checked", "data": {"place": "COOL-1"}}
        assert (await client.post("/v1/events", json=[look] * (round_ + 1))).status_code == 201
    listed = await client.get("/v1/events?type=place.checked,trees.grafted")
    assert seen == [one["position"] for one in listed.json()["items"]][: len(seen)]
    assert len(seen) == 1 + 1 + 2

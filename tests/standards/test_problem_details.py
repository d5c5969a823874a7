"""Real problem documents against RFC 9457, with the JSON Schema of its appendix A.

The schema is the RFC's own (July 2023), its descriptions left out.
"""

import json
import re
from typing import Any

import httpx
from jsonschema import Draft202012Validator

from tests.api.nursery import event

APPENDIX_A = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "An RFC 7807 problem object",
    "type": "object",
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 100, "maximum": 599},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
    },
}
# RFC 9457 section 3.2: extension members begin with a letter, then letters, digits and "_", and
# have three characters or more.
EXTENSION = re.compile(r"[A-Za-z][A-Za-z0-9_]{2,}")
LOOK = event("place.checked", {"place": "H2-T04"})


def checked(answer: httpx.Response, status: int) -> dict[str, Any]:
    """The document, held against the RFC."""
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    document: dict[str, Any] = answer.json()
    Draft202012Validator(APPENDIX_A).validate(document)
    # Section 3.1.2: the status in the document is the one that was sent.
    assert document["status"] == status
    # Section 3.1.1: a URI reference; this service explains each of its own.
    assert re.fullmatch(r"/problems/[a-z-]+", document["type"])
    assert document["title"]
    for name in document:
        assert EXTENSION.fullmatch(name), name
    for error in document.get("errors", []):
        assert error["detail"]
        assert ("pointer" in error) != ("parameter" in error), error
        if "pointer" in error:
            # RFC 6901 section 6: a fragment, each part after a "/", "~" only as ~0 and ~1.
            assert re.fullmatch(r"#(/([^~/#%\s]|~[01]|%[0-9A-F]{2})*)*", error["pointer"])
    return document


async def test_documents_of_every_status(client: httpx.AsyncClient) -> None:
    """One real answer for each status a client can bring about at will."""
    anyone = {"Authorization": ""}
    raw = {"Content-Type": "application/json"}
    post = client.post
    checked(await post("/v1/events", content=b"{", headers=raw), 400)
    checked(await client.get("/v1/events", headers=anyone), 401)
    checked(await client.get("/v1/tree-lots/NO-SUCH"), 404)
    checked(await client.delete("/v1/events"), 405)
    refused = checked(
        await post("/v1/events", json=event("place.checked", {"place": "NOWHERE"})), 409
    )
    assert refused["errors"][0]["pointer"] == "#/data/place"
    site = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 39.5, "longitude": -0.4}
    old = {"If-Match": '"999999"'}
    checked(await client.put("/v1/sites/CORIN", json=site, headers=old), 412)
    checked(await post("/v1/events", json=[LOOK] * 1001), 413)
    checked(await post("/v1/events", content=b"x", headers={"Content-Type": "text/plain"}), 415)
    checked(await client.put("/v1/sites/CORIN", json=site), 428)


async def test_several_mistakes_are_pointed_at_one_by_one(client: httpx.AsyncClient) -> None:
    """As in the RFC's own example of section 3: an array of details with pointers."""
    wrong = [event("place.checked", {"plaice": "H2-T04"}), {**LOOK, "occurred": 7}, LOOK]
    document = checked(await client.post("/v1/events", json=wrong), 422)
    pointers = [error["pointer"] for error in document["errors"]]
    assert len(pointers) == 2
    assert pointers[0].startswith("#/0/data")
    assert pointers[1] == "#/1/occurred"
    # Pointers lead somewhere in what was sent, or to what is missing from it.
    assert json.loads(json.dumps(wrong))[1]["occurred"] == 7


async def test_the_title_does_not_change_between_occurrences(client: httpx.AsyncClient) -> None:
    """Section 3.1.3."""
    one = checked(await client.get("/v1/tree-lots/NO-SUCH"), 404)
    other = checked(await client.get("/v1/sites/NOR-THIS"), 404)
    assert one["type"] == other["type"]
    assert one["title"] == other["title"]
    assert one["detail"] != other["detail"]


async def test_each_type_can_be_read_up(client: httpx.AsyncClient) -> None:
    """Section 4: a type's URI leads to what explains it."""
    document = checked(await client.get("/v1/tree-lots/NO-SUCH"), 404)
    answer = await client.get(document["type"])
    assert answer.status_code == 200
    assert document["title"] in answer.text

"""Answers are read tolerantly, requests are known field by field, events go by their type."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from client_writer.operations import module
from client_writer.shapes import Shapes
from graftlog_client import Message, said, shapes

from service.trade.events import Event

STORED = Path(__file__).parents[1] / "corpus" / "stored.ndjson"


def stored_events() -> Iterator[dict[str, Any]]:
    """One or more of every type of event, as the log has kept them."""
    return map(json.loads, STORED.read_text().splitlines())


def as_answered(stored: dict[str, Any], **more: Any) -> dict[str, Any]:
    named = ("id", "type", "version", "site", "occurred", "occurred_at", "actor", "happened")
    more_named = ("replaces", "data", "position", "sites", "remarks")
    told = {name: stored[name] for name in (*named, *more_named)}
    who = {"recorded_at": "2026-01-01T00:00:00Z", "recorded_by": "k", "voided_by": None}
    return told | who | more


def understood(stored: dict[str, Any], data: Any) -> Event:
    """An event with this data, as the service itself reads it."""
    envelope = {name: stored[name] for name in ("type", "site", "occurred")}
    return msgspec.convert(envelope | {"data": data}, Event)


def test_every_event_ever_stored_goes_through_its_shape_unharmed() -> None:
    seen = set()
    for stored in stored_events():
        told = said(msgspec.convert(as_answered(stored), shapes.StoredEvent))
        assert understood(stored, msgspec.to_builtins(told)) == understood(stored, stored["data"])
        seen.add(stored["type"])
    # The corpus has one of every type, so a type without a shape would show.
    assert len(seen) >= 47


def test_a_request_read_from_a_file_is_the_event_of_its_type() -> None:
    sent = '{"type":"trees.sold","site":"CORIN","occurred":"2026-03-01","data":%s}'
    line = '{"customer":"cust-1","lines":[{"lot":"T-1","count":2}]}'
    event = msgspec.json.decode(sent % line, type=shapes.Event)
    assert isinstance(event, shapes.TreesSold)
    assert event.data.lines[0].count == 2
    assert json.loads(msgspec.json.encode(event)) == json.loads(sent % line)


def test_what_a_later_version_adds_to_an_answer_is_no_error() -> None:
    stored = next(stored for stored in stored_events() if stored["type"] == "trees.lost")
    later = as_answered(stored, colour="green")
    later["data"] = stored["data"] | {"cause": "eaten_by_snails", "shade": 3}
    told = said(msgspec.json.decode(json.dumps(later), type=shapes.StoredEvent))
    assert isinstance(told, shapes.TreesLostData)
    assert str(told.cause) == "eaten_by_snails"
    later["type"] = "trees.sung_to"
    assert said(msgspec.convert(later, shapes.StoredEvent)) is None


def test_a_delivery_says_what_its_event_says() -> None:
    stored = next(stored for stored in stored_events() if stored["type"] == "trees.lost")
    delivered = Message(id="1", type="trees.lost", source="/s", data=as_answered(stored))
    assert said(delivered) == said(msgspec.convert(as_answered(stored), shapes.StoredEvent))


def test_a_word_that_no_request_has_is_told() -> None:
    with pytest.raises(TypeError, match="colour"):
        shapes.Discard(reason="twice", colour="green")  # type: ignore[call-arg]
    with pytest.raises(msgspec.ValidationError, match="colour"):
        msgspec.json.decode('{"reason":"twice","colour":"green"}', type=shapes.Discard)


def small(schema: dict[str, Any]) -> dict[str, Any]:
    """A document of one operation, whose body and answer are the two shapes given."""
    event = {"discriminator": {"propertyName": "type", "mapping": {}}, "anyOf": []}
    at = {"name": "If-Match", "in": "header", "schema": {"type": "string"}}
    content = {"application/merge-patch+json": {"schema": {"$ref": "#/components/schemas/Wish"}}}
    answer = {"application/json": {"schema": {"$ref": "#/components/schemas/Told"}}}
    patch = {
        "operationId": "wish",
        "parameters": [at, {"name": "from", "in": "query", "schema": {"type": "integer"}}],
        "requestBody": {"content": content},
        "responses": {"200": {"content": answer}, "404": {}},
    }
    return {
        "paths": {"/v1/wishes/{code}": {"patch": patch}},
        "components": {"schemas": {"Event": event, **schema}},
    }


def test_left_out_and_null_are_two_words_where_the_document_says_so() -> None:
    text, null = {"type": "string"}, {"type": "null"}
    wish = {"properties": {"from": {"anyOf": [text, null]}, "n": {"type": "integer", "default": 1}}}
    told = {"properties": {"day": {"type": "string", "format": "date"}}, "required": ["day"]}
    written = Shapes(small({"Wish": wish | {"additionalProperties": False}, "Told": told})).module()
    made: dict[str, Any] = {"__name__": "graftlog_client.made"}
    exec(compile(written, "made", "exec"), made)
    assert msgspec.json.encode(made["Wish"]()) == b"{}"
    assert msgspec.json.encode(made["Wish"](from_=None)) == b'{"from":null}'
    assert "forbid_unknown_fields" in written.split("class Wish")[1].split(":")[0]
    assert "forbid_unknown_fields" not in written.split("class Told")[1].split(":")[0]


def test_a_method_sends_what_the_document_says() -> None:
    written = module(small({}))
    assert "async def wish(self, body: shapes.Wish, *, if_match: str | None = None," in written
    assert "-> Answer[shapes.Told]" in written
    assert 'media="application/merge-patch+json"' in written
    assert 'query={"from": from_}, headers={"If-Match": if_match}' in written

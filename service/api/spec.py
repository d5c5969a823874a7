"""The public description (OpenAPI 3.1), made from the operations and the structs they use.

msgspec itself writes the schemas: discriminators that resolve, whole numbers as whole numbers,
`additionalProperties: false` where unknown fields are refused, words from docstrings and Meta.
It is built once, served as it is, and committed as openapi/openapi.json.
"""

import hashlib
import re
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

from service import __version__
from service.api import spec_webhooks
from service.api.operation import JSON, MERGE_PATCH, NDJSON, Operation
from service.api.parameters import in_headers, in_path, in_query
from service.api.problems import KINDS, MEANING_KINDS, PROBLEM_TYPE, ProblemDocument
from service.api.tags import TAGS
from service.log.rights import scope_for
from service.trade.events import EVENT_TYPES, Event
from service.trade.events.catalogue import Entry

COMMITTED = Path("openapi/openapi.json")
_REF = "#/components/schemas/"
_UNIONS = ("Event", "Entry")
ARRAY_LIMIT = 1000
# What is read is checked against the calendar, with words of its own for what is in none; what is
# published is the nearest to it that a pattern can say.
_CALENDAR = {
    "[0-9]{4}-[0-9]{2}-[0-9]{2}": (
        "(19[0-9]{2}|2[01][0-9]{2}|2200)-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
    ),
    "[0-9]{2}:[0-9]{2}:[0-9]{2}": "([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]",
    "[+-][0-9]{2}:[0-9]{2}": "[+-]([01][0-9]|2[0-3]):[0-5][0-9]",
}
_ALWAYS = (
    "malformed-request",
    "validation-error",
    "address-too-long",
    "headers-too-large",
    "internal-error",
    "not-ready",
    "overloaded",
)
_LIMITS = {
    name: {"required": True, "description": words, "schema": {"type": "string", "pattern": form}}
    for name, words, form in (
        ("Retry-After", "Seconds to wait.", "^[0-9]+$"),
        ("RateLimit", "What is left (r), and seconds until more comes back (t).", '^".+";r='),
        ("RateLimit-Policy", "How many (q) in any so many seconds (w).", '^".+";q='),
    )
}
_STATUSES = {
    200: "The answer.",
    201: "Something new was recorded.",
    204: "It is done, and there is nothing to say.",
}
_ABOUT = (
    """graftlog records what is done at the bench of nurseries that graft fruit trees, and
answers what stands where, what is due, and what will be ready.

Every change is an event, sent to `POST /v1/events` and never altered afterwards. Lists go on with
`next`. Errors are problem documents (RFC 9457): go by `type` and `errors[].kind`. What belongs to a
site that the key does not see is not found. Every address that answers GET answers HEAD.

What a key may still ask is in RateLimit (draft-ietf-httpapi-ratelimit-headers). What is on its way
out says so by Deprecation (RFC 9745) and Sunset (RFC 8594), long before.

Whole numbers are written without a fraction: 24, not 24.0. A 422 about something that fits this
description says so by a kind of its own: """
    + ", ".join(f"`{kind}`" for kind in MEANING_KINDS)
    + ".\n"
)
_EXAMPLE_EVENT = {
    "type": "place.checked",
    "site": "CORIN",
    "occurred": "2026-03-14",
    "actor": "p-07",
    "data": {"place": "H2-T04", "note": "All well."},
}


def build() -> dict[str, Any]:
    """The whole description."""
    # Late, since the handlers include the one that serves this.
    from service.api.routes import operations

    declared = list(operations())
    types: list[Any] = [ProblemDocument, Event, Entry, *spec_webhooks.SHAPES]
    for one in declared:
        types += [kind for kind in (one.query, one.body, one.answer) if kind is not None]
        types += [kind for _, kind in one.also]
    schemas, components = msgspec.json.schema_components(types, ref_template=_REF + "{name}")
    by_type = {repr(kind): schema for kind, schema in zip(types, schemas, strict=True)}
    components["Event"], components["Entry"] = schemas[1], schemas[2]
    unions = {tuple(components[name]["discriminator"]["mapping"]): name for name in _UNIONS}
    paths: dict[str, Any] = {}
    for one in declared:
        path = re.sub(r"\{(\w+):\w+\}", r"{\1}", one.path)
        paths.setdefault(path, {})[one.method.lower()] = _operation(one, by_type, components)
        for told in _linking(one, paths[path][one.method.lower()]):
            told["links"] = _links(one, declared)
    for one in declared:
        components.pop(one.query.__name__, None)
    document = {
        "openapi": "3.1.0",
        "info": {
            "title": "graftlog",
            "version": __version__,
            "summary": "Event log and REST service for nurseries that graft fruit trees",
            "description": _ABOUT,
            "contact": {"name": "Whoever runs this service for your nursery"},
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/", "description": "This service."}],
        "tags": [
            {"name": tag, "description": TAGS.get(tag, "")}
            for tag in dict.fromkeys(one.tag for one in declared)
        ],
        "paths": paths,
        "webhooks": spec_webhooks.webhooks(components),
        "components": {
            "schemas": components,
            "parameters": spec_webhooks.parameters(),
            "responses": {slug: _problem(slug) for slug in KINDS if _refers(paths, slug)}
            | spec_webhooks.responses(),
            "securitySchemes": {
                "key": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A key as made by `graftlog keys create`.",
                }
            },
        },
    }
    tidy: dict[str, Any] = msgspec.json.decode(_renamed(msgspec.json.encode(document)))
    name_unions(tidy["paths"], unions)
    for name, schema in tidy["components"]["schemas"].items():
        if name not in _UNIONS:
            name_unions(schema, unions)
    _straighten(tidy)
    return tidy


def name_unions(part: Any, unions: dict[tuple[str, ...], str]) -> None:
    """Where a tagged union is written out, refer to it by its name instead."""
    for value in part.values() if isinstance(part, dict) else part:
        if isinstance(value, dict) and "discriminator" in value:
            name = unions.get(tuple(value["discriminator"]["mapping"]))
            if name is not None:
                value.clear()
                value["$ref"] = _REF + name
        elif isinstance(value, dict | list):
            name_unions(value, unions)


def _straighten(part: Any) -> None:
    """Docstrings are broken into lines for the source; in public they are running text.

    Patterns of days and times are narrowed to what calendars and clocks have.
    """
    if isinstance(part, dict):
        if isinstance(pattern := part.get("pattern"), str):
            for wide, narrow in _CALENDAR.items():
                pattern = pattern.replace(wide, narrow)
            part["pattern"] = pattern
        if isinstance(words := part.get("description"), str):
            part["description"] = "\n\n".join(" ".join(p.split()) for p in words.split("\n\n"))
        part = list(part.values())
    if isinstance(part, list):
        for one in part:
            _straighten(one)


def _renamed(text: bytes) -> bytes:
    """Page_StoredEvent_ as PageOfStoredEvent: what generic structs are called in public."""
    return re.sub(rb"\b(\w*Page)_([A-Za-z]+)_", rb"\1Of\2", text)


def _linking(one: Operation, described: dict[str, Any]) -> list[dict[str, Any]]:
    """The answers after which a link goes on: those of a change that was made."""
    if one.method == "GET" or not (_is_of_a_thing(one) or 201 in one.answers):
        return []
    # A POST that makes something answers 200 when it only tried.
    made = one.answers if _is_of_a_thing(one) or one.name == "record_events" else (201,)
    return [described["responses"][str(status)] for status in made]


def _is_of_a_thing(one: Operation) -> bool:
    return "{" in one.path


def _links(one: Operation, declared: list[Operation]) -> dict[str, Any]:
    """Where one can go on after a change: to what else is done with the thing that was changed."""
    if one.name == "record_events":
        given = {"id": "$response.body#/verdicts/0/id"}
        words = "The first event as it was recorded."
        return {
            "get_event": {"operationId": "get_event", "parameters": given, "description": words}
        }
    given = {name: f"$request.path.{name}" for name in re.findall(r"\{(\w+)", one.path)}
    links: dict[str, Any] = {}
    for other in declared:
        parameters = (given or _named(one, other)) | _unchanged(one, other)
        if other is not one and parameters and _goes_on(one, other):
            links[other.name] = {
                "operationId": other.name,
                "parameters": parameters,
                "description": "The same one.",
            }
    return links


def _goes_on(one: Operation, other: Operation) -> bool:
    """Whether it is about the same thing, or about what belongs to it."""
    if one.method != "POST" or not _is_of_a_thing(one):
        return other.path == one.path or other.path.startswith(f"{one.path}/")
    # After something was done with a thing: to the thing, and to what else can be done with it now.
    thing = one.path[: one.path.rindex("}") + 1]
    is_thing = other.path == thing and other.method == "GET"
    return is_thing or (other.path.startswith(thing) and bool(_unchanged(one, other)))


def _named(one: Operation, other: Operation) -> dict[str, str]:
    """What the answer of one that makes something calls it, where another takes that name."""
    fields = {field.encode_name for field in msgspec.structs.fields(one.answer)}
    names = re.findall(r"\{(\w+)", other.path)
    return {name: f"$response.body#/{name}" for name in names if name in fields}


def _unchanged(one: Operation, other: Operation) -> dict[str, str]:
    """The tag of what was answered, where a change of it needs one."""
    if "If-Match" not in other.request_headers or one.answer is not other.answer:
        return {}
    return {"header.If-Match": "$response.header.ETag"}


def _operation(
    one: Operation, schemas: dict[str, Any], components: dict[str, Any]
) -> dict[str, Any]:
    summary, _, rest = one.doc.strip().partition("\n")
    described: dict[str, Any] = {
        "operationId": one.name,
        "summary": summary.strip().rstrip("."),
        "description": " ".join((summary + " " + rest).split()),
        "tags": [one.tag],
        "responses": _responses(one, schemas),
    }
    parameters = [*in_path(one), *in_query(one, components), *in_headers(one)]
    if parameters:
        described["parameters"] = parameters
    if one.deprecated is not None:
        described["deprecated"] = True
        described["description"] += f" {one.deprecated.words}"
    if one.body is not None:
        described["requestBody"] = _body(one, schemas, components)
    # A requirement's list names the roles that a caller needs (OpenAPI 3.1.1 section 4.8.30).
    described["security"] = [{"key": [one.scope] if one.scope else []}]
    if one.scope is None:
        described["security"] = []
    elif one.scope == "":
        described["x-scopes"] = {kind: scope_for(kind) for kind in EVENT_TYPES}
    return described


def _body(one: Operation, schemas: dict[str, Any], components: dict[str, Any]) -> dict[str, Any]:
    schema = schemas[repr(one.body)]
    if one.method == "PUT" and "$ref" in schema:
        schema = _entry_body(schema["$ref"].removeprefix(_REF), components)
    content: dict[str, Any] = {}
    for kind in one.accepts:
        if kind == NDJSON:
            content[kind] = {
                "schema": {"type": "string", "minLength": 1, "description": "An event a line."}
            }
        elif kind == JSON and one.name == "record_events":
            event = {"$ref": _REF + "Event"}
            many = {"type": "array", "items": event, "minItems": 1, "maxItems": ARRAY_LIMIT}
            content[kind] = {"schema": {"anyOf": [event, many]}}
        elif kind in (JSON, MERGE_PATCH):
            content[kind] = {"schema": schema}
        else:
            content[kind] = {"schema": {"type": "string", "minLength": 1}}
    if one.name == "record_events":
        content[JSON]["examples"] = {"a_look": {"summary": "A look", "value": _EXAMPLE_EVENT}}
    return {"required": one.needs_body, "content": content}


def _entry_body(name: str, components: dict[str, Any]) -> dict[str, Any]:
    """An entry whose kind and code the address says already: they may be left out."""
    entry = components[name]
    if "code" not in entry.get("properties", {}):
        return {"$ref": _REF + name}
    required = [field for field in entry["required"] if field not in ("kind", "code")]
    components[f"{name}Body"] = {**entry, "title": f"{name}Body", "required": required}
    return {"$ref": f"{_REF}{name}Body"}


def _responses(one: Operation, schemas: dict[str, Any]) -> dict[str, Any]:
    responses: dict[str, Any] = {}
    for status in one.answers:
        responses[str(status)] = {"description": _STATUSES.get(status, "Not now.")}
        if one.answer is not None:
            schema = schemas[repr(one.answer)]
            responses[str(status)]["content"] = {
                kind: {"schema": schema} for kind in one.produces.split(", ")
            } | {kind: {"schema": schemas[repr(shape)]} for kind, shape in one.also}
    if one.name == "get_problem":
        responses["200"]["content"]["text/html"] = {"schema": {"type": "string"}}
    if one.method == "GET" and any(h["name"] == "If-None-Match" for h in in_headers(one)):
        responses["304"] = {"description": "You have it already."}
    by_status: dict[int, list[str]] = {}
    for slug in _problems(one):
        by_status.setdefault(KINDS[slug].status, []).append(slug)
    for status, slugs in sorted(by_status.items()):
        if str(status) in responses:
            responses[str(status)]["content"][PROBLEM_TYPE] = {
                "schema": {"$ref": _REF + "ProblemDocument"}
            }
        elif len(slugs) == 1:
            responses[str(status)] = {"$ref": f"#/components/responses/{slugs[0]}"}
        else:
            words = "; or: ".join(KINDS[slug].title for slug in slugs)
            responses[str(status)] = _problem_response(f"{words}.")
    return responses


def _problems(one: Operation) -> list[str]:
    slugs = [*_ALWAYS, *one.problems]
    if one.scope is not None:
        slugs += ["unauthenticated", "insufficient-scope", "quota-exceeded"]
        if "{" in one.path:
            slugs.append("not-found")
    if one.accepts:
        slugs += ["unsupported-media-type", "content-too-large", "request-timeout"]
    return list(dict.fromkeys(slugs))


def _refers(paths: dict[str, Any], slug: str) -> bool:
    """Whether an answer of some operation is that problem and no other."""
    told = {"$ref": f"#/components/responses/{slug}"}
    return any(
        told in described["responses"].values()
        for methods in paths.values()
        for described in methods.values()
    )


def _problem(slug: str) -> dict[str, Any]:
    described = _problem_response(f"{KINDS[slug].title}. {KINDS[slug].advice}")
    if slug == "quota-exceeded":
        described["headers"] = _LIMITS
    return described


def _problem_response(words: str) -> dict[str, Any]:
    content = {PROBLEM_TYPE: {"schema": {"$ref": _REF + "ProblemDocument"}}}
    return {"description": words, "content": content}


@cache
def text() -> bytes:
    """The description as it is served and committed: keys sorted, a newline at the end."""
    return msgspec.json.format(msgspec.json.encode(build(), order="sorted"), indent=1) + b"\n"


@cache
def mark() -> str:
    """What tells this description from any other: for its ETag."""
    return hashlib.sha256(text()).hexdigest()[:24]


def write(path: Path = COMMITTED) -> None:
    """Write the description to a file."""
    path.write_bytes(text())


def check(path: Path = COMMITTED) -> bool:
    """Whether the file holds the description as it is now."""
    return path.is_file() and path.read_bytes() == text()

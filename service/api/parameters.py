"""How the public description tells of paths, query parameters and headers."""

import re
from typing import Any

from service.api import schemas
from service.api.operation import Operation
from service.api.problems import KINDS
from service.sheets.columns import SHEETS
from service.trade.words import CODE_PATTERN

# An entity tag, or several, or `*` (RFC 9110 sections 8.8.3 and 13.1).
TAGS = r'^(\s*\*\s*|(\s*(W/)?"[\x21\x23-\x7e\x80-\xff]*"\s*(,|$))*)$'
_HEADERS = {
    "Idempotency-Key": (
        "Makes a retry safe: the same key with the same request gets the first answer. "
        "1 to 128 letters, digits and . _ : -, quoted or bare.",
        {"type": "string", "pattern": '^("[A-Za-z0-9._:-]{1,128}"|[A-Za-z0-9._:-]{1,128})$'},
        '"8e03978e-40d5-43e8-bc93-6894a57f9324"',
    ),
    "If-Match": (
        "The ETag of the version that is changed.",
        {"type": "string", "pattern": TAGS},
        '"17"',
    ),
    "If-None-Match": (
        "`*`: make only a new one. With GET an ETag: 304 when it is still the same.",
        {"type": "string", "pattern": TAGS},
        '"17"',
    ),
    "Last-Event-ID": (
        "The id of the last event that came: the stream goes on after it.",
        {"type": "string", "pattern": "^[0-9]{0,18}$"},
        "0",
    ),
    "Prefer": (
        "`wait=N`: wait up to N seconds (at most 30) until the answer reflects `min_position`. "
        "When the time runs out the answer says the older position that it reflects.",
        {"type": "string"},
        "wait=5",
    ),
}
# What stands in a path, by its name: in words, its form, an example.
_NUMBER = {"type": "string", "pattern": "^[0-9]{1,18}$"}
_PATHS: dict[str, tuple[str, dict[str, Any], str | None]] = {
    "code": ("A code.", {"type": "string", "pattern": CODE_PATTERN}, None),
    "id": ("A UUID.", {"type": "string", "format": "uuid"}, None),
    "number": ("Its number in the list.", _NUMBER, "1"),
    "reference": (
        "A reference, as events name it.",
        {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}$"},
        "cust-0481",
    ),
    "schema": ("An event type and a version.", {"enum": schemas.names()}, "trees.grafted.v1"),
    "slug": ("The last part of a problem's type.", {"enum": list(KINDS)}, "refused"),
    "name": ("The sheet's name.", {"enum": list(SHEETS)}, "grafting"),
    "token": (
        "What the calendar's address ends in: its token and `.ics`.",
        {"type": "string", "pattern": "^[A-Za-z0-9_-]{43}(\\.ics)?$"},
        "9m3rZ1Xh0u7Qb5cV2nK8yT4wJ6aS0dLfGpEiRtYxUoA.ics",
    ),
    "file": ("The file's name.", {"enum": ["docs.css", "docs.js"]}, "docs.css"),
}
# One example for each thing, the same wherever it is named.
_EXAMPLES = {
    "site": "CORIN",
    "place": "H2-T04",
    "cultivar": "NAV",
    "rootstock": "CARR",
    "size": "C2",
    "lot": "T-1",
    "bag": "B-1",
    "check": "look",
    "first": "2026-03-01",
    "last": "2026-03-31",
}
_CODES = {
    "sites": "CORIN",
    "places": "H2-T04",
    "cultivars": "NAV",
    "rootstocks": "CARR",
    "sizes": "C2",
    "source-trees": "NAV-3",
    "check-plans": "LOOK-AGAIN",
    "rules": "CERTIFIED-YEARS",
    "budwood-lots": "BW-1",
    "liner-lots": "L-1",
    "tree-lots": "T-1",
    "reservations": "R-1",
    "work-orders": "W-1",
    "webhooks": "WH-1",
    "calendars": "ALL",
}


def in_path(one: Operation) -> list[dict[str, Any]]:
    found = []
    for before, name in re.findall(r"(\w[\w-]*)/\{(\w+)", one.path):
        words, schema, example = _PATHS[name]
        described = {"name": name, "in": "path", "required": True, "description": words}
        described["schema"] = {"type": "string", **schema}
        example = _CODES[before] if name == "code" else example
        found.append(described | ({"example": example} if example else {}))
    return found


def in_query(one: Operation, components: dict[str, Any]) -> list[dict[str, Any]]:
    query = components[one.query.__name__]
    required = query.get("required", [])
    found = []
    for name, schema in query.get("properties", {}).items():
        bare = _without_null(schema)
        parameter = {
            "name": name,
            "in": "query",
            "required": name in required,
            "schema": {key: value for key, value in bare.items() if key != "description"},
        }
        if words := bare.get("description"):
            parameter["description"] = words
        # `check` is also a yes or no somewhere.
        if name in _EXAMPLES and bare.get("type") == "string":
            parameter["schema"].pop("examples", None)
            parameter["example"] = _EXAMPLES[name]
        if bare.get("type") == "array":
            parameter |= {"style": "form", "explode": False}
        found.append(parameter)
    return found


def _without_null(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter is given or not; it is never null."""
    schema = {key: value for key, value in schema.items() if (key, value) != ("default", None)}
    options = [one for one in schema.get("anyOf", []) if one != {"type": "null"}]
    if len(options) == 1 and "anyOf" in schema:
        rest = {key: value for key, value in schema.items() if key != "anyOf"}
        return {**options[0], **rest}
    if "enum" in schema:
        schema["enum"] = [value for value in schema["enum"] if value is not None]
    return schema


def in_headers(one: Operation) -> list[dict[str, Any]]:
    names = list(one.request_headers)
    if one.method == "GET" and "{" in one.path and one.scope is not None:
        names.append("If-None-Match")
    return [
        {
            "name": name,
            "in": "header",
            "required": False,
            "description": _HEADERS[name][0],
            "schema": _HEADERS[name][1],
            "example": _HEADERS[name][2],
        }
        for name in dict.fromkeys(names)
    ]

"""Schemas of the description in a reader's words, as HTML."""

import re
from collections.abc import Mapping
from html import escape
from typing import Any, get_args

from service.trade.words import Code, EventId, LongText, Occurred, Ref

Schema = Mapping[str, Any]
_REF = "#/components/schemas/"
# Texts that have a name need no pattern shown.
_NAMED = {
    get_args(kind)[1].pattern: words
    for kind, words in (
        (Code, "code"),
        (Ref, "reference"),
        (EventId, "UUID"),
        (Occurred, "day, or time with offset"),
        (LongText, "text"),
    )
}
# The mark that keeps a pattern from matching before a newline says nothing to a reader.
_NO_NEWLINE = "(?!\\n)"
_CODE = re.compile(r"`([^`]+)`")
_WORDS = {
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
    "null": "null",
    "string": "text",
    "object": "object",
}
_FORMATS = {"date": "day", "date-time": "time with offset", "uuid": "UUID", "binary": "bytes"}


def prose(text: str) -> str:
    """Running text: paragraphs, and `code` between backticks."""
    paragraphs = [p for p in text.split("\n\n") if p.strip()]
    return "".join(f"<p>{inline(paragraph)}</p>" for paragraph in paragraphs)


def inline(text: str) -> str:
    """One paragraph of running text."""
    return _CODE.sub(r"<code>\1</code>", escape(text, quote=False))


def code(value: object) -> str:
    return f"<code>{escape(str(value), quote=False)}</code>"


def link(name: str) -> str:
    """To the shape of that name, further down on the page."""
    return f'<a class="shape" href="#shape-{escape(name)}">{escape(name)}</a>'


def kind(schema: Schema) -> str:
    """What a value is, in a few words: `whole number`, `list of Leg`, one of some words."""
    if "$ref" in schema:
        return link(str(schema["$ref"]).removeprefix(_REF))
    for word in ("anyOf", "oneOf"):
        if word in schema:
            return " or ".join(dict.fromkeys(kind(one) for one in schema[word]))
    if "enum" in schema:
        return " · ".join(code("null" if one is None else one) for one in schema["enum"])
    if "const" in schema:
        return code(schema["const"])
    named = schema.get("type")
    if isinstance(named, list):
        return " or ".join(kind({**schema, "type": one}) for one in named)
    if named == "array":
        return f"list of {kind(schema.get('items', {}))}"
    if named == "object" and isinstance(inner := schema.get("additionalProperties"), dict):
        return f"object of {kind(inner)} by name"
    if words := _NAMED.get(schema.get("pattern")):
        return words
    if named == "string" and schema.get("format") in _FORMATS:
        return _FORMATS[schema["format"]]
    return _WORDS.get(str(named), "anything")


def bounds(schema: Schema) -> list[str]:
    """What else holds of a value: limits, pattern, default, as HTML."""
    schema = not_null(schema)
    said = []
    for low, high, what in (
        ("minimum", "maximum", ""),
        ("minLength", "maxLength", " characters"),
        ("minItems", "maxItems", " entries"),
    ):
        least, most = schema.get(low), schema.get(high)
        if least is not None and most is not None:
            said.append(f"{_number(least)} to {_number(most)}{what}")
        elif most is not None:
            said.append(f"at most {_number(most)}{what}")
        elif least is not None:
            said.append(f"at least {_number(least)}{what}")
    if "exclusiveMinimum" in schema:
        said.append(f"above {_number(schema['exclusiveMinimum'])}")
    if (pattern := schema.get("pattern")) and pattern not in _NAMED:
        said.append(f"like {code(str(pattern).replace(_NO_NEWLINE, ''))}")
    if schema.get("default") not in (None, [], {}):
        default = schema["default"]
        said.append(
            f"default {code(str(default).lower() if default in (True, False) else default)}"
        )
    if isinstance(inner := schema.get("items"), dict):
        said += [f"each {one}" for one in bounds(inner)]
    return said


def not_null(schema: Schema) -> Schema:
    """The one shape beside null, with what is said around it."""
    options = [one for one in schema.get("anyOf", ()) if one.get("type") != "null"]
    if len(options) != 1:
        return schema
    around = {key: value for key, value in schema.items() if key not in ("anyOf", "default")}
    return {**options[0], **around}


def _number(value: float) -> str:
    return f"{value:,}"


def example(schema: Schema) -> str:
    """The first example, as HTML; empty without."""
    found = not_null(schema).get("examples", ())
    if not found:
        return ""
    first = found[0]
    return f"such as {code(','.join(map(str, first)) if isinstance(first, list) else first)}"


def fields(schema: Schema) -> str:
    """An object's fields as a table; a union's members as a list."""
    if "properties" not in schema:
        members = schema.get("anyOf") or schema.get("oneOf")
        if not members:
            return f"<p>{kind(schema)}</p>"
        return f"<p>One of: {', '.join(kind(one) for one in members)}.</p>"
    needed = set(schema.get("required", ()))
    rows = [row(name, one, name in needed) for name, one in schema["properties"].items()]
    return table(rows)


def row(name: str, schema: Schema, needed: bool, words: str = "") -> str:
    """A field or parameter: its name, what it is, what it means."""
    bare = not_null(schema)
    about = [inline(words or str(bare.get("description", "")))]
    more = "; ".join(part for part in [*bounds(schema), example(schema)] if part)
    if more:
        about.append(f'<span class="more">{more}</span>')
    must = '<span class="must">needed</span>' if needed else ""
    return (
        f"<tr><th scope=row><code>{escape(name)}</code>{must}</th>"
        f"<td>{kind(bare)}</td><td>{' '.join(about)}</td></tr>"
    )


def table(rows: list[str]) -> str:
    """Rows of `row`."""
    if not rows:
        return "<p>No fields.</p>"
    head = "<thead><tr><th>name</th><th>what it is</th><th>what it means</th></tr></thead>"
    return f'<div class="wide"><table>{head}<tbody>{"".join(rows)}</tbody></table></div>'

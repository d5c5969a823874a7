"""A typed method for each operation of the document."""

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from client_writer.wording import Schema, docstring, python_name, quoted, type_of

HEAD = '''"""A method for each operation of the service. Written by `make client`: do not edit."""

from typing import Any, Literal

from graftlog_client import shapes
from graftlog_client.calling import Answer, Caller, part
from graftlog_client.shapes import Day, Moment


class Operations(Caller):
    """What the service can be asked and told."""
'''
# Only what is used is imported.
IMPORTED = {"typing": ("Any", "Literal"), "graftlog_client.shapes": ("Day", "Moment")}
JSON = "application/json"
STREAM = "text/event-stream"
# Pages for people and what they are made of have addresses, no methods.
LEFT_OUT = {"text/html", "text/css", "text/javascript", STREAM}


class Operation(NamedTuple):
    """One operation as the document tells it."""

    method: str
    path: str
    told: dict[str, Any]


def operations(document: dict[str, Any]) -> Iterator[Operation]:
    """Those that get a method, by name."""
    found = [
        Operation(method, path, told)
        for path, methods in document["paths"].items()
        if path.startswith("/v1/")
        for method, told in methods.items()
        if method in ("get", "put", "post", "patch", "delete")
    ]
    for one in sorted(found, key=lambda operation: str(operation.told["operationId"])):
        if not set(_answers(one.told)) or set(_answers(one.told)) - LEFT_OUT:
            yield one


def module(document: dict[str, Any]) -> str:
    """The text of `operations.py`, not yet formatted."""
    methods = [_method(one) for one in operations(document)]
    text = "\n\n".join([HEAD, *methods]) + "\n"
    body = text.split("class Operations", 1)[1]
    for origin, names in IMPORTED.items():
        used = [name for name in names if re.search(rf"\b{name}\b", body)]
        line = f"from {origin} import {', '.join(names)}\n"
        text = text.replace(line, f"from {origin} import {', '.join(used)}\n" if used else "", 1)
    return text


def _answers(told: dict[str, Any]) -> dict[str, Schema]:
    """Schema by media type of what it answers when all is well."""
    return {
        media: content.get("schema", {})
        for status, answer in told["responses"].items()
        if status.startswith("2")
        for media, content in answer.get("content", {}).items()
    }


def _method(operation: Operation) -> str:
    told = operation.told
    parameters = told.get("parameters", [])
    places = [one for one in parameters if one["in"] == "path"]
    named = [one for one in parameters if one["in"] in ("query", "header")]
    named.sort(key=lambda one: not one.get("required", False))
    answer, (body, media) = _answer_type(told), _body_type(told)
    signature = ["self", *(f"{python_name(one['name'])}: str" for one in places)]
    signature += [f"body: {body}"] if body else []
    signature += ["*", *(_parameter(one) for one in named)] if named else []
    said = [(python_name(one["name"]), one.get("description", "")) for one in [*places, *named]]
    return "\n".join(
        [
            f"    async def {told['operationId']}({', '.join(signature)}) -> Answer[{answer}]:",
            *docstring(told.get("description", told.get("summary", "")), said, 8),
            f"        return await self._call({', '.join(_sent(operation, named, answer, media))})",
        ]
    )


def _sent(
    operation: Operation, named: list[dict[str, Any]], answer: str, media: str
) -> Iterator[str]:
    """The arguments of the call: method, address, answer, body, parameters."""
    path = re.sub(r"{(\w+)}", lambda found: f"{{part({python_name(found[1])})}}", operation.path)
    yield quoted(operation.method.upper())
    yield ("f" if path != operation.path else "") + quoted(path)
    yield answer
    if media:
        yield f"body=body, media={quoted(media)}"
    for where, word in (("query", "query"), ("header", "headers")):
        of_it = [one["name"] for one in named if one["in"] == where]
        if of_it:
            yield f"{word}={{{', '.join(f'{quoted(one)}: {python_name(one)}' for one in of_it)}}}"


def _answer_type(told: dict[str, Any]) -> str:
    answers = _answers(told)
    if not answers:
        return "None"
    if JSON in answers:
        return type_of(answers[JSON], "shapes.")
    files = [schema for schema in answers.values() if schema.get("format") == "binary"]
    return "bytes" if files else "str"


def _body_type(told: dict[str, Any]) -> tuple[str, str]:
    """What is sent, and the media type of a body that is not a string; text has the other one."""
    contents = told.get("requestBody", {}).get("content", {})
    if not contents:
        return "", ""
    jsons = [media for media in contents if media.endswith("json") and "schema" in contents[media]]
    texts = [media for media in contents if contents[media]["schema"].get("type") == "string"]
    # Where there is a kind of JSON that says more than JSON, such as a merge patch, it is that.
    structs = sorted((media for media in jsons if media not in texts), key=JSON.__eq__)
    types = [type_of(contents[media]["schema"], "shapes.") for media in structs[:1]]
    # Lines of text may be long in coming: they may be given as bytes too.
    types += ["str | bytes"] if texts else []
    return " | ".join(types), " ".join([*structs[:1], *texts[:1]])


def _parameter(told: dict[str, Any]) -> str:
    annotation = type_of(told["schema"])
    if told.get("required"):
        return f"{python_name(told['name'])}: {annotation}"
    optional = annotation if annotation.endswith("None") else f"{annotation} | None"
    return f"{python_name(told['name'])}: {optional} = None"

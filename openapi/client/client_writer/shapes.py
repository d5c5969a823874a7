"""Structs from the document's schemas."""

from collections import Counter
from typing import Any

from client_writer.wording import (
    REF,
    Schema,
    docstring,
    python_name,
    quoted,
    type_of,
    wrapped,
)

# Words said of so many fields are said once, at the head of the module.
MANY = 10
HEAD = '''"""What the service is told and answers. Written by `make client`: do not edit.

What the service may answer is open: a field or a value that a later version adds is no error.
What is only sent to it is closed: it knows its fields, in Python and when it is read from a file.

Fields that many shapes have:

{common}
"""

from __future__ import annotations

import datetime
from typing import Any, TypeAlias

from msgspec import UNSET, Struct, UnsetType, field

from graftlog_client.open_words import Literal

Day: TypeAlias = datetime.date
Moment: TypeAlias = datetime.datetime
'''


class Shapes:
    """All schemas of a document, and which of them a service may answer with."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.document = document
        self.schemas: dict[str, Schema] = document["components"]["schemas"]
        self.tags: dict[str, tuple[str, str]] = {}
        _each_union(document, self.tags)
        answers = [
            content
            for path in document["paths"].values()
            for operation in path.values()
            if isinstance(operation, dict)
            for content in operation.get("responses", {}).values()
        ]
        answers += [document["components"].get("responses"), document.get("webhooks")]
        # What an event says comes back in the list of events, by its type.
        answers += [{"$ref": f"{REF}{name}"} for name in self.data_of().values()]
        self.answered = self._reached(answers)
        fields = [
            (name, _words(told))
            for schema in self.schemas.values()
            for name, told in schema.get("properties", {}).items()
        ]
        often = Counter(words for _, words in fields if words)
        self.common = {
            words: sorted({python_name(name) for name, said in fields if said == words})
            for words, times in often.items()
            if times >= MANY
        }

    def data_of(self) -> dict[str, str]:
        """The struct of `data` for each type of event."""
        event = self.schemas["Event"]["discriminator"]["mapping"]
        names = {kind: str(ref).removeprefix(REF) for kind, ref in event.items()}
        return {
            kind: type_of(self.schemas[name]["properties"]["data"]) for kind, name in names.items()
        }

    def topics(self) -> dict[str, str]:
        """The struct of `data` for each topic that webhooks tell of beside events."""
        told = {}
        for kind, hook in self.document.get("webhooks", {}).items():
            for content in hook["post"]["requestBody"]["content"].values():
                for part in content["schema"].get("allOf", []):
                    data = part.get("properties", {}).get("data", {})
                    if "$ref" in data and kind not in self.data_of():
                        told[kind] = type_of(data)
        return told

    def _reached(self, start: Any) -> set[str]:
        reached: set[str] = set()
        waiting = [start]
        while waiting:
            node = waiting.pop()
            if isinstance(node, list):
                waiting += node
            elif isinstance(node, dict):
                name = str(node.get("$ref", "")).removeprefix(REF)
                if name in self.schemas and name not in reached:
                    reached.add(name)
                    waiting.append(self.schemas[name])
                waiting += [value for key, value in node.items() if key != "discriminator"]
        return reached

    def module(self) -> str:
        """The text of `shapes.py`, not yet formatted."""
        structs = [self._struct(name) for name in sorted(self.schemas) if self._is_struct(name)]
        unions = [
            f"{name}: TypeAlias = ({type_of(schema)})"
            for name, schema in sorted(self.schemas.items())
            if not self._is_struct(name)
        ]
        table = ["# What an event of each type says, and a message about each topic."]
        for name, told in (("DATA", self.data_of()), ("TOPICS", self.topics())):
            table.append(f"{name}: dict[str, type[Struct]] = {{")
            table += [*(f"    {quoted(kind)}: {shape}," for kind, shape in told.items()), "}"]
        common = sorted((", ".join(names), words) for words, names in self.common.items())
        lines = [line for names, words in common for line in wrapped(f"{names}: {words}", "", "  ")]
        head = HEAD.replace("{common}", "\n".join(lines))
        return "\n\n\n".join([head, *structs, "\n".join(unions), "\n".join(table)]) + "\n"

    def _is_struct(self, name: str) -> bool:
        return "properties" in self.schemas[name]

    def _struct(self, name: str) -> str:
        schema = self.schemas[name]
        tag_field, tag = self.tags.get(name, ("", ""))
        options = ["Struct", "kw_only=True", "omit_defaults=True"]
        if tag_field:
            options += [f"tag_field={quoted(tag_field)}", f"tag={quoted(tag)}"]
        if schema.get("additionalProperties") is False and name not in self.answered:
            options.append("forbid_unknown_fields=True")
        fields = {field: told for field, told in schema["properties"].items() if field != tag_field}
        said = [
            (python_name(field), _words(told))
            for field, told in fields.items()
            if _words(told) not in self.common
        ]
        lines = [f"class {name}({', '.join(options)}):"]
        lines += docstring(schema.get("description", ""), said, 4)
        lines += [""] if fields else []
        required = schema.get("required", [])
        lines += [_field(field, told, field in required) for field, told in fields.items()]
        return "\n".join(lines)


def _words(schema: Schema) -> str:
    """What is said of a field, also where only one side of a union says it."""
    said = [schema, *schema.get("anyOf", [])]
    return next((str(one["description"]) for one in said if "description" in one), "")


def _field(name: str, schema: Schema, required: bool) -> str:
    known, annotation = python_name(name), type_of(schema)
    renamed = [f"name={quoted(name)}"] if known != name else []
    if required:
        given = []
    elif "default" not in schema or (isinstance(whole := schema["default"], dict | list) and whole):
        # Left out is a word of its own: it is not null where nothing says so, and where a whole
        # thing stands for it, that is the service's to know.
        said = annotation.removesuffix(" | None")
        annotation = f"{said} | UnsetType{annotation.removeprefix(said)}"
        given = ["default=UNSET"]
    elif schema["default"] in ([], {}):
        given = [f"default_factory={'list' if schema['default'] == [] else 'dict'}"]
    else:
        value = schema["default"]
        given = [f"default={quoted(value) if isinstance(value, str) else repr(value)}"]
    if not renamed and not given:
        return f"    {known}: {annotation}"
    if not renamed and given[0].startswith("default="):
        return f"    {known}: {annotation} = {given[0].removeprefix('default=')}"
    return f"    {known}: {annotation} = field({', '.join(given + renamed)})"


def _each_union(node: Any, tags: dict[str, tuple[str, str]]) -> None:
    """Which field tells the structs of a union apart, and by which word."""
    if isinstance(node, list):
        for one in node:
            _each_union(one, tags)
    elif isinstance(node, dict):
        told = node.get("discriminator")
        if isinstance(told, dict) and "mapping" in told:
            for word, ref in told["mapping"].items():
                tags[str(ref).removeprefix(REF)] = (told["propertyName"], word)
        for value in node.values():
            _each_union(value, tags)

"""From msgspec's words about a wrong shape to a pointer, a kind and words of ours.

msgspec says what it met and where. What would have done there (the words of a list, the fields of
an object) is found by walking the expected type along the same path.
"""

import re
from functools import cache
from typing import Any
from urllib.parse import quote

import msgspec
from msgspec import inspect

from service.api import wording
from service.trade.verdicts import Fault

# msgspec ends a message with where: " - at `$.data.lines[0].count`"; before it anything may stand.
_WHERE = re.compile(r"^(?P<what>.*) - at (?:`?key`? in )?`(?P<path>\$[^`]*)`$", re.DOTALL)
_STEP = re.compile(r"\.([A-Za-z_][A-Za-z0-9_]*)|\[(\d+)\]|\[\.\.\.\]")
_UNKNOWN = re.compile(r"^Object contains unknown field `(.*)`$", re.DOTALL)
_MISSING = re.compile(r"^Object missing required field `(.*)`$", re.DOTALL)
_NO_SUCH = re.compile(r"^Invalid (?:enum )?value '?(.*?)'?$", re.DOTALL)

_BACKSLASHES = re.compile(rb"\\\\")
_PAIR = re.compile(rb"\\u[dD][89abAB][0-9a-fA-F]{2}\\u[dD][c-fC-F][0-9a-fA-F]{2}")
_HALF = re.compile(rb"\\u[dD][89a-fA-F][0-9a-fA-F]{2}")


def token(name: str) -> str:
    """One reference token of a JSON Pointer in URI fragment form (RFC 6901 sections 3 and 6)."""
    escaped = name.replace("~", "~0").replace("/", "~1")
    return quote(escaped.encode("utf-8", "replace"), safe="-._~!$&'()*+,;=:@")


def has_half_a_pair(body: bytes) -> bool:
    """Whether JSON has an escape for one half of a surrogate pair (RFC 8259 section 8.2)."""
    return _HALF.search(_PAIR.sub(b"", _BACKSLASHES.sub(b"", body))) is not None


def fault_of(message: str, shape: Any = None, given: Any = None) -> Fault:
    """The fault that one of msgspec's validation messages speaks of.

    `shape` is the type that was wanted, `given` what came: JSON as bytes, or values. With them the
    words name what would have done; without them they say less.
    """
    match = _WHERE.match(message)
    what, path = (match["what"], match["path"]) if match else (message, "")
    steps = [name or int(index) for name, index in _STEP.findall(path) if name or index]
    pointer = "#" + "".join(f"/{step}" for step in steps)
    there = _There(shape, _values(given) if shape is not None else None, steps)
    if unknown := _UNKNOWN.match(what):
        return _unknown_field(unknown[1], there, pointer)
    if missing := _MISSING.match(what):
        return Fault(
            kind="missing",
            detail=f"The field {missing[1]!r} is needed.",
            pointer=f"{pointer}/{token(missing[1])}",
        )
    if (invalid := _NO_SUCH.match(what)) and "RFC3339" not in what:
        value = there.value if isinstance(there.value, str | int) else invalid[1]
        allowed = there.allowed()
        noun = f"{steps[-1]} known here" if steps and isinstance(steps[-1], str) else "value of it"
        return Fault(
            kind="bad_value",
            detail=wording.one_of(value, allowed, noun)
            if allowed
            else f"{wording.shown(value)} is none of the values read here.",
            pointer=pointer,
            numbers={"allowed": allowed} if allowed else {},
        )
    kind = "wrong_type" if ", got `" in what else "bad_value"
    detail = wording.wanted(what, there.value, there.description)
    return Fault(kind=kind, detail=detail, pointer=pointer)


def _unknown_field(name: str, there: "_There", pointer: str) -> Fault:
    known = there.fields()
    detail = f"There is no field {name[:80]!r} here."
    if near := wording.nearest(name, known):
        detail += f" Did you mean {near}?"
    elif known:
        detail += f" There are: {', '.join(known)}."
    return Fault(
        kind="unknown_field",
        detail=detail,
        pointer=f"{pointer}/{token(name)}",
        numbers={"known": known} if known else {},
    )


def _values(given: Any) -> Any:
    """What was given as plain values; None for JSON that can't be read to its end."""
    if not isinstance(given, bytes):
        return given
    try:
        return msgspec.json.decode(given)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


@cache
def _info(shape: Any) -> inspect.Type:
    return inspect.type_info(shape)


class _There:
    """The place in a type that a path leads to, with the value that was given there."""

    def __init__(self, shape: Any, given: Any, steps: list[str | int]) -> None:
        self.value = given
        self.description: str | None = None
        self._type: inspect.Type | None = None if shape is None else _info(shape)
        self._tags: list[Any] = []
        for step in steps:
            self._go(step)

    def _go(self, step: str | int) -> None:
        options = _options(self._type)
        chosen = _chosen(options, self.value)
        self._tags = [
            one.tag
            for one in options
            if isinstance(one, inspect.StructType) and one.tag is not None
            if one.tag_field == step
        ]
        self._type, self.description = None, None
        if isinstance(chosen, inspect.StructType) and isinstance(step, str):
            for field in chosen.fields:
                if field.encode_name == step:
                    self._type, self.description = field.type, _description(field.type)
        elif isinstance(step, int) and (item := getattr(chosen, "item_type", None)) is not None:
            self._type = item
        self.value = _part(self.value, step)

    def allowed(self) -> list[Any]:
        """The values that would have done, where they are a list."""
        if self._tags:
            return self._tags
        found: list[Any] = []
        for one in _options(self._type):
            if isinstance(one, inspect.LiteralType):
                found += [value for value in one.values if value is not None]
            elif isinstance(one, inspect.EnumType):
                found += [member.value for member in one.cls]
        return found

    def fields(self) -> list[str]:
        """The names of the fields that the object can have."""
        chosen = _chosen(_options(self._type), self.value)
        if not isinstance(chosen, inspect.StructType):
            return []
        tag = [chosen.tag_field] if chosen.tag_field is not None else []
        return [*tag, *(field.encode_name for field in chosen.fields)]


def _part(value: Any, step: str | int) -> Any:
    if isinstance(step, str):
        return value.get(step) if isinstance(value, dict) else None
    return value[step] if isinstance(value, list) and step < len(value) else None


def _bare(one: inspect.Type | None) -> inspect.Type | None:
    while isinstance(one, inspect.Metadata):
        one = one.type
    return one


def _description(one: inspect.Type) -> str | None:
    options = one.types if isinstance(one, inspect.UnionType) else (one,)
    for option in options:
        if isinstance(option, inspect.Metadata):
            words = (option.extra_json_schema or {}).get("description")
            return words if isinstance(words, str) else None
    return None


def _options(one: inspect.Type | None) -> list[inspect.Type]:
    """The types that may stand there, null left out."""
    bare = _bare(one)
    if bare is None:
        return []
    options = bare.types if isinstance(bare, inspect.UnionType) else (bare,)
    return [
        kind
        for option in options
        if (kind := _bare(option)) is not None and not isinstance(kind, inspect.NoneType)
    ]


def _chosen(options: list[inspect.Type], value: Any) -> inspect.Type | None:
    """The one of them that the value was read as: the struct of its tag, else the only one."""
    for one in options:
        if (
            isinstance(one, inspect.StructType)
            and one.tag_field is not None
            and isinstance(value, dict)
            and value.get(one.tag_field) == one.tag
        ):
            return one
    return options[0] if len(options) == 1 else None

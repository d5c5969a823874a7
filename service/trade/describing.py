"""The table of every event's fields, made from the code: `python -m service.trade.describing`."""

import types
import typing
from typing import Any

import msgspec

from service.trade.events import EVENT_TYPES
from service.trade.legs import moves_anything


def table() -> str:
    """A Markdown table: event, its fields (`?` may be left out, `[]` a list), what it says."""
    rows = ["| event | data | says |", "|---|---|---|"]
    for name, event in EVENT_TYPES.items():
        data = typing.get_type_hints(event, include_extras=False)["data"]
        says = (event.__doc__ or "").strip().split("\n")[0]
        kind = "" if moves_anything(event) else " *(no legs)*"
        rows.append(f"| `{name}`{kind} | {_fields(data)} | {says} |")
    return "\n".join(rows) + "\n"


def _fields(struct: type) -> str:
    shown = []
    hints = typing.get_type_hints(struct, include_extras=False)
    for field in msgspec.structs.fields(struct):
        required = field.default is msgspec.NODEFAULT and (
            field.default_factory is msgspec.NODEFAULT
        )
        shown.append(f"{field.encode_name}{'' if required else '?'}{_inside(hints[field.name])}")
    return ", ".join(shown)


def _inside(hint: Any) -> str:
    """The fields of a part, in brackets; of a union, its members' names."""
    origin, args = typing.get_origin(hint), typing.get_args(hint)
    if origin is list:
        return f"[{_inside(args[0]).strip()}]"
    if origin in (types.UnionType, typing.Union):
        members = [a for a in args if isinstance(a, type) and issubclass(a, msgspec.Struct)]
        if len(members) > 1:
            return f" {{{' or '.join(str(m.__struct_config__.tag) for m in members)}}}"
        return _inside(members[0]) if members else ""
    if isinstance(hint, type) and issubclass(hint, msgspec.Struct):
        return f" {{{_fields(hint)}}}"
    return ""


if __name__ == "__main__":
    print(table(), end="")

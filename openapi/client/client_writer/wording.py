"""Python's words for the document's: types, names, docstrings."""

import keyword
import re
import textwrap
from collections.abc import Iterable
from typing import Any

Schema = dict[str, Any]
REF = "#/components/schemas/"
PLAIN = {"string": "str", "integer": "int", "number": "float", "boolean": "bool", "null": "None"}
FORMATS = {"date": "Day", "date-time": "Moment", "binary": "bytes"}
WIDTH = 96


def python_name(name: str) -> str:
    """A name fit for Python: `from` is `from_`, `If-Match` is `if_match`."""
    plain = re.sub(r"\W", "_", name).lower()
    return f"{plain}_" if keyword.iskeyword(plain) else plain


def type_of(schema: Schema, prefix: str = "") -> str:
    """The annotation for a schema; `prefix` goes before the names of structs."""
    if "$ref" in schema:
        return prefix + str(schema["$ref"]).removeprefix(REF)
    for union in ("anyOf", "oneOf"):
        if union in schema:
            return _either([type_of(one, prefix) for one in schema[union]])
    if isinstance(schema.get("type"), list):
        return _either([type_of(schema | {"type": one}, prefix) for one in schema["type"]])
    if "const" in schema:
        return type_of({"enum": [schema["const"]]}, prefix)
    if "enum" in schema and all(isinstance(value, str) for value in schema["enum"]):
        return f"Literal[{', '.join(map(quoted, schema['enum']))}]"
    kind = schema.get("type")
    if kind == "array":
        return f"list[{type_of(schema.get('items', {}), prefix)}]"
    if kind == "object":
        inner = schema.get("additionalProperties")
        return f"dict[str, {type_of(inner, prefix) if isinstance(inner, dict) else 'Any'}]"
    if kind == "string":
        return FORMATS.get(schema.get("format", ""), "str")
    return PLAIN.get(str(kind), "Any")


def _either(types: Iterable[str]) -> str:
    """A union, each type once, None last. A day beside other text can't be told from it: str."""
    flat = list(dict.fromkeys(types))
    if "str" in flat:
        flat = [one for one in flat if one not in ("Day", "Moment") and "Literal[" not in one]
    if "Any" in flat:
        return "Any"
    return " | ".join(sorted(flat, key=lambda one: one == "None"))


def quoted(text: str) -> str:
    """A string literal as the formatter writes it."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def docstring(description: str, named: Iterable[tuple[str, str]], indent: int) -> list[str]:
    """Lines of a docstring: what it is, then a line for each named thing that has words."""
    pad = " " * indent
    told = description.strip() or "Undescribed."
    lines: list[str] = []
    for part in told.split("\n\n"):
        lines += [*wrapped(part, pad, ""), ""]
    words = [line for name, said in named if said for line in wrapped(f"{name}: {said}", pad, "  ")]
    lines += words if words else []
    while not lines[-1]:
        lines.pop()
    text = "\n".join(lines).replace("\\", "\\\\").replace('"""', "'''")
    first, *rest = text.split("\n")
    first = f'{pad}"""{first.strip()}'
    if not rest:
        return [f'{first}"""' if not first.endswith('"') else f'{first} """']
    return [first, *rest, f'{pad}"""']


def wrapped(text: str, pad: str, hang: str) -> list[str]:
    """Text in lines: `pad` before each, `hang` before each but the first."""
    return textwrap.wrap(
        " ".join(text.split()),
        WIDTH - 3,
        initial_indent=pad,
        subsequent_indent=pad + hang,
        break_long_words=False,
        break_on_hyphens=False,
    )

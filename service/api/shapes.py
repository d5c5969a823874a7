"""From msgspec's words about a wrong shape to a pointer, a kind and words of ours."""

import re
from urllib.parse import quote

from service.trade.verdicts import Fault

# msgspec ends a message with where: " - at `$.data.lines[0].count`"; before it anything may stand.
_WHERE = re.compile(r"^(?P<what>.*) - at (?:`?key`? in )?`(?P<path>\$[^`]*)`$", re.DOTALL)
_STEP = re.compile(r"\.([A-Za-z_][A-Za-z0-9_]*)|\[(\d+)\]|\[\.\.\.\]")
_UNKNOWN = re.compile(r"^Object contains unknown field `(.*)`$", re.DOTALL)
_MISSING = re.compile(r"^Object missing required field `(.*)`$", re.DOTALL)


def token(name: str) -> str:
    """One reference token of a JSON Pointer in URI fragment form (RFC 6901 sections 3 and 6)."""
    escaped = name.replace("~", "~0").replace("/", "~1")
    return quote(escaped.encode("utf-8", "replace"), safe="-._~!$&'()*+,;=:@")


def fault_of(message: str) -> Fault:
    """The fault that one of msgspec's validation messages speaks of."""
    match = _WHERE.match(message)
    what, path = (match["what"], match["path"]) if match else (message, "")
    pointer = "#" + "".join(
        f"/{name or index}" for name, index in _STEP.findall(path) if name or index
    )
    if unknown := _UNKNOWN.match(what):
        name = unknown[1]
        return Fault(
            kind="unknown_field",
            detail=f"There is no field {name[:80]!r} here.",
            pointer=f"{pointer}/{token(name)}",
        )
    if missing := _MISSING.match(what):
        return Fault(
            kind="missing",
            detail=f"The field {missing[1]!r} is needed.",
            pointer=f"{pointer}/{token(missing[1])}",
        )
    kind = "wrong_type" if ", got `" in what else "bad_value"
    return Fault(kind=kind, detail=f"{_plain(what)}.", pointer=pointer)


def _plain(what: str) -> str:
    """msgspec's words with its backquotes and type names turned into plain ones."""
    return (
        what.replace("`", "")
        .replace("Expected", "expected")
        .replace(" str", " text")
        .replace(" matching regex ", " of the form ")
        .replace("expected", "Expected", 1)
    )

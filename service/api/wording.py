"""What is wanted at a place in a body or a query, in words: of msgspec's types and our patterns."""

import difflib
import re
from collections.abc import Iterable

from service.trade import words
from service.trade.events.catalogue import Site

_LISTED = 20
_CODE = "A code is wanted: capitals, digits, full stop and hyphen, at most 20 characters, like"


def _pattern_of(annotated: object) -> str:
    (meta,) = annotated.__metadata__  # type: ignore[attr-defined]
    return str(meta.pattern)


# Every pattern in which something is sent, by what it asks for.
_FORMS = {
    words.CODE_PATTERN: f"{_CODE} CR2-T04.",
    _pattern_of(words.Text): "Text without the character NUL is wanted.",
    _pattern_of(words.Word): (
        "A short lower-case word is wanted: letters, digits, _ and -, a letter first, at most 40 "
        "characters, like first."
    ),
    _pattern_of(words.Ref): (
        "An opaque reference is wanted, never a name: letters, digits and . _ : @ -, at most 64 "
        "characters, like cust-0481."
    ),
    _pattern_of(words.EventId): (
        "A UUID in lower case is wanted, like 0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77."
    ),
    _pattern_of(words.Occurred): (
        "A day is wanted, like 2026-03-14, or a time with its offset, like "
        "2026-03-14T09:30:00+11:00."
    ),
    _pattern_of(Site.__annotations__["time_zone"]): (
        "A time zone of the IANA database is wanted, like Australia/Sydney."
    ),
}
_NAMES = {
    "int": "a whole number",
    "float": "a number",
    "str": "text",
    "bool": "true or false",
    "null": "null",
    "array": "a list",
    "object": "an object",
    "date": "a day like 2026-03-14",
    "datetime": "a time with its offset like 2026-03-14T09:30:00+11:00",
}
_GOT = _NAMES | {"float": "a number with a fraction", "date": "a day", "datetime": "a time"}
_TYPES = re.compile(r"^Expected `([^`]*)`(?:, got `([^`]*)`)?$", re.DOTALL)
_FORM = re.compile(r"^Expected `str` matching regex '(.*)'$", re.DOTALL)
_LENGTH = re.compile(r"^Expected `(str|array)` of length (>=|<=) (\d+)$")
_BOUND = re.compile(r"^Expected `(?:int|float)[^`]*` (>=|<=|>|<) (\S+)$")
_BOUNDS = {">=": "at least", "<=": "at most", ">": "more than", "<": "less than"}


def wanted(what: str, given: object, description: str | None) -> str:
    """msgspec's words about a wrong value as a sentence of ours.

    `given` is the value, None when it is not known; `description` is the field's own, for a form
    that has no words here.
    """
    if match := _FORM.match(what):
        # The pattern is written as Python writes text, with its backslashes doubled.
        pattern = match[1].replace("\\\\", "\\")
        form = _FORMS.get(pattern) or _described(description)
        return f"{shown(given)} does not do. {form}" if isinstance(given, str) else form
    if match := _TYPES.match(what):
        return _of_types(match[1], match[2], given)
    if match := _LENGTH.match(what):
        number = int(match[3])
        one = "character" if match[1] == "str" else "entry"
        many = "characters" if match[1] == "str" else "entries"
        told = f", not {len(given)}" if isinstance(given, str | list) else ""
        return f"{_BOUNDS[match[2]].capitalize()} {number} {one if number == 1 else many}{told}."
    if match := _BOUND.match(what):
        told = f", not {shown(given)}" if isinstance(given, int | float | str) else ""
        return f"A number of {_BOUNDS[match[1]]} {match[2]} is wanted{told}."
    if what.endswith("with a timezone component"):
        return "The offset is missing: a time is wanted like 2026-03-14T09:30:00+11:00."
    if "encoded date" in what:
        return _not_a_day("time" in what, given)
    if "out of range" in what:
        return "The number is larger than what is read here."
    return _described(description)


def _of_types(names: str, got: str | None, given: object) -> str:
    parts = names.split(" | ")
    known = [_NAMES[part] for part in parts if part in _NAMES and part != "null"]
    say = " or ".join(dict.fromkeys(known)) or "something else"
    if isinstance(given, str) and got == "str":
        return f"{say.capitalize()} is wanted, not the text {shown(given)}."
    told = f", not {_GOT[got]}" if got in _GOT else ""
    return f"{say.capitalize()} is wanted{told}."


def _not_a_day(timed: bool, given: object) -> str:
    example = _NAMES["datetime" if timed else "date"]
    form = r"\d{4}-\d\d-\d\d" + ("[Tt ].*" if timed else "")
    if isinstance(given, str) and re.fullmatch(form, given):
        what = "time" if timed else "day"
        return f"{shown(given)} is not a {what} of the calendar; {example} is wanted."
    return f"{example.capitalize()} is wanted."


def _described(description: str | None) -> str:
    return f"It is not of the form read here. {description or ''}".rstrip()


def shown(value: object) -> str:
    """A value as it can be shown in a sentence: short, and on one line."""
    text = repr(value)
    return text if len(text) <= 80 else f"{text[:76]}…{text[-1]}"


def one_of(value: object, allowed: Iterable[object], what: str) -> str:
    """That `value` is none of `allowed`, with the nearest of them, in words."""
    names = [str(one) for one in allowed]
    near = nearest(value, names)
    said = f"{shown(value)} is no {what}."
    if near is not None:
        said += f" Did you mean {near}?"
    if len(names) <= _LISTED:
        said += f" There are: {', '.join(names)}."
    elif near is None:
        said += f" The {len(names)} there are begin with {', '.join(names[:5])}."
    return said


def nearest(value: object, names: Iterable[str]) -> str | None:
    """The name most like `value`, if one is like it at all."""
    near = difflib.get_close_matches(str(value)[:100], list(names), n=1, cutoff=0.5)
    return near[0] if near else None

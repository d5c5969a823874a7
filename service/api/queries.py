"""Reading the query string of a request."""

from typing import Annotated, Any, TypeVar, get_args, get_origin
from urllib.parse import parse_qsl

import msgspec

from service.api import shapes
from service.api.problems import Mistake, Problem

Q = TypeVar("Q")


def list_fields(query: type[Any]) -> frozenset[str]:
    """The parameters of a struct that hold a list."""
    found = set()
    for one in msgspec.structs.fields(query):
        options = [one.type, *get_args(one.type)]
        bare = [get_args(o)[0] if get_origin(o) is Annotated else o for o in options]
        if any(get_origin(o) is list for o in bare):
            found.add(one.encode_name)
    return frozenset(found)


def read_query(query: type[Q], text: bytes, lists: frozenset[str]) -> Q:
    """The query string as its struct. Lists are given with commas. Raises 422."""
    values: dict[str, Any] = {}
    mistakes = []
    try:
        pairs = parse_qsl(
            text.decode("latin-1"), keep_blank_values=True, max_num_fields=50, errors="replace"
        )
    except ValueError as error:
        raise Problem("malformed-request", "The query has too many parameters.") from error
    for name, value in pairs:
        if name in values:
            detail = "Given twice; separate several values by commas where a list is read."
            mistakes.append(Mistake(kind="bad_value", detail=detail, parameter=name))
        if value.lower() == "null":
            # What reads the values would take it for nothing at all, and drop the filter.
            mistakes.append(Mistake(kind="bad_value", detail="Leave it out.", parameter=name))
        if "\0" in value:
            # The database has no text with it.
            detail = "It holds a character that is none."
            mistakes.append(Mistake(kind="bad_value", detail=detail, parameter=name))
        values[name] = [part for part in value.split(",") if part] if name in lists else value
    if not mistakes:
        try:
            return msgspec.convert(values, query, strict=False)
        except msgspec.ValidationError as error:
            fault = shapes.fault_of(str(error), query, values)
            name = fault.pointer.removeprefix("#/").partition("/")[0] or "query"
            mistakes = [
                Mistake(kind=fault.kind, detail=fault.detail, parameter=name, numbers=fault.numbers)
            ]
    raise Problem("validation-error", "A query parameter has a mistake.", errors=mistakes)
